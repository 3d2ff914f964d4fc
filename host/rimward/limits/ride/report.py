"""Report of `rimward ride`, as JSON and as text."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from rimward.base.units import exceeds, show_limit, show_minimum, show_reading
from rimward.limits.ceiling.model import Note, Place, Ride
from rimward.limits.ceiling.places import place_refusals
from rimward.limits.ride.readings import Readings, readings


@dataclass(frozen=True)
class Report:
    """Readings, or the refusals that prevented them."""

    found: Readings | None
    refusals: tuple[Note, ...]
    warnings: tuple[Note, ...]


def assess_fill(
    fill_pa: int | None,
    place: Place,
    ride: Ride | None,
    limit_pa: int | None,
    refusals: Sequence[Note],
    tyre_min_pa: int | None = None,
) -> Report:
    """Assess a fill (gauge pascal). With any refusal there are no readings."""
    notes = list(refusals) + [
        note for note in place_refusals(place, ride) if note.id not in {one.id for one in refusals}
    ]
    if place.temp_ck is None and not notes:
        notes.append(
            Note(
                "fill-temperature-missing",
                "The temperature of this reading is missing. Measure it where you fill and state --fill-temp.",
            )
        )
    if notes or fill_pa is None or ride is None:
        return Report(None, tuple(notes), ())
    warnings = []
    if ride.empty:
        warnings.append(
            Note(
                "ride-not-stated",
                "No ride is stated, so only the place of the fill is shown. State --ride-temp-max and --ride-altitude-max.",
            )
        )
    found = readings(fill_pa, place, ride, limit_pa, tyre_min_pa=tyre_min_pa)
    if found.over_limit and limit_pa is not None:
        highest, altitude, temp = found.highest
        warnings.append(
            Note(
                "over-limit",
                f"This fill reads {show_reading(highest, limit_pa)} at {temp:.1f} °C and {altitude:.0f} m, "
                f"above the limit {show_limit(limit_pa)}.",
            )
        )
    if found.under_minimum and tyre_min_pa is not None:
        lowest, altitude, temp = found.lowest
        warnings.append(
            Note(
                "below-tyre-minimum-on-ride",
                f"This fill falls to {show_limit(max(0, int(lowest // 1)))} at {temp:.1f} °C and {altitude:.0f} m, "
                f"below the tyre's printed minimum {show_minimum(tyre_min_pa)}.",
            )
        )
    return Report(found, (), tuple(warnings))


def answer(report: Report) -> dict[str, Any]:
    """Return the documented JSON answer; all keys are always present, null without a value."""
    found = report.found
    highest, lowest = (found.highest, found.lowest) if found else (None, None)
    return {
        "status": "refused" if report.refusals else "ok",
        "fill_pa": found.fill_pa if found else None,
        "limit_pa": found.limit_pa if found else None,
        "over_limit": found.over_limit if found else None,
        "highest": {"gauge_pa": round(highest[0]), "altitude_m": highest[1], "temp_c": highest[2]}
        if highest
        else None,
        "tyre_min_pa": found.tyre_min_pa if found else None,
        "under_minimum": found.under_minimum if found else None,
        "lowest": {"gauge_pa": round(lowest[0]), "altitude_m": lowest[1], "temp_c": lowest[2]}
        if lowest
        else None,
        "temps_c": list(found.temps_c) if found else [],
        "altitudes_m": list(found.altitudes_m) if found else [],
        "gauge_pa": [[round(pa) for pa in row] for row in found.gauge_pa] if found else [],
        "refusals": [{"id": note.id, "text": note.text} for note in report.refusals],
        "warnings": [{"id": note.id, "text": note.text} for note in report.warnings],
    }


def sentences(report: Report) -> Iterator[str]:
    """Return the report as lines: a table in bar and one in psi; readings above the limit are marked."""
    for note in report.refusals:
        yield f"REFUSED   {note.id}: {note.text}"
    if report.found:
        yield from _table(report.found, 0, "bar")
        yield from _table(report.found, 1, "psi")
        highest, altitude, temp = report.found.highest
        yield f"highest   {show_reading(highest, report.found.limit_pa)} gauge at {temp:.1f} °C and {altitude:.0f} m"
        if report.found.tyre_min_pa is not None:
            lowest, altitude, temp = report.found.lowest
            yield f"lowest    {show_reading(lowest)} gauge at {temp:.1f} °C and {altitude:.0f} m; the tyre's minimum is {show_minimum(report.found.tyre_min_pa)}"
        if report.found.limit_pa is not None:
            yield f"limit     {show_limit(report.found.limit_pa)} gauge; readings above it are marked !"
    for note in report.warnings:
        yield f"warning   {note.id}: {note.text}"


def _table(found: Readings, part: int, unit: str) -> Iterator[str]:
    limit = found.limit_pa
    yield f"gauge {unit}  " + "".join(f"{temp:>8.1f}°C" for temp in found.temps_c)
    for altitude, row in reversed(list(zip(found.altitudes_m, found.gauge_pa))):
        cells = (
            show_reading(pa, limit).replace("(", "").split()[part * 2]
            + ("!" if limit is not None and exceeds(pa, limit) else " ")
            for pa in row
        )
        yield f"{altitude:>7.0f} m  " + "".join(f"{cell:>10}" for cell in cells)
