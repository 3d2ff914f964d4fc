"""The analysis as one self-contained HTML page."""

from collections.abc import Sequence
from importlib import resources

from jinja2 import Environment

from rimward import units as pressure
from rimward.proof import headline, plots, units
from rimward.proof.bounds import METHODS
from rimward.proof.load import Sample
from rimward.proof.plan import CAUTIONS

EDGES = {headline.SHOWN: "#1d6b3a", headline.NOT_SHOWN: "#9b1c2e", headline.NO_CLAIM: "#9b1c2e"}


def html(analysis: dict, samples: Sequence[Sample]) -> str:
    """The page; `samples` are those that `analysis` was made of."""
    kept, _ = units.drop_repeats(samples)
    lot = units.specimens([sample for sample in kept if sample.valid])
    weibull = (analysis["maximum_likelihood"] or {}).get("weibull")
    template = Environment(autoescape=True).from_string(resources.files("rimward.proof").joinpath("report.html.j2").read_text(encoding="utf-8"))
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


def bound_rows(analysis: dict) -> list[dict]:
    """One row a bound and batch, in words."""
    return [
        {"batch": batch["batch"] or "not named", "n": batch["n"], "method": METHODS[method], **_shown(found)}
        for batch in _with_pool(analysis)
        for method, found in _bounds(batch).items()
    ]


def count(tally: dict, verb: str = "passed") -> str:
    """`x of n` with its bound, and what does not decide it."""
    not_shown = f" {tally['not_shown']} not shown: their reading less the gauge's U does not reach 110 %." if tally["not_shown"] else ""
    undecided = not_shown + (f" {tally['undecided']} do not decide it." if tally["undecided"] else "")
    if not tally["n"]:
        return f"no row decides it.{undecided}"
    shown = headline.down(tally["lower"] * 100, 1)
    return f"{tally['passed']} of {tally['n']} {verb}, which shows {shown} % at {tally['confidence'] * 100:.6g} % confidence.{undecided}"


def by_reading(retention: dict) -> str:
    """What the count leaves out where the gauge's uncertainty is not stated."""
    return "" if retention["gauge_known"] else " By the readings alone: the gauge's uncertainty is not stated for every row."


def _with_pool(analysis: dict) -> list[dict]:
    if len(analysis["batches"]) < 2:
        return analysis["batches"]
    return [{**analysis, "batch": "all pooled"}, *analysis["batches"]]


def _bounds(part: dict) -> dict[str, dict]:
    """Every bound of the pool or of a batch; the exact Weibull one stands for complete lots only."""
    lower, likelihood = part["lower_tolerance"], part["maximum_likelihood"] or {}
    found = {name: {"margin": lower[f"{name}_margin"], "pa": lower[f"{name}_pa"], "reason": lower[f"{name}_reason"]} for name in ("normal", "rank", "weibull")}
    if likelihood:
        del found["weibull"]
    return {**found, **{f"{family}_ml": bound for family, bound in likelihood.items()}}


def _shown(found: dict) -> dict:
    if found["margin"] is None:
        return {"margin": "", "pressure": "", "reason": headline.REASONS[found["reason"]]}
    return {"margin": headline.down(found["margin"]), "pressure": _pressure(found["pa"]), "reason": ""}


def _pressure(pa: float | None) -> str:
    return "limits differ" if pa is None else pressure.show_limit(int(pa // 1))


def _drawn_bounds(analysis: dict) -> dict[str, float]:
    return {name: found["margin"] for name, found in _bounds(analysis).items() if found["margin"] is not None and found["margin"] > 0}
