"""Pictures of the report, as SVG text. Shape carries the meaning as well as colour."""

import io
from collections.abc import Sequence
from typing import Any

import matplotlib
import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import FormatStrFormatter, MaxNLocator
from scipy import stats

from rimward.proof.bounds import METHODS
from rimward.proof.standard import PERCENT
from rimward.proof.units import Specimen

INK, RELEASE, STOP, LIMIT = "#20242a", "#0b5c8a", "#a34a00", "#9b1c2e"
BOUND_LINES = {
    "normal": (0, (6, 2)),
    "rank": (0, (1, 2)),
    "weibull": (0, (6, 2, 1, 2)),
    "weibull_ml": (0, (6, 2, 1, 2)),
    "normal_ml": (0, (3, 3)),
}


def margins_svg(lot: Sequence[Specimen], bounds: dict[str, float]) -> str:
    """Every specimen by margin, lowest first: a disc for a release, an open triangle for a stop."""
    ordered = sorted(lot, key=lambda specimen: specimen.margin)
    figure, axes = _axes(9.6, max(2.8, min(6.0, 1.6 + 0.14 * len(ordered))))
    places = np.arange(1, len(ordered) + 1)
    for gone, marker, face, label in (
        (True, "o", RELEASE, "released"),
        (False, ">", "none", "stopped, release lies higher"),
    ):
        chosen = [
            (s.margin, place)
            for s, place in zip(ordered, places, strict=True)
            if s.released is gone
        ]
        if chosen:
            x, y = zip(*chosen, strict=True)
            axes.scatter(
                x,
                y,
                marker=marker,
                facecolors=face,
                edgecolors=RELEASE if gone else STOP,
                s=40,
                label=label,
                zorder=3,
            )
    axes.axvline(1, color=LIMIT, linewidth=2, label="limit")
    axes.axvline(
        PERCENT / 100,
        color=LIMIT,
        linewidth=1,
        linestyle=(0, (4, 2)),
        label=f"{PERCENT} % retention",
    )
    for method, margin in bounds.items():
        axes.axvline(
            margin,
            color=INK,
            linewidth=1.4,
            linestyle=BOUND_LINES[method],
            label=f"bound, all rows:\n{METHODS[method]}",
        )
    axes.set(
        xlabel="margin = release ÷ limit",
        ylabel="specimen, lowest first",
        ylim=(0, len(ordered) + 1),
    )
    axes.yaxis.set_major_locator(MaxNLocator(integer=True))
    axes.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), fontsize=9, frameon=False)
    return _svg(figure, "Margin of every specimen with limit and bounds")


def probability_svg(lot: Sequence[Specimen], weibull: dict[str, Any] | None) -> str:
    """Draw the normal plot of a complete lot, the Weibull plot with the fitted line of a censored one. Releases at their median ranks."""
    figure, axes = _axes(5.2, 4.2)
    values, ranks = _plotting_positions(lot)
    if weibull is None:
        axes.scatter(values, stats.norm.ppf(ranks), color=RELEASE, s=30, zorder=3)
        _normal_line(axes, values)
        axes.set(xlabel="margin", ylabel="standard normal quantile")
        return _svg(figure, "Normal probability plot of the margins")
    axes.scatter(values, np.log(-np.log1p(-ranks)), color=RELEASE, s=30, zorder=3)
    if values.size and weibull.get("shape"):
        axes.plot(
            values, weibull["shape"] * np.log(values / weibull["scale"]), color=INK, linewidth=1.3
        )
    axes.set(xlabel="margin (log scale)", ylabel="ln(−ln(1 − share released))", xscale="log")
    axes.xaxis.set_major_formatter(FormatStrFormatter("%.2f"))
    axes.xaxis.set_minor_formatter(FormatStrFormatter("%.2f"))
    return _svg(figure, "Weibull probability plot of the releases")


def median_ranks(order: np.ndarray, n: int) -> np.ndarray:
    """Exact median rank of the order-th of n; a censored lot has fractional orders."""
    return np.asarray(stats.beta.ppf(0.5, order, n - order + 1))


def adjusted_orders(released: Sequence[bool]) -> np.ndarray:
    """Mean order numbers of the releases in a lot sorted by margin; each stop passes its place to those above it (Johnson)."""
    n, order, found = len(released), 0.0, []
    for place, gone in enumerate(released):
        if gone:
            order += (n + 1 - order) / (n - place + 1)
            found.append(order)
    return np.array(found)


def _plotting_positions(lot: Sequence[Specimen]) -> tuple[np.ndarray, np.ndarray]:
    ordered = sorted(lot, key=lambda specimen: (specimen.margin, not specimen.released))
    values = np.array([specimen.margin for specimen in ordered if specimen.released])
    return values, median_ranks(
        adjusted_orders([specimen.released for specimen in ordered]), len(ordered)
    )


def _normal_line(axes: Any, values: np.ndarray) -> None:
    if values.size > 1 and np.ptp(values) > 0:
        ends = np.array([values.min(), values.max()])
        axes.plot(ends, (ends - values.mean()) / values.std(ddof=1), color=INK, linewidth=1.3)


def _axes(width: float, height: float) -> tuple[Figure, Any]:
    figure = Figure(figsize=(width, height), layout="constrained")
    axes = figure.subplots()
    axes.grid(color="#d5d9de", linewidth=0.6)
    axes.spines[["top", "right"]].set_visible(False)
    return figure, axes


def _svg(figure: Figure, title: str) -> str:
    """Drawing without its XML header, with a title for screen readers; the same input gives the same bytes."""
    out = io.StringIO()
    with matplotlib.rc_context({"svg.hashsalt": "rimward", "svg.fonttype": "path"}):
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Title": title})
    text = out.getvalue()
    return text[text.index("<svg") :].replace("<svg ", f'<svg role="img" aria-label="{title}" ', 1)
