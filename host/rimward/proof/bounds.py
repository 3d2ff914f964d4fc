"""Lower tolerance bounds of one lot of specimens, each with the reason where it has no value."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import fmean, stdev
from typing import Any

from rimward.proof import censored, conditional, effects, stats
from rimward.proof.load import BAR_PA
from rimward.proof.units import Specimen
from rimward.proof.units import censored as censored_lot

# No bicycle tyre known to the project is rated above 15 bar; 30 psi and more entered in a bar column lie above it.
LIMIT_MAX_PA = 1_500_000
NORMALITY_P = 0.05  # below it the lot is clearly not normal, and its normal bound is withdrawn
METHODS = {
    "normal": "normal, noncentral t",
    "rank": "rank, no law assumed",
    "weibull": "Weibull, exact conditional",
    "weibull_ml": "Weibull, profile likelihood",
    "normal_ml": "normal, profile likelihood",
}


@dataclass(frozen=True)
class Ask:
    """Request: share of the lot, confidence, and the gauge's U in pascals where known for all rows."""

    coverage: float = 0.95
    confidence: float = 0.95
    gauge_u_pa: float | None = None


@dataclass(frozen=True)
class Bound:
    """One bound with the gauge's U subtracted. `margin` is None with a `reason`; `pa` is None too where limits differ."""

    method: str
    margin: float | None
    pa: float | None
    reason: str | None
    detail: dict[str, Any]


@dataclass(frozen=True)
class Gauge:
    """U of the gauge as margin and as pascals; zero with `known` False where it is unstated."""

    u_margin: float
    u_pa: float
    known: bool


def gauge_of(lot: Sequence[Specimen], ask: Ask) -> Gauge:
    """Largest U over the deciding rows: an error common to all rows does not average out."""
    stated = [_row_u_pa(specimen, ask) for specimen in lot]
    us = [0.0 if u is None else u for u in stated]
    relative = [u / specimen.deciding.limit_pa for u, specimen in zip(us, lot, strict=True)]
    return Gauge(
        max(relative, default=0.0), max(us, default=0.0), bool(stated) and None not in stated
    )


def limits_differ(lot: Sequence[Specimen]) -> bool:
    """Return True when limits differ by a pascal or more."""
    limits = [row.limit_pa for specimen in lot for row in specimen.rows]
    return max(limits) - min(limits) >= 1


def shared_limit_pa(lot: Sequence[Specimen]) -> float | None:
    """Limit common to all rows; None when they differ, or when it cannot be in bar."""
    limit_pa = lot[0].deciding.limit_pa
    return None if limits_differ(lot) or limit_pa > LIMIT_MAX_PA else limit_pa


def all_bounds(lot: Sequence[Specimen], ask: Ask) -> dict[str, Bound]:
    """Every bound by its method: rank, normal and Weibull of a complete lot; rank and the two likelihood bounds of a censored one."""
    found = [normal(lot, ask), rank(lot, ask)]
    if censored_lot(lot):
        found += [likelihood(lot, ask, family) for family in censored.FAMILIES]
    else:
        found.append(weibull(lot, ask))
    return {bound.method: bound for bound in found}


def lowest(lot: Sequence[Specimen], ask: Ask) -> Bound:
    """Bound by the lowest value, stops counted at the stop. It holds for `ask.coverage` with `stats.achieved_confidence` of the lot's
    size.
    """
    return _bound("rank", lot, ask, min, {"order": 1})


def normal(lot: Sequence[Specimen], ask: Ask) -> Bound:
    """Bound mean − k·s. Invalid with a stopped test, which would reduce the spread and raise the bound; withdrawn for a lot that is not
    normal.
    """
    margins = [specimen.margin for specimen in lot]
    if censored_lot(lot):
        return _without("normal", "censored")
    if len(margins) < 2:
        return _without("normal", "too_few")
    if stdev(margins) == 0:
        return _without("normal", "no_spread")
    if (p := effects.normality(lot)["p"]) is not None and p < NORMALITY_P:
        return _without("normal", "not_normal")
    k = stats.k_factor(len(margins), ask.coverage, ask.confidence)
    detail = {"mean": fmean(margins), "sd": stdev(margins), "k": k}
    return _bound(
        "normal",
        lot,
        ask,
        lambda values: stats.normal_bound(values, ask.coverage, ask.confidence),
        detail,
    )


def rank(lot: Sequence[Specimen], ask: Ask) -> Bound:
    """Bound by the r-th smallest, stops counted at the stop pressure (which can only lower it)."""
    order = stats.rank_order(len(lot), ask.coverage, ask.confidence)
    if order == 0:
        return _without("rank", "too_few")
    return _bound("rank", lot, ask, lambda values: sorted(values)[order - 1], {"order": order})


def weibull(lot: Sequence[Specimen], ask: Ask) -> Bound:
    """Exact bound of a complete Weibull lot."""
    if len({specimen.margin for specimen in lot}) < 2:
        return _without("weibull", "too_few" if len(lot) < 2 else "no_spread")
    return _bound(
        "weibull",
        lot,
        ask,
        lambda values: conditional.weibull_bound(values, ask.coverage, ask.confidence),
        {},
    )


def likelihood(lot: Sequence[Specimen], ask: Ask, family: str) -> Bound:
    """Weibull or normal bound by maximum likelihood, with the profile."""
    method, margins, released = f"{family}_ml", [s.margin for s in lot], [s.released for s in lot]
    if censored.distinct_releases(margins, released) < 2:
        return _without(method, "under_two_releases")
    fitted = censored.fit(family, margins, released, ask.coverage, ask.confidence)
    detail = {**fitted.parameters, "estimate": fitted.quantile}
    if fitted.bound is None:
        return Bound(method, None, None, "no_bound_found", detail)
    raw = fitted.bound
    limit_pa = shared_limit_pa(lot)
    gauge = gauge_of(lot, ask)
    pa = None if limit_pa is None else raw * limit_pa - gauge.u_pa
    return Bound(method, raw - gauge.u_margin, pa, None, {**detail, "before_gauge": raw})


def _bound(
    method: str,
    lot: Sequence[Specimen],
    ask: Ask,
    of: Callable[[list[float]], float],
    detail: dict[str, Any],
) -> Bound:
    gauge = gauge_of(lot, ask)
    raw = of([specimen.margin for specimen in lot])
    pa = None
    if shared_limit_pa(lot) is not None:
        pa = of([specimen.deciding.release_bar * BAR_PA for specimen in lot]) - gauge.u_pa
    return Bound(method, raw - gauge.u_margin, pa, None, {**detail, "before_gauge": raw})


def _without(method: str, reason: str) -> Bound:
    return Bound(method, None, None, reason, {})


def _row_u_pa(specimen: Specimen, ask: Ask) -> float | None:
    own = specimen.deciding.known.get("gauge_u_bar")
    if own is None:
        return ask.gauge_u_pa
    return max(float(own) * BAR_PA, ask.gauge_u_pa or 0.0)
