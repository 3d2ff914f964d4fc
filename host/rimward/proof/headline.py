"""The one sentence that people will quote: the lowest valid bound, with its batch and method."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from rimward.proof.bounds import METHODS, Ask, Bound
from rimward.proof.stats import n_needed
from rimward.proof.units import NO_BATCH, Specimen
from rimward.units import show_limit

SHOWN = "shown"
NOT_SHOWN = "not shown to hold its limit"
NO_CLAIM = "no claim"
REASONS = {
    "censored": "a test stopped before release makes the normal bound invalid",
    "too_few": "too few samples",
    "no_spread": "all margins are equal, which says nothing of their spread",
    "under_two_releases": "fewer than two distinct releases",
    "no_bound_found": "the likelihood gives no lower bound",
}
Lot = tuple[str, list[Specimen]]


@dataclass(frozen=True)
class Best:
    """The lowest bound with a value: `margin` times the limit, `pa` gauge where all rows share a limit."""

    batch: str
    n: int
    method: str
    margin: float
    pa: float | None


def choose(judged: Sequence[tuple[str, list[Specimen], list[Bound]]]) -> Best | None:
    """The lowest valid bound over the pool and every batch, None where there is none."""
    valid = [Best(name, len(part), b.method, b.margin, b.pa) for name, part, found in judged for b in found if b.margin is not None]
    return min(valid, key=lambda best: best.margin, default=None)


def verdict(best: Best | None) -> str:
    if best is None or best.margin < 0:
        return NO_CLAIM
    return NOT_SHOWN if best.margin < 1 else SHOWN


def text(best: Best | None, lots: Sequence[Lot], ask: Ask) -> str:
    """The headline in words; a bound is rounded down."""
    if best is None:
        return _without_bound(lots[0], ask)
    said, who = verdict(best), _named(best.batch)
    how = f"{METHODS[best.method]}; {_percent(ask.coverage)} of the batch with {_percent(ask.confidence)} confidence, n = {best.n}"
    if said == NO_CLAIM:
        return f"{who}: {NO_CLAIM}. The lowest valid bound falls below zero ({how})."
    if said == NOT_SHOWN:
        return f"{who}: {NOT_SHOWN}. The lowest valid bound is {down(best.margin)} times the limit{_pressure(best.pa)} ({how})."
    return f"{who}: shown to hold {down(best.margin)} times its limit{_pressure(best.pa)}, the lowest valid bound ({how})."


def as_json(best: Best | None) -> dict:
    """The same as fields; margin and pascals are null when nothing is claimed for want of a bound."""
    if best is None:
        return {"verdict": NO_CLAIM, "margin": None, "pa": None, "method": None, "batch": None, "n": None}
    batch = None if best.batch == NO_BATCH else best.batch
    return {"verdict": verdict(best), "margin": best.margin, "pa": best.pa, "method": best.method, "batch": batch, "n": best.n}


def down(value: float, places: int = 3) -> str:
    """A bound for people, rounded down, so that 0.9999 never reads 1.000."""
    scale = 10**places
    return f"{math.floor(value * scale + 1e-9) / scale:.{places}f}"


def many(count: int, what: str) -> str:
    """`1 row`, `2 rows`."""
    return f"{count} {what}{'' if count == 1 else 's'}"


def _without_bound(lot: Lot, ask: Ask) -> str:
    name, part = lot
    samples = "1 sample gives" if len(part) == 1 else f"{len(part)} samples give"
    needed = n_needed(ask.coverage, ask.confidence)
    return f"{_named(name)}: {NO_CLAIM}. {samples} no valid bound; without assuming a law {needed} are needed."


def _named(batch: str) -> str:
    return "No batch named" if batch == NO_BATCH else f"Batch {batch}"


def _pressure(pa: float | None) -> str:
    return "" if pa is None else f" = {show_limit(int(pa // 1))} gauge"


def _percent(share: float) -> str:
    return f"{share * 100:.6g} %"
