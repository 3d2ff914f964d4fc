"""Pictures of a campaign."""

from pathlib import Path
from typing import Any

import numpy as np

from rimward.simulation.campaign.play import NAMES
from rimward.simulation.plant.faults import FAULTS

DPI = 110


def draw_plots(rows: np.ndarray, figures: dict[str, Any], out: Path) -> list[Path]:
    """Write three PNG files into `out`: highest pressure over ceiling, final error, detection times."""
    import matplotlib

    matplotlib.use("Agg")
    made = [_ratios(rows, out / "peak-over-ceiling.png"), _errors(figures, out / "final-error.png")]
    return [*made, _detection(figures, out / "detection.png")]


def _figure(title: str, tall: float) -> Any:
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(figsize=(9, tall), layout="constrained")
    axes.set_title(title)
    return figure, axes


def _close(figure: Any, path: Path) -> Path:
    from matplotlib import pyplot

    figure.savefig(path, dpi=DPI)
    pyplot.close(figure)
    return path


def _ratios(rows: np.ndarray, path: Path) -> Path:
    """Highest true tyre pressure of every session over its ceiling, by fault."""
    present = [name for name in NAMES if (rows["fault"] == NAMES.index(name)).any()]
    figure, axes = _figure(
        "Highest true tyre pressure ÷ the wheel's ceiling", 1.5 + 0.2 * len(present)
    )
    for y, name in enumerate(present):
        ratio = rows["ratio"][rows["fault"] == NAMES.index(name)]
        colour = "tab:red" if name and FAULTS[name].set == "R" else "tab:blue"
        axes.plot([np.percentile(ratio, 1), ratio.max()], [y, y], color=colour, lw=1)
        axes.plot(ratio.max(), y, "|", color=colour, ms=9)
    axes.axvline(1.0, color="black", lw=0.8)
    axes.set_yticks(range(len(present)), [name or "no fault" for name in present], fontsize=7)
    axes.invert_yaxis()
    axes.set_xlabel("1st percentile to highest; blue: set D, red: set R")
    return _close(figure, path)


def _errors(figures: dict[str, Any], path: Path) -> Path:
    histogram = figures["final_error"]["histogram"]
    edges = np.array(histogram["edges_pa"]) / 1e5
    figure, axes = _figure(
        "Settled pressure − target, fills that said done, instruments within their class", 4
    )
    axes.stairs(histogram["counts"], edges, fill=True)
    axes.set_xlabel("bar (values outside are counted in the end bins)")
    axes.set_ylabel("fills")
    return _close(figure, path)


def _detection(figures: dict[str, Any], path: Path) -> Path:
    found = [row for row in figures["faults"] if row["fault"] != "none" and row["detection_s"]]
    figure, axes = _figure("Time from fault to latched cause or stop", 1.5 + 0.2 * len(found))
    for y, row in enumerate(found):
        low, high = (max(row["detection_s"][q], 0.002) for q in ("median", "p99"))
        axes.plot([low, high], [y, y], color="tab:blue", lw=1)
        axes.plot(low, y, "o", color="tab:blue", ms=4)
    axes.set_xscale("log")
    axes.set_yticks(range(len(found)), [row["fault"] for row in found], fontsize=7)
    axes.invert_yaxis()
    axes.set_xlabel("s: median (dot) to 99th percentile, of the sessions in which it was detected")
    return _close(figure, path)
