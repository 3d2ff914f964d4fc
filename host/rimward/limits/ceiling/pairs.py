"""Tyres that a rim type accepts: one table of rim type × approval × bead × air, in which less knowledge never allows more.

The rows are data (`pair_rules` in standards.json). An unknown value is allowed only where every possible value is; the row of the
unknown rim
type allows what every type allows.
"""

from collections.abc import Iterator
from itertools import product
from typing import Any

from rimward.limits.ceiling.standards import standards

FACTORS = {"approved": ("yes", "no"), "bead": ("rigid", "folding"), "air": ("tube", "tubeless")}
UNKNOWN = "unknown"
ASK = "or answer for a wheel of the register: rimward wheel ask WHEEL"

# (factor, value) -> (refusal id, reason, remedy); {rule} is the source of the bead rule
REFUSALS = {
    ("approved", "no"): (
        "tyre-not-approved-for-straight-side",
        "The tyre's maker does not approve it for straight-side (hookless) rims.",
        "Fit a tyre that its maker approves for them.",
    ),
    ("approved", UNKNOWN): (
        "tyre-not-approved-for-straight-side",
        "It is unknown whether the tyre's maker approves it for straight-side (hookless) rims.",
        f"Look the tyre up in its maker's list and state --approved yes or no, {ASK}.",
    ),
    ("bead", "folding"): (
        "folding-tyre-on-straight-side-rim",
        "A straight-side rim that is not tubeless takes rigid-bead tyres only ({rule}), and this one folds.",
        "Fit a rigid-bead tyre.",
    ),
    ("bead", UNKNOWN): (
        "bead-unknown",
        "A straight-side rim that is not tubeless takes rigid-bead tyres only ({rule}), and the bead of this tyre is unknown.",
        f"Read the sidewall, or bend the bead off the rim: a rigid one springs back. State --bead rigid or folding, {ASK}.",
    ),
    ("air", "tubeless"): (
        "tubeless-on-plain-rim",
        "Only a rim marked as tubeless (TSS or TC) takes a tyre without a tube.",
        "Fit a tube, or another rim.",
    ),
    ("air", UNKNOWN): (
        "air-unknown",
        "Only a rim marked as tubeless (TSS or TC) takes a tyre without a tube, and it is unknown whether this one has a tube.",
        f"Look at the valve and inside, and state --air tube or tubeless, {ASK}.",
    ),
}
RIM_UNKNOWN = " The rim's type is unknown, so the strictest counts: read its marking, or find it with rimward rim-type --wheel WHEEL."


def row_of(rim_type: str) -> dict[str, Any]:
    """Row of a rim type code, `unknown` included."""
    rows: list[dict[str, Any]] = standards()["pair_rules"]["rows"]
    return next(row for row in rows if row["rim_type"] == rim_type)


def allows(rim_type: str, factor: str, value: str) -> bool:
    """Return True if this rim type accepts a tyre with this value of one factor; an unknown value only where every value is accepted."""
    allowed = row_of(rim_type)[factor]
    return set(FACTORS[factor]) <= set(allowed) if value == UNKNOWN else value in allowed


def refusals(rim_type: str, **values: str) -> Iterator[tuple[str, str]]:
    """Return (id, text) of every factor that refuses the pair. `values`: approved, bead and air."""
    rule = standards()["bead_rules"][0]["source"]
    for factor in FACTORS:
        if not allows(rim_type, factor, values[factor]):
            id, wrong, act = REFUSALS[factor, values[factor]]
            yield (
                id,
                f"{wrong.format(rule=rule)} {act}" + (RIM_UNKNOWN if rim_type == UNKNOWN else ""),
            )


def table() -> list[dict[str, str]]:
    """Return all cells: rim_type, approved, bead, air and the refusal ids (empty: the pair is allowed)."""
    rows = standards()["pair_rules"]["rows"]
    values = [(*known, UNKNOWN) for known in FACTORS.values()]
    return [
        {
            "rim_type": row["rim_type"],
            **given,
            "refusals": " ".join(id for id, _ in refusals(row["rim_type"], **given)),
        }
        for row in rows
        for given in (dict(zip(FACTORS, cell, strict=True)) for cell in product(*values))
    ]
