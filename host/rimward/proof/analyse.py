"""Complete analysis of a set of proof samples, as one JSON-ready object."""

import math
from collections.abc import Mapping, Sequence
from statistics import fmean, median, stdev
from typing import Any

from rimward.base.errors import Refusal
from rimward.proof import bounds, effects, headline, retention, stats, units, warn
from rimward.proof.bounds import Ask, Bound
from rimward.proof.load import Sample
from rimward.proof.units import Specimen

CLAIM = 1.0
NAMED_MOST = 4  # batches of a pool that its name lists


def analyse(
    samples: Sequence[Sample], ask: Ask, effect_columns: Sequence[str] = ()
) -> dict[str, Any]:
    """Return margins, bounds, retention, effects and headline of `samples`. Refusal when no row counts."""
    kept, dropped = units.drop_repeats(samples)
    valid = [sample for sample in kept if sample.valid]
    if not valid:
        raise Refusal(
            "No valid sample: every row is marked invalid.",
            "Add at least one row with released yes or no.",
        )
    lot = units.specimens(valid)
    lots = _lots(lot)
    judged = [(name, part, bounds.all_bounds(part, ask)) for name, part in lots]
    pooled = judged[0][2]
    best = headline.choose(judged, ask)
    return {
        "coverage": ask.coverage,
        "confidence": ask.confidence,
        "headline": headline.text(best, lots, ask),
        "headline_bound": headline.as_json(best, ask),
        "if_law": headline.if_law(judged, ask),
        "n": len(lot),
        "unit": units.unit(valid),
        "counts": _counts(samples, dropped, lot),
        "margin": _spread([specimen.margin for specimen in lot], lot),
        "lower_tolerance": lower_tolerance(pooled, lot, ask),
        "n_needed": stats.n_needed(ask.coverage, ask.confidence),
        "achieved_confidence": stats.achieved_confidence(len(lot), ask.coverage),
        "achieved_coverage": stats.achieved_coverage(len(lot), ask.confidence),
        "more_samples": more_samples(pooled, lot, ask),
        "maximum_likelihood": _likelihood(pooled),
        "gauge": _gauge(lot, ask),
        "retention": retention.summary(
            lot, ask.confidence, ask.gauge_u_pa, bounds.gauge_of(lot, ask).known
        ),
        "normality": effects.normality(lot),
        "effects": effects.linear(lot, effect_columns),
        "batches": [_batch(name, part, found, ask) for name, part, found in judged[1:]]
        or [_batch(*judged[0], ask)],
        "samples": [_row(sample, ask) for sample in samples],
        "warnings": warn.collect(samples, dropped, valid, lot, ask),
    }


def lower_tolerance(
    found: Mapping[str, Bound], lot: Sequence[Specimen], ask: Ask
) -> dict[str, Any]:
    """Return the normal, the rank and (complete lots) the Weibull bound. `reason` says why the first null of normal and rank is null."""
    normal, rank = found["normal"], found["rank"]
    weibull = found.get("weibull", Bound("weibull", None, None, "censored", {}))
    return {
        "normal_margin": normal.margin,
        "normal_pa": normal.pa,
        "rank_margin": rank.margin,
        "rank_pa": rank.pa,
        "rank_order": rank.detail.get("order"),
        "weibull_margin": weibull.margin,
        "weibull_pa": weibull.pa,
        "reason": normal.reason or rank.reason,
        "normal_reason": normal.reason,
        "rank_reason": rank.reason,
        "weibull_reason": weibull.reason,
        "limit_pa": bounds.shared_limit_pa(lot),
        "n_needed": stats.n_needed(ask.coverage, ask.confidence),
        "achieved_confidence": stats.achieved_confidence(len(lot), ask.coverage),
        "achieved_coverage": stats.achieved_coverage(len(lot), ask.confidence),
        "normal_before_gauge": normal.detail.get("before_gauge"),
        "rank_before_gauge": rank.detail.get("before_gauge"),
    }


def more_samples(found: Mapping[str, Bound], lot: Sequence[Specimen], ask: Ask) -> dict[str, Any]:
    """Additional samples that a claim needs: for any rank bound, and for a normal bound at 1.0 with unchanged mean and spread."""
    for_rank = max(0, stats.n_needed(ask.coverage, ask.confidence) - len(lot))
    detail, gauge = found["normal"].detail, bounds.gauge_of(lot, ask)
    total = None
    if detail:
        total = stats.n_for_normal_claim(
            detail["mean"], detail["sd"], CLAIM + gauge.u_margin, ask.coverage, ask.confidence
        )
    return {
        "for_rank_bound": for_rank,
        "for_normal_claim": None if total is None else max(0, total - len(lot)),
    }


def _lots(lot: list[Specimen]) -> list[tuple[str, list[Specimen]]]:
    """Return the pool first, then each batch alone where there are several."""
    names = list(dict.fromkeys(specimen.batch for specimen in lot))
    if len(names) == 1:
        return [(names[0], lot)]
    pooled = [
        (
            (" + ".join(names) if len(names) <= NAMED_MOST else f"{len(names)} batches")
            + " pooled",
            lot,
        )
    ]
    return pooled + [
        (name, [specimen for specimen in lot if specimen.batch == name]) for name in names
    ]


def _batch(
    name: str, part: Sequence[Specimen], found: Mapping[str, Bound], ask: Ask
) -> dict[str, Any]:
    limit_pa = bounds.shared_limit_pa(part)
    return {
        "batch": None if name == units.NO_BATCH else name,
        "n": len(part),
        "released": sum(specimen.released for specimen in part),
        "limit_pa": limit_pa,
        "lower_tolerance": lower_tolerance(found, part, ask),
        "maximum_likelihood": _likelihood(found),
    }


def _likelihood(found: Mapping[str, Bound]) -> dict[str, Any] | None:
    """Null for a complete lot, which has exact bounds."""
    by_method = {
        name: {"margin": b.margin, "pa": b.pa, "reason": b.reason, **b.detail}
        for name, b in found.items()
        if name.endswith("_ml")
    }
    return (
        {"weibull": by_method["weibull_ml"], "normal": by_method["normal_ml"]}
        if by_method
        else None
    )


def _counts(
    samples: Sequence[Sample], dropped: Sequence[Sample], lot: Sequence[Specimen]
) -> dict[str, Any]:
    words = [sample.released for sample in samples]
    return {
        "rows": len(samples),
        "released": words.count("yes"),
        "stopped": words.count("no"),
        "invalid": words.count("invalid"),
        "verified": sum(sample.verified for sample in samples),
        "repeated": len(dropped),
        "censored_specimens": sum(not specimen.released for specimen in lot),
    }


def _spread(margins: list[float], lot: Sequence[Specimen]) -> dict[str, Any]:
    """Mean and spread; null for a censored lot, where they would be those of the stops."""
    whole = not units.censored(lot)
    return {
        "lowest": min(margins),
        "highest": max(margins),
        "mean": fmean(margins) if whole else None,
        "median": median(margins) if whole else None,
        "sd": stdev(margins) if whole and len(margins) > 1 else None,
    }


def _gauge(lot: Sequence[Specimen], ask: Ask) -> dict[str, Any]:
    gauge = bounds.gauge_of(lot, ask)
    return {
        "u_pa": gauge.u_pa if gauge.known or gauge.u_pa else None,
        "u_margin": gauge.u_margin,
        "known": gauge.known,
    }


def _row(sample: Sample, ask: Ask) -> dict[str, Any]:
    def number(value: float) -> float | None:
        return value if math.isfinite(value) else None

    return {
        "sample": sample.name,
        "file": sample.file,
        "row": sample.row,
        "released": sample.released,
        "release_bar": number(sample.release_bar),
        "limit_bar": number(sample.limit_bar),
        "margin": sample.margin if sample.valid else None,
        "verified": sample.verified,
        "evidence": sample.evidence,
        "held_110_percent": retention.held(sample, ask.gauge_u_pa) if sample.valid else None,
        "retention": retention.verdict(sample, ask.gauge_u_pa) if sample.valid else None,
    }
