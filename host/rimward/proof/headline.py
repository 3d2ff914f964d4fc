"""Headline: the one sentence that people will quote, and its form if the batch follows a law.

From `n_needed` samples on it is the lowest valid bound. Below, no bound without a law exists at the requested confidence: the sentence then
gives the lowest value with the confidence of its rank, and bounds that depend on a law are listed separately.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rimward.base.units import show_limit
from rimward.proof import bounds
from rimward.proof.bounds import METHODS, Ask, Bound
from rimward.proof.stats import achieved_confidence, n_needed
from rimward.proof.units import NO_BATCH, Specimen

SHOWN = "shown"
NOT_SHOWN = "not shown to hold its limit"
NO_CLAIM = "no claim"
REASONS = {
    "censored": "a test stopped before release makes the normal bound invalid",
    "not_normal": "withdrawn: the samples are clearly not normal (p < 0.05)",
    "too_few": "too few samples",
    "no_spread": "all margins are equal, so their spread is unknown",
    "under_two_releases": "fewer than two distinct releases",
    "no_bound_found": "the likelihood gives no lower bound",
}
LAWS = {"weibull": "Weibull", "weibull_ml": "Weibull", "normal": "normal", "normal_ml": "normal"}
Lot = tuple[str, list[Specimen]]
Judged = tuple[str, list[Specimen], Mapping[str, Bound]]


@dataclass(frozen=True)
class Best:
    """The lowest bound with a value: `margin` times the limit, `pa` gauge where all rows share a limit, `confidence` that it has."""

    batch: str
    n: int
    method: str
    margin: float
    pa: float | None
    confidence: float


def choose(judged: Sequence[Judged], ask: Ask) -> Best | None:
    """Lowest over the pool and every batch; of equal ones that of the least confidence. None without any."""
    found = [
        best for name, part, by_method in judged for best in _candidates(name, part, by_method, ask)
    ]
    return min(found, key=lambda best: (best.margin, best.confidence), default=None)


def _candidates(
    name: str, part: list[Specimen], by_method: Mapping[str, Bound], ask: Ask
) -> Iterator[Best]:
    if len(part) >= n_needed(ask.coverage, ask.confidence):
        confidence, valid = (
            ask.confidence,
            [bound for bound in by_method.values() if bound.margin is not None],
        )
    else:
        confidence, valid = achieved_confidence(len(part), ask.coverage), [bounds.lowest(part, ask)]
    for bound in valid:
        assert bound.margin is not None
        yield Best(name, len(part), bound.method, bound.margin, bound.pa, confidence)


def verdict(best: Best | None, ask: Ask) -> str:
    """`shown` only at the requested confidence."""
    if best is None or best.margin < 0:
        return NO_CLAIM
    if best.margin < 1:
        return NOT_SHOWN
    return SHOWN if best.confidence >= ask.confidence else NO_CLAIM


def text(best: Best | None, lots: Sequence[Lot], ask: Ask) -> str:
    """Headline as text; bound and confidence are rounded down."""
    if best is None:
        return f"{_named(lots[0][0])}: {NO_CLAIM}, no valid bound."
    said, who = verdict(best, ask), _named(best.batch)
    if best.confidence < ask.confidence:
        return _of_few(best, said, who, ask)
    how = f"{METHODS[best.method]}; {_percent(ask.coverage)} of the batch with {_percent(ask.confidence)} confidence, n = {best.n}"
    if said == NO_CLAIM:
        return f"{who}: {NO_CLAIM}. The lowest valid bound falls below zero ({how})."
    if said == NOT_SHOWN:
        return f"{who}: {NOT_SHOWN}. The lowest valid bound is {down(best.margin)} times the limit{_pressure(best.pa)} ({how})."
    return f"{who}: shown to hold {down(best.margin)} times its limit{_pressure(best.pa)}, the lowest valid bound ({how})."


def _of_few(best: Best, said: str, who: str, ask: Ask) -> str:
    """Text for fewer samples than a bound without a law needs."""
    needed = n_needed(ask.coverage, ask.confidence)
    lowest = f"The lowest of {best.n} is" if best.n > 1 else "The only one is"
    return (
        f"{who}: {said}{f' at {_percent(ask.confidence)} confidence' if said == NO_CLAIM else ''}. {lowest} {down(best.margin)} times the limit"
        f"{_pressure(best.pa)}: {_percent(ask.coverage)} of the batch lie above it with {down(best.confidence * 100, 1)} % confidence, no law assumed; "
        f"for {_percent(ask.confidence)} {needed} are needed."
    )


def as_json(best: Best | None, ask: Ask) -> dict[str, Any]:
    """Headline as fields; margin and pascals are null when no bound allows a claim."""
    if best is None:
        return {
            "verdict": NO_CLAIM,
            "margin": None,
            "pa": None,
            "method": None,
            "batch": None,
            "n": None,
            "confidence": None,
        }
    batch = None if best.batch == NO_BATCH else best.batch
    found = {
        "margin": best.margin,
        "pa": best.pa,
        "method": best.method,
        "batch": batch,
        "n": best.n,
        "confidence": best.confidence,
    }
    return {"verdict": verdict(best, ask), **found}


def if_law(judged: Sequence[Judged], ask: Ask) -> list[dict[str, Any]]:
    """Bounds that hold only if the batch follows a law, lowest first, with those that have no value and why."""
    rows = [
        {
            "batch": None if name == NO_BATCH else name,
            "n": len(part),
            "method": method,
            "law": LAWS[method],
            "margin": bound.margin,
            "pa": bound.pa,
            "reason": bound.reason,
            "text": _if_law(name, method, bound, ask),
        }
        for name, part, by_method in judged
        for method, bound in by_method.items()
        if method in LAWS and bound.reason != "censored"
    ]
    return sorted(rows, key=lambda row: math.inf if row["margin"] is None else row["margin"])


def _if_law(name: str, method: str, bound: Bound, ask: Ask) -> str:
    start = f"{'' if name == NO_BATCH else f'{_named(name)}: '}if the batch follows a {LAWS[method]} law"
    start = start[0].upper() + start[1:]
    if bound.margin is None:
        return f"{start}: no bound ({REASONS[str(bound.reason)]})."
    approximate = ", an approximation" if method.endswith("_ml") else ""
    return (
        f"{start}: {down(bound.margin)} times the limit{_pressure(bound.pa)} ({METHODS[method]}{approximate}; {_percent(ask.coverage)} with "
        f"{_percent(ask.confidence)} confidence)."
    )


def down(value: float, places: int = 3) -> str:
    """Format a bound rounded down, so that 0.9999 never reads 1.000."""
    scale = 10**places
    return f"{math.floor(value * scale + 1e-9) / scale:.{places}f}"


def many(count: int, what: str) -> str:
    """Format `1 row`, `2 rows`."""
    return f"{count} {what}{'' if count == 1 else 's'}"


def _named(batch: str) -> str:
    return "No batch named" if batch == NO_BATCH else f"Batch {batch}"


def _pressure(pa: float | None) -> str:
    return "" if pa is None else f" = {show_limit(int(pa // 1))} gauge"


def _percent(share: float) -> str:
    return f"{share * 100:.6g} %"
