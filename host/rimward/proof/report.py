"""Analysis as one self-contained HTML page."""

from collections.abc import Sequence
from importlib import resources
from typing import Any

from jinja2 import Environment

from rimward.base import units as pressure
from rimward.proof import headline, plots, units
from rimward.proof.bounds import METHODS
from rimward.proof.load import Sample
from rimward.proof.plan import CAUTIONS

EDGES = {headline.SHOWN: "#1d6b3a", headline.NOT_SHOWN: "#9b1c2e", headline.NO_CLAIM: "#9b1c2e"}


def html(analysis: dict[str, Any], samples: Sequence[Sample]) -> str:
    """Return the page; `samples` are those of `analysis`."""
    kept, _ = units.drop_repeats(samples)
    lot = units.specimens([sample for sample in kept if sample.valid])
    weibull = (analysis["maximum_likelihood"] or {}).get("weibull")
    template = Environment(autoescape=True).from_string(
        resources.files("rimward.proof").joinpath("report.html.j2").read_text(encoding="utf-8")
    )
    return template.render(
        a=analysis,
        edge=EDGES[analysis["headline_bound"]["verdict"]],
        margins_svg=plots.margins_svg(lot, _drawn_bounds(analysis)),
        probability_svg=plots.probability_svg(lot, weibull),
        bound_rows=bound_rows(analysis),
        cautions=CAUTIONS,
        pct=lambda share: f"{share * 100:.6g} %",
        share=lambda share: f"{headline.down(share * 100, 1)} %",
        count=count,
        by_reading=by_reading,
        down=headline.down,
        many=headline.many,
    )


def bound_rows(analysis: dict[str, Any]) -> list[dict[str, Any]]:
    """One row for each bound and batch, as text."""
    return [
        {
            "batch": batch["batch"] or "not named",
            "n": batch["n"],
            "method": METHODS[method],
            **_shown(found),
        }
        for batch in _with_pool(analysis)
        for method, found in _bounds(batch).items()
    ]


def count(tally: dict[str, Any], verb: str = "passed") -> str:
    """Format `x of n` with its bound, and the undecided ones."""
    not_shown = (
        f" {tally['not_shown']} not shown: their reading less the gauge's U does not reach 110 %."
        if tally["not_shown"]
        else ""
    )
    undecided = not_shown + (
        f" {tally['undecided']} do not decide it." if tally["undecided"] else ""
    )
    if not tally["n"]:
        return f"no row decides it.{undecided}"
    shown = headline.down(tally["lower"] * 100, 1)
    return f"{tally['passed']} of {tally['n']} {verb}, which shows {shown} % at {tally['confidence'] * 100:.6g} % confidence.{undecided}"


def by_reading(retention: dict[str, Any]) -> str:
    """Note for a count without the gauge's uncertainty."""
    return (
        ""
        if retention["gauge_known"]
        else " By the readings alone: the gauge's uncertainty is not stated for every row."
    )


def _with_pool(analysis: dict[str, Any]) -> list[dict[str, Any]]:
    batches: list[dict[str, Any]] = analysis["batches"]
    if len(batches) < 2:
        return batches
    return [{**analysis, "batch": "all pooled"}, *batches]


def _bounds(part: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """Bounds of the pool or of a batch; the exact Weibull one for complete lots only."""
    lower, likelihood = part["lower_tolerance"], part["maximum_likelihood"] or {}
    found = {
        name: {
            "margin": lower[f"{name}_margin"],
            "pa": lower[f"{name}_pa"],
            "reason": lower[f"{name}_reason"],
        }
        for name in ("normal", "rank", "weibull")
    }
    if likelihood:
        del found["weibull"]
    return {**found, **{f"{family}_ml": bound for family, bound in likelihood.items()}}


def _shown(found: dict[str, Any]) -> dict[str, Any]:
    if found["margin"] is None:
        return {"margin": "", "pressure": "", "reason": headline.REASONS[found["reason"]]}
    return {
        "margin": headline.down(found["margin"]),
        "pressure": _pressure(found["pa"]),
        "reason": "",
    }


def _pressure(pa: float | None) -> str:
    return "limits differ" if pa is None else pressure.show_limit(int(pa // 1))


def _drawn_bounds(analysis: dict[str, Any]) -> dict[str, float]:
    return {
        name: found["margin"]
        for name, found in _bounds(analysis).items()
        if found["margin"] is not None and found["margin"] > 0
    }
