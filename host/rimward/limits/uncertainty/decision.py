"""Decision rules of JCGM 106 and ILAC-G8 for an upper limit: probability that a value is above it although the reading was accepted."""

from dataclasses import dataclass

from rimward.limits.uncertainty.student import INFINITE, tail

CONDITION = (
    "for a reading exactly at the stop reading, with errors distributed as in the budget and no prior knowledge of the tyre; "
    "for a lower reading the probability is smaller"
)


@dataclass(frozen=True)
class FalseAccept:
    """Probability and its condition."""

    probability: float
    condition: str = CONDITION


def conformance_probability(reading: float, u: float, limit: float, dof: float = INFINITE) -> float:
    """Probability that the true value is at or below an upper limit, given a reading with standard uncertainty u."""
    return 1 - tail((limit - reading) / u, dof)


def false_accept(guard: float, u: float, dof: float = INFINITE) -> FalseAccept:
    """Probability that the true value is above the limit when the reading is `guard` below it (same unit as u)."""
    return FalseAccept(tail(guard / u, dof) if u > 0 else 0.0)


def acceptance_limit(limit: float, expanded: float, r: float = 1.0) -> float:
    """Upper acceptance limit: limit minus guard band w = r U (ILAC-G8)."""
    return limit - r * expanded
