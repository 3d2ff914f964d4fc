"""Picture of a fill: pressure over time with target, stop reading and ceiling, and the periods of air."""

from pathlib import Path
from typing import Any

import numpy as np
from rimward_protocol import codes

from rimward.base.errors import Refusal
from rimward.base.units import show_limit
from rimward.sessions.log import SessionLog
from rimward.sessions.targets import target_at, targets_of

TICK_S = 0.002
BAR = 1e5
PSI_A_BAR = 14.503773773020923
CALM, PUMP = "#1f4e79", "#c9c4b4"
CLOSE = 0.015  # share of the width: height of a label
MARKED = ("bead-confirmed", "run-released", "target-chosen", "tripped")
LABEL_PT = 26.0  # two lines of a label
AROUND_PT = 125.0  # share of a figure's height: title, marks, time axis and legend
LEGEND_PT = 34.0  # below the axes: clear of the time axis' labels
# colour and dashes
LINES: dict[str, tuple[str, Any]] = {
    "ceiling": ("#a32020", "-"),
    "stop": ("#a32020", (0, (6, 3))),
    "target": ("#2f6b2f", (0, (3, 2))),
}


def draw_session(log: SessionLog, to: Path) -> Path:
    """Write a PNG. Refusal if the session holds no trace."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    if not len(log.series()):
        raise Refusal("The session holds no trace to draw.", "Pull a session of a fill.")
    figure, axes = pyplot.subplots(figsize=(10, 5.2), dpi=120)
    paint(axes, log)
    figure.tight_layout()
    figure.savefig(to)
    pyplot.close(figure)
    return to


def paint(ax: Any, log: SessionLog) -> None:
    """Draw a session's pressures into matplotlib axes: the 50 Hz trace, and full-rate spans in its gaps."""
    t = log.series()
    start = int(t["tick"][0])
    seconds = (t["tick"] - start) * TICK_S
    on = (t["out"] & codes.OUT_GATE) != 0
    higher = np.maximum(t["a_pa"], t["b_pa"]) / BAR
    targets = targets_of(log)
    limits = [(name, int(t[f"{name}_pa"].max())) for name in ("ceiling", "stop")] + [
        ("target", targets[-1][1] if targets else 0)
    ]
    top = max(higher.max(), limits[0][1] / BAR) * 1.12 + 0.05
    ax.fill_between(
        seconds, 0, top, where=on, step="post", color=PUMP, alpha=0.55, linewidth=0, label="air on"
    )
    ax.plot(seconds, higher, color=CALM, linewidth=1.2, label="reading at the hose (higher of two)")
    seen = t["tyre_pa"] >= 0
    if seen.any():
        tyre = np.where(seen, t["tyre_pa"] / BAR, np.nan)
        ax.plot(
            seconds,
            tyre,
            color="#000000",
            linewidth=1.0,
            linestyle=(0, (1, 1)),
            label="tyre, once measured",
        )
    shown = [(name, pa) for name, pa in limits if pa > 0]
    height_pt = max(60.0, ax.figure.get_figheight() * 72 - AROUND_PT)
    for (name, pa), share in zip(
        shown, _apart([pa / BAR / top for _, pa in shown], LABEL_PT / height_pt)
    ):
        _limit_line(
            ax,
            name,
            share,
            pa,
            seconds,
            target_at(targets, t["tick"]) if name == "target" else np.full(len(t), pa),
        )
    for at, words in _marks(log, start, float(seconds[-1]) * CLOSE):
        ax.axvline(at, color="#555555", linewidth=0.6)
        ax.annotate(
            ", ".join(words), (at, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 3), textcoords="offset points",
            rotation=18, fontsize=7, va="bottom", ha="left", color="#555555", annotation_clip=False,
        )  # fmt: skip
    ax.set_xlim(0, max(float(seconds[-1]), 0.1))
    ax.set_ylim(min(0.0, higher.min()), top)
    _label(ax, log, height_pt)


def _label(ax: Any, log: SessionLog, height_pt: float) -> None:
    """Write axes, legend and title."""
    ax.set_xlabel("time, s")
    ax.set_ylabel("gauge pressure, bar")
    right = ax.secondary_yaxis(
        "right", functions=(lambda b: b * PSI_A_BAR, lambda p: p / PSI_A_BAR)
    )
    right.set_ylabel("psi")
    ax.legend(
        loc="upper center",
        bbox_to_anchor=(0.5, -LEGEND_PT / height_pt),
        ncols=3,
        fontsize=8,
        frameon=False,
    )
    profile = log.profile
    ax.set_title(
        f"{profile['label'] if profile else 'session'}: fill {log.header['session']}",
        loc="left",
        fontsize=11,
        pad=30,
    )


def _marks(log: SessionLog, start: int, close_s: float) -> list[tuple[float, list[str]]]:
    """Return the marked events by time in seconds; marks too close to be read share one place."""
    found: list[tuple[float, list[str]]] = []
    for row in log.events:
        if row["event"] in MARKED:
            at = (row["tick"] - start) * TICK_S
            if found and at - found[-1][0] <= close_s:
                found[-1][1].append(row["event"])
            else:
                found.append((at, [row["event"]]))
    return found


def _apart(shares: list[float], gap: float) -> list[float]:
    """Heights of labels (share of the axes), moved apart so that none overlaps: falling heights, `gap` apart."""
    order = sorted(range(len(shares)), key=lambda i: -shares[i])
    placed = list(shares)
    for before, after in zip(order, order[1:]):
        placed[after] = min(placed[after], placed[before] - gap)
    return placed


def _limit_line(
    ax: Any, name: str, label_share: float, pa: int, seconds: Any, over_time: Any
) -> None:
    """Draw one limit over time, its name and last value outside the axes at the right, where no curve runs."""
    colour, style = LINES[name]
    ax.plot(
        seconds,
        over_time / BAR,
        color=colour,
        linestyle=style,
        linewidth=1.4,
        drawstyle="steps-post",
        gid=name,
    )
    words = {"stop": "stop reading"}.get(name, name)
    ax.annotate(
        f"{words}\n{show_limit(pa)}",
        (1.0, label_share),
        xycoords="axes fraction",
        xytext=(46, 0),
        textcoords="offset points",
        va="center",
        fontsize=8,
        color=colour,
        annotation_clip=False,
    )
