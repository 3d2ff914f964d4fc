"""The bench's guard keeps the same rules: those of tests/trust, restated with the bench's ceiling and key position, proved of the derived source.

The rules' own text is taken and three literals in it are replaced: 5.0 and 9.0 bar by 10 bar, and the two key contacts by the bench's.
"""

import sys
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType

import pytest
import z3
from rimward.kernels.bench import bench_guard

from tests.trust.terms import both

KEYS = (
    "RUN, KEY_LOW, KEY_HIGH, CUTOFF, WANT, CLEAR = 1, 2, 4, 8, 16, 32",
    "RUN, KEY_LOW, KEY_HIGH, CUTOFF, WANT, CLEAR = 1, 6, 8192, 8, 16, 32",
)
NUMBERS = (("900_000", "1_000_000"), ("500_000", "1_000_000"))
MODULES = ("guard_model", "guard_rules", "guard_fault_rules", "guard_tyre_rules", "guard_prove")


def restated():
    """The modules of the rules under names of their own, with the bench's numbers; a number that is no longer there fails."""
    made = {}
    for name in MODULES:
        spec = find_spec(f"tests.trust.{name}")
        text = Path(spec.origin).read_text(encoding="utf-8")
        if name == "guard_model":
            assert text.count(KEYS[0]) == 1
            text = text.replace(*KEYS)
        for old, new in NUMBERS:
            assert name in ("guard_fault_rules", "guard_tyre_rules", "guard_prove") or old in text or (name, old) == ("guard_model", "500_000")
            text = text.replace(old, new)
        for other in MODULES:
            text = text.replace(f"from tests.trust.{other} import", f"from tests.trust.bench_{other} import")
        module = ModuleType(f"tests.trust.bench_{name}")
        module.__file__ = spec.origin
        sys.modules[module.__name__] = module
        exec(compile(text, f"bench {name}", "exec"), module.__dict__)
        made[name] = module
    return made


MADE = restated()
PROVE, MODEL = MADE["guard_prove"], MADE["guard_model"]
SOURCE = bench_guard()


HARD = ("why-in-order", "latched-cause-is-met")  # minutes each: asked about alone, not after a group that gave up on them
INSIDE = [rule for rule in PROVE.ALL_RULES if not rule.anywhere and rule.name not in HARD]
ANYWHERE = [rule for rule in PROVE.ALL_RULES if rule.anywhere or rule.name in HARD]
AT_ONCE = 10  # rules asked about together: no step breaks any of them
GROUPS = [INSIDE[i : i + AT_ONCE] for i in range(0, len(INSIDE), AT_ONCE)] + [[rule] for rule in ANYWHERE]


@pytest.mark.parametrize("rules", GROUPS, ids=lambda rules: f"{rules[0].name}+{len(rules) - 1}")
def test_rules_hold_for_the_bench(rules):
    t = MODEL.transition(SOURCE)
    if len(rules) > 1 and none_broken(t, rules):
        return
    assert [rule.name for rule in rules if PROVE.prove(t, rule).holds is not True] == []  # one by one: which it is, or the longer way


def none_broken(t, rules):
    """True if z3 shows at once that no step inside the invariant breaks any of the rules."""
    domain = both(MODEL.invariant(t.g), t.facts)
    broken = z3.Or(*[z3.Not(rule.claim(t)) for rule in rules])
    return PROVE._by_returns(t, domain, broken, 0.0, PROVE.EFFORT // 8).holds is True


def test_a_group_with_a_broken_rule_is_not_passed():
    old, new = "_HIGH_CEIL = const(1000000)", "_HIGH_CEIL = const(1040000)"
    group = next(rules for rules in GROUPS if rule_named("invariant-inductive") in rules)
    assert not none_broken(MODEL.transition(SOURCE.replace(old, new)), group)


def rule_named(name):
    return next(rule for rule in PROVE.ALL_RULES if rule.name == name)


@pytest.mark.parametrize(
    "name,old,new",
    [
        ("air-runs-iff-allowed", "_LOW_CEIL = const(1000000)", "_LOW_CEIL = const(999999)"),
        ("invariant-inductive", "_HIGH_CEIL = const(1000000)", "_HIGH_CEIL = const(1040000)"),
        ("air-runs-iff-allowed", "_KEY_LOW = const(6)", "_KEY_LOW = const(2)"),
        ("latches-range-key-contacts", "_KEY_HIGH = const(8192)", "_KEY_HIGH = const(4)"),
    ],
)
def test_a_wrong_constant_breaks_a_rule(name, old, new):
    assert SOURCE.count(old) == 1
    assert PROVE.prove(MODEL.transition(SOURCE.replace(old, new)), rule_named(name)).holds is False
