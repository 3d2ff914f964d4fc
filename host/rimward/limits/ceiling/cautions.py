"""Warnings that do not refuse the pair."""

from collections.abc import Iterator
from typing import Any

from rimward.base.units import celsius, show_limit, show_minimum, show_reading
from rimward.limits.ceiling.maker import MakerTable
from rimward.limits.ceiling.model import Envelope, Note, Place, Ride, Rim, Tyre
from rimward.limits.ceiling.rules import width
from rimward.limits.ceiling.standards import standards

HOT_CK = 31315  # 40 °C: a warm day in the sun, our choice
EXAMPLE_FILL_CK = 29315  # 20 °C, only as an example for an unstated ride


def pair_warnings(rim: Rim, tyre: Tyre, table: MakerTable | None) -> Iterator[Note]:
    """Warnings about the pair."""
    if rim.type == "unknown":
        yield Note(
            "rim-type-unknown",
            "The rim's type is unknown, so it counts as straight-side (hookless) with the 5 bar class limit. "
            "Read its marking, or find the type: rimward rim-type.",
        )
    if rim.max_pa is None:
        yield Note("rim-maximum-unknown", _no_rim_maximum(rim, tyre))
    if tyre.max_pa is None:
        yield Note(
            "tyre-maximum-unknown",
            "No maximum of the tyre was given. Read the sidewall: the lower of rim and tyre counts.",
        )
    for name, disagree in (("rim", rim.units_disagree), ("tyre", tyre.units_disagree)):
        if disagree:
            yield Note(
                "printed-units-disagree",
                f"The pressures printed on the {name} in different units disagree. The lowest maximum counts.",
            )
    yield from _widths(rim, tyre, table)


def pressure_warnings(tyre: Tyre, ceiling_pa: int, stop_pa: int | None) -> Iterator[Note]:
    """Warnings about the window between minimum and ceiling."""
    rows: list[dict[str, Any]] = standards()["minimum_pressures"]
    row = next(
        row
        for row in rows
        if row["up_to_width_mm"] is None or tyre.width_mm <= row["up_to_width_mm"]
    )
    off_road = rows[-1]
    low = [
        text
        for text, pa in (("ceiling", ceiling_pa), ("tyre's printed minimum", tyre.min_pa))
        if pa is not None and pa < row["min_pa"]
    ]
    if low:
        yield Note(
            "iso-minimum-pressure",
            f"The {' and the '.join(low)} is below {show_minimum(row['min_pa'])}, the least that {row['edition']} recommends for "
            f"{row['use']} (off-road: {show_minimum(off_road['min_pa'])}). A tyre this soft may leave the rim in a corner.",
        )
    if stop_pa is not None and tyre.min_pa is not None and tyre.min_pa > stop_pa:
        yield Note(
            "tyre-minimum-above-stop-reading",
            f"This inflator stops at {show_limit(stop_pa)}, below the tyre's minimum {show_minimum(tyre.min_pa)}: "
            "it cannot fill this tyre. Use one with a smaller guard band.",
        )


def ride_warnings(
    limit_pa: int, ceiling_pa: int, place: Place, ride: Ride | None, held_on: str, highest: float
) -> Iterator[Note]:
    """Warnings about the effects of the ride, stated or not."""
    if ride is None or not ride.stated:
        yield _ride_not_stated(limit_pa, ceiling_pa, place)
        return
    unstated = [
        text
        for text, value in (
            ("highest temperature is not stated: no warming is included", ride.temp_max_ck),
            ("highest altitude is not stated: no climb is included", ride.altitude_max_m),
        )
        if value is None
    ]
    if unstated:
        yield Note(
            "ride-partly-stated",
            f"The ride's {unstated[0]}. State it, or the limit is kept on the stated part only.",
        )
    if held_on == "fill":
        yield Note(
            "limit-held-at-fill-only",
            f"By your choice the limit is kept at the fill only. On the ride this reads up to {show_reading(highest, limit_pa)} "
            f"against a limit of {show_limit(limit_pa)}.",
        )


def cold_warnings(tyre: Tyre, ceiling_pa: int, found: Envelope) -> Iterator[Note]:
    """Warning where even a fill to the ceiling falls below the tyre's printed minimum in the cold."""
    lowest = found.lowest_gauge(ceiling_pa)
    if lowest is not None and tyre.min_pa is not None and lowest < tyre.min_pa:
        yield below_minimum(
            f"Even a fill to the ceiling of {show_limit(ceiling_pa)}", lowest, found, tyre.min_pa
        )


def below_minimum(what: str, lowest_pa: float, found: Envelope, min_pa: int) -> Note:
    """Warning that a fill falls below the tyre's printed minimum at the ride's coldest."""
    assert found.coldest_ck is not None
    return Note(
        "below-tyre-minimum-on-ride",
        f"{what} falls to {show_limit(max(0, int(lowest_pa // 1)))} at {celsius(found.coldest_ck):.1f} °C, below the tyre's printed minimum "
        f"{show_minimum(min_pa)}. A tyre this soft may leave the rim in a corner; check it in the cold.",
    )


def _ride_not_stated(limit_pa: int, ceiling_pa: int, place: Place) -> Note:
    fill_ck = place.temp_ck if place.temp_ck is not None else EXAMPLE_FILL_CK
    ambient, percent = place.ambient_pa, standards()["test_ratio"]["percent"]
    hot = (ceiling_pa + ambient) * HOT_CK / fill_ck - ambient
    tested_c = celsius(int(fill_ck * (limit_pa * percent / 100 + ambient) / (ceiling_pa + ambient)))
    return Note(
        "ride-not-stated",
        f"No ride is stated, so the limit holds at the fill only. Filled to the ceiling at {celsius(fill_ck):.0f} °C this reads "
        f"{show_reading(hot, limit_pa)} at 40 °C, and reaches {percent} % of the limit at {tested_c:.1f} °C.",
    )


def _no_rim_maximum(rim: Rim, tyre: Tyre) -> str:
    if not rim.straight_side:
        return "No maximum of the rim was given: only the tyre's maximum governs. Look for the rim's own; the lower one counts."
    if tyre.width_mm > standards()["careful_cap"]["above_width_mm"]:
        return (
            f"No maximum of the rim was given. The class limit is not the limit of a {width(tyre.width_mm)} mm tyre: "
            f"500 kPa x 28 / {width(tyre.width_mm)} is "
            "applied (equal casing tension; our choice, not a standard). Look for the rim's own."
        )
    return "No maximum of the rim was given: the class limit of 5 bar is applied. Look for the rim's own; it may be lower."


def _widths(rim: Rim, tyre: Tyre, table: MakerTable | None) -> Iterator[Note]:
    if table:
        if not table.rows_for(rim):
            yield Note(
                "maker-table-silent",
                f"The maker's table has no row for this rim ({table.citation}); the standards' widths are used.",
            )
        else:
            yield from _maker_row_without_maximum(rim, tyre, table)
            return
    yield from _straight_side_width(rim, tyre) if rim.straight_side else _crochet_width(rim, tyre)


def _maker_row_without_maximum(rim: Rim, tyre: Tyre, table: MakerTable) -> Iterator[Note]:
    row = table.row_for(rim, tyre.width_mm)
    if row is not None and row.max_pa is None:
        yield Note(
            "maker-row-without-maximum",
            f"The maker's table allows this tyre on this rim and gives no maximum pressure for it ({table.citation}). "
            "Look for the maximum in the maker's document; the other limits still hold.",
        )


def _straight_side_width(rim: Rim, tyre: Tyre) -> Iterator[Note]:
    rows = [
        row for row in standards()["narrow_tyre_warnings"] if row["rim_inner_mm"] <= rim.inner_mm
    ]
    refused_from = min(row["rim_inner_mm"] for row in standards()["narrow_tyre_refusals"])
    if rows and rim.inner_mm < refused_from and tyre.width_mm < rows[-1]["tyre_min_mm"]:
        row = rows[-1]
        yield Note(
            "width-unverified",
            f"{row['edition']} recommends at least {row['tyre_min_mm']} mm on a straight-side rim of {row['rim_inner_mm']} mm inside "
            f"({row['source']}, {row['confidence']}; not verified). Ask the rim's maker.",
        )


def _crochet_width(rim: Rim, tyre: Tyre) -> Iterator[Note]:
    about = standards()["crochet_widths_about"]
    row = next(
        (row for row in standards()["crochet_widths"] if row["rim_inner_mm"] == rim.inner_mm), None
    )
    if row and not row["tyre_mm"][0] <= tyre.width_mm <= row["tyre_mm"][1]:
        low, high = row["tyre_mm"]
        yield Note(
            "width-unverified",
            f"{about['edition']} listed {low} to {high} mm tyres on {row['rim_inner_mm']}C; it is superseded by {about['superseded_by']} "
            f"and remembered ({about['source']}). Ask the makers of rim and tyre.",
        )
