"""Heat map of readings over temperature and altitude, with the limit."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rimward.base.units import celsius, exceeds, show_limit, show_reading
from rimward.limits.ceiling.model import Ride
from rimward.limits.ride.readings import Readings, readings

BAR = 100_000


def draw_heat_map(found: Readings, path: str | Path) -> None:
    """Write a PNG of 1200 x 900 pixels, on a finer grid over the same range."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    assert found.place.temp_ck is not None
    at = celsius(found.place.temp_ck)
    ride = Ride.of(found.altitudes_m[-1], found.temps_c[-1], temp_min_c=found.temps_c[0])
    fine = readings(found.fill_pa, found.place, ride, found.limit_pa, count=61)
    temps, altitudes = _span(fine.temps_c), _span(fine.altitudes_m)
    bar = [
        [pa / BAR for pa in (row if len(row) > 1 else row * 2)]
        for row in (fine.gauge_pa if len(fine.gauge_pa) > 1 else fine.gauge_pa * 2)
    ]
    figure = Figure(figsize=(8, 6), dpi=150, layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    mesh = axes.pcolormesh(temps, altitudes, bar, cmap="cividis", shading="gouraud")
    figure.colorbar(mesh, ax=axes, label="gauge pressure, bar")
    if found.limit_pa is not None:
        _draw_limit(axes, temps, altitudes, bar, found.limit_pa)
    axes.plot(
        [at],
        [found.place.altitude_m],
        "o",
        color="white",
        markeredgecolor="black",
        clip_on=False,
        zorder=5,
    )
    axes.annotate(
        "fill",
        (at, altitudes[0]),
        xytext=(8, 8),
        textcoords="offset points",
        color="white",
        fontsize=11,
    )
    if len(found.temps_c) == 1:
        axes.set_xticks([found.temps_c[0]])
    if len(found.altitudes_m) == 1:
        axes.set_yticks([found.altitudes_m[0]])
    axes.set_xlabel("tyre temperature, °C")
    axes.set_ylabel("altitude, m")
    highest, altitude, temp = found.highest
    axes.set_title(
        f"Filled to {show_limit(found.fill_pa)} gauge at {at:.0f} °C and {altitudes[0]:.0f} m\n"
        f"highest reading {show_reading(highest, found.limit_pa)} at {temp:.0f} °C and {altitude:.0f} m"
        + (f"; limit {show_limit(found.limit_pa)}" if found.limit_pa is not None else ""),
        fontsize=10,
    )
    figure.savefig(path, format="png")


def _draw_limit(
    axes: Any,
    temps: Sequence[float],
    altitudes: Sequence[float],
    bar: Sequence[Sequence[float]],
    limit_pa: int,
) -> None:
    limit = limit_pa / BAR
    lowest, highest = min(map(min, bar)), max(map(max, bar))
    if lowest < limit < highest:
        axes.contour(temps, altitudes, bar, levels=[limit], colors="red", linewidths=2.5)
    over = exceeds(highest * BAR, limit_pa)
    if over:
        axes.contourf(
            temps,
            altitudes,
            bar,
            levels=[limit, max(highest, limit) + 1],
            colors="none",
            hatches=["//"],
        )
        where = (
            f"everything is above the limit {show_limit(limit_pa)}"
            if lowest > limit
            else f"red line: limit {show_limit(limit_pa)}\nhatched: above it"
        )
    else:
        where = f"nowhere above the limit {show_limit(limit_pa)}"
    axes.annotate(
        where,
        (0.98, 0.97),
        xycoords="axes fraction",
        ha="right",
        va="top",
        fontsize=10,
        color="red" if over else "black",
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.85},
    )


def _span(values: tuple[float, ...]) -> list[float]:
    """At least two values, so that a ride that changes only one quantity can be drawn."""
    return list(values) if len(values) > 1 else [values[0], values[0] + 1]
