"""Rules of the bench's guard: the rules of this folder with the bench's ceiling and key position, about the derived source.

Three literals in the rules' text are replaced: 5.0 and 9.0 bar by 10 bar, and the two key contacts by the bench's.
"""

import sys
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType
from typing import Any

from rimward.kernels.bench import bench_guard

KEYS = (
    "RUN, KEY_LOW, KEY_HIGH, CUTOFF, WANT, CLEAR = 1, 2, 4, 8, 16, 32",
    "RUN, KEY_LOW, KEY_HIGH, CUTOFF, WANT, CLEAR = 1, 6, 65536, 8, 16, 32",
)
NUMBERS = {
    "900_000": {"guard_model", "guard_rules"},
    "500_000": {"guard_conditions", "guard_rules"},
}  # ceiling of each range, and the modules that state it
CEILING = "1_000_000"
MODULES = (
    "guard_model",
    "guard_conditions",
    "guard_rules",
    "guard_fault_rules",
    "guard_latch_rules",
    "guard_tyre_rules",
    "guard_prove",
)


def restated() -> dict[str, Any]:
    """Return the modules of the rules under names of their own, with the bench's numbers. AssertionError where a number is missing."""
    made: dict[str, Any] = {}
    for name in MODULES:
        spec = find_spec(f"tests.trust.{name}")
        assert spec and spec.origin
        text = Path(spec.origin).read_text(encoding="utf-8")
        if name == "guard_model":
            assert text.count(KEYS[0]) == 1
            text = text.replace(*KEYS)
        for old, where in NUMBERS.items():
            assert (old in text) == (name in where), (name, old)
            text = text.replace(old, CEILING)
        for other in MODULES:
            text = text.replace(
                f"from tests.trust.{other} import", f"from tests.trust.bench_{other} import"
            )
        module = ModuleType(f"tests.trust.bench_{name}")
        module.__file__ = spec.origin
        sys.modules[module.__name__] = module
        exec(compile(text, f"bench {name}", "exec"), module.__dict__)
        made[name] = module
    return made


MADE = restated()
PROVE, MODEL = MADE["guard_prove"], MADE["guard_model"]
SOURCE = bench_guard()


def rule_named(name: str) -> Any:
    return next(rule for rule in PROVE.ALL_RULES if rule.name == name)


def prove_named(name: str, effort: int = PROVE.EFFORT) -> Any:
    """Prove one rule of the present bench guard."""
    return PROVE.prove(MODEL.transition(SOURCE), rule_named(name), effort)
