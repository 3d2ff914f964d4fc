"""The bench's guard keeps the same rules: those of tests/trust, restated with the bench's ceiling and key position, proved of the derived source.

What is kept as proved of these very sources is not proved again, but for a drawn part: `tests.trust.guard_kept`.
"""

import pytest

from tests.trust import guard_kept
from tests.trust.guard_bench import MODEL, PROVE, SOURCE, prove_named, rule_named

NAMES = [rule.name for rule in PROVE.ALL_RULES]


def test_rules_hold_for_the_bench():
    due = guard_kept.due(guard_kept.BENCH, NAMES, SOURCE)
    assert len(due) >= guard_kept.DRAWN
    assert [name for name in due if prove_named(name).holds is not True] == []


@pytest.mark.parametrize(
    "name,old,new",
    [
        ("air-runs-iff-allowed", "_LOW_CEIL = const(1000000)", "_LOW_CEIL = const(999999)"),
        ("invariant-inductive", "_HIGH_CEIL = const(1000000)", "_HIGH_CEIL = const(1040000)"),
        ("air-runs-iff-allowed", "_KEY_LOW = const(6)", "_KEY_LOW = const(2)"),
        ("latches-range-key-contacts", "_KEY_HIGH = const(65536)", "_KEY_HIGH = const(4)"),
    ],
)
def test_a_wrong_constant_breaks_a_rule(name, old, new):
    assert SOURCE.count(old) == 1
    assert PROVE.prove(MODEL.transition(SOURCE.replace(old, new)), rule_named(name)).holds is False
