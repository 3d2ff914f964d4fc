"""Survey of exchanged pins: every pair of pins of every part, exchanged and checked by the rules. `python -m tests.rig` prints it.

Two pins on one net, or of a part without polarity (`pintypes.SYMMETRIC`, `EQUAL`), are no exchange: the circuit stays the same.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations

from hardware import pin_rules, polarity, rules
from hardware.check import Check
from hardware.circuit import Part, load
from hardware.pintypes import EQUAL, SYMMETRIC

RULES: tuple[Callable[[dict[str, Part]], Check], ...] = (
    *polarity.RULES,
    pin_rules.pins_match,
    rules.ratiometric,
    rules.cutoff_latches,
    rules.two_elements,
    rules.coil_needs_all,
    rules.vent_opens,
)

# Reason why an exchange that no rule refuses is harmless: (class, pins) -> reason.
HARMLESS: dict[tuple[str, frozenset[str]], str] = {
    ("switch-key", frozenset({"A_COM", "A_HIGH"})): "one contact; its other throw is not used",
    ("switch-key", frozenset({"B_COM", "B_LOW"})): "one contact; its other throw is not used",
    ("switch-key", frozenset({"C_COM", "C_HIGH"})): "one contact; its other throw is not used",
}


@dataclass(frozen=True)
class Swap:
    """One exchange: part, two pins, and the first rule that refuses it (empty: none)."""

    ref: str
    kind: str
    pins: frozenset[str]
    refused_by: str

    @property
    def reason(self) -> str:
        """Reason why it is harmless, None without one."""
        return HARMLESS.get((self.kind, self.pins), "")


def exchanges(parts: dict[str, Part]) -> Iterator[tuple[Part, str, str]]:
    """Pairs of pins whose exchange changes the circuit."""
    for part in parts.values():
        if part.kind in SYMMETRIC:
            continue
        for a, b in combinations(part.pins, 2):
            if part.pins[a] != part.pins[b] and not {a, b} <= EQUAL.get(part.kind, frozenset()):
                yield part, a, b


def exchanged(parts: dict[str, Part], part: Part, a: str, b: str) -> dict[str, Part]:
    """Circuit with two pins of a part exchanged."""
    return {**parts, part.ref: replace(part, pins={**part.pins, a: part.pins[b], b: part.pins[a]})}


@cache
def survey() -> tuple[Swap, ...]:
    """Every exchange of the circuit with the rule that refuses it."""
    parts = load()
    found = []
    for part, a, b in exchanges(parts):
        wrong = exchanged(parts, part, a, b)
        name = next((rule.__name__ for rule in RULES if not rule(wrong).ok), "")
        found.append(Swap(part.ref, part.kind, frozenset({a, b}), name))
    return tuple(found)


def figures() -> dict[str, float]:
    """Count: all exchanges, those not at the processor, refused ones, and the share."""
    rows = survey()
    small = [s for s in rows if s.kind != "mcu-board"]
    return {
        "exchanges": len(rows),
        "refused": sum(bool(s.refused_by) for s in rows),
        "without_processor": len(small),
        "refused_without_processor": sum(bool(s.refused_by) for s in small),
        "share": sum(bool(s.refused_by) for s in small) / len(small),
    }


def survivors() -> list[Swap]:
    """Exchanges that no rule refuses."""
    return [s for s in survey() if not s.refused_by]


LEAST_SHARE = 0.95


def holds() -> bool:
    """Check that enough exchanges are refused, and that every other one is harmless for a stated reason."""
    return figures()["share"] >= LEAST_SHARE and all(s.reason for s in survivors())
