"""Rules that refuse a pair of rim and tyre at any pressure. Each rule is a function; the table at the end lists them."""

from collections.abc import Callable, Iterator
from typing import Any

from rimward.base.units import show_limit, show_minimum
from rimward.limits.ceiling.maker import MakerTable
from rimward.limits.ceiling.model import Note, Rim, Tyre
from rimward.limits.ceiling.pairs import refusals
from rimward.limits.ceiling.standards import bead_seats, standards

Rule = Callable[[Rim, Tyre, MakerTable | None], Iterator[Note]]


def pair_refusals(rim: Rim, tyre: Tyre, table: MakerTable | None) -> list[Note]:
    """Every refusal of this pair."""
    return [note for rule in REFUSALS for note in rule(rim, tyre, table)]


def width(mm: float) -> str:
    """Format a width: '28' or '28.5'."""
    return f"{mm:g}"


def _bead_seat_unknown(rim: Rim, tyre: Tyre, _: MakerTable | None) -> Iterator[Note]:
    for name, seat in (("rim", rim.bead_seat_mm), ("tyre", tyre.bead_seat_mm)):
        if seat is None:
            yield Note(
                "bead-seat-unknown",
                f"The {name}'s bead-seat diameter is unknown. Read the three-digit number on it, such as 622.",
            )
        elif seat not in bead_seats():
            yield Note(
                "bead-seat-unknown",
                f"The {name}'s bead-seat diameter {seat} mm is not a diameter in use. Read the marking again.",
            )


def _bead_seat_mismatch(rim: Rim, tyre: Tyre, _: MakerTable | None) -> Iterator[Note]:
    if (
        rim.bead_seat_mm is not None
        and tyre.bead_seat_mm is not None
        and rim.bead_seat_mm != tyre.bead_seat_mm
    ):
        yield Note(
            "bead-seat-mismatch",
            f"The rim's bead seat is {rim.bead_seat_mm} mm and the tyre's {tyre.bead_seat_mm} mm: "
            "this tyre does not belong on this rim. Never inflate it; fit a tyre with the rim's bead seat.",
        )


def _pair_table(rim: Rim, tyre: Tyre, _: MakerTable | None) -> Iterator[Note]:
    for id, text in refusals(rim.type, approved=tyre.approved, bead=tyre.bead, air=tyre.air):
        yield Note(id, text)


def _not_wider_than_rim(rim: Rim, tyre: Tyre, _: MakerTable | None) -> Iterator[Note]:
    if tyre.width_mm <= rim.inner_mm:
        yield Note(
            "tyre-not-wider-than-rim",
            f"The tyre ({width(tyre.width_mm)} mm) is not wider than the rim inside ({width(rim.inner_mm)} mm). "
            "Read both markings again, or fit a wider tyre.",
        )


def _too_narrow(rim: Rim, tyre: Tyre, table: MakerTable | None) -> Iterator[Note]:
    if table and table.rows_for(rim):
        yield from _outside_makers_rows(rim, tyre, table)
        return
    rows: list[dict[str, Any]] = standards()["narrow_tyre_refusals"]
    applied = next(row for row in rows if row["applied"])
    if (
        rim.straight_side
        and rim.inner_mm >= applied["rim_inner_mm"]
        and tyre.width_mm < applied["tyre_min_mm"]
    ):
        editions = ", ".join(f"{row['edition']} requires {row['tyre_min_mm']} mm" for row in rows)
        yield Note(
            "tyre-too-narrow",
            f"A {width(tyre.width_mm)} mm tyre is too narrow for a straight-side rim of {width(rim.inner_mm)} mm inside: for "
            f"{applied['rim_inner_mm']} mm {editions}; {applied['tyre_min_mm']} mm is applied. "
            "Fit a wider tyre; only a maker's table (--maker-table) overrides this.",
        )


def _outside_makers_rows(rim: Rim, tyre: Tyre, table: MakerTable) -> Iterator[Note]:
    rows = table.rows_for(rim)
    if any(row.tyre_min_mm <= tyre.width_mm <= row.tyre_max_mm for row in rows):
        return
    allowed = " or ".join(
        f"{width(row.tyre_min_mm)} to {width(row.tyre_max_mm)} mm" for row in rows
    )
    narrow = tyre.width_mm < min(row.tyre_min_mm for row in rows)
    yield Note(
        "tyre-too-narrow" if narrow else "tyre-outside-maker-table",
        f"A {width(tyre.width_mm)} mm tyre is outside what the maker allows on this rim: {allowed} ({table.citation}). "
        "Fit a tyre of a width it allows.",
    )


def _minimum_above_maximum(rim: Rim, tyre: Tyre, _: MakerTable | None) -> Iterator[Note]:
    if tyre.min_pa is not None and tyre.max_pa is not None and tyre.min_pa > tyre.max_pa:
        yield Note(
            "minimum-above-maximum",
            f"The tyre's minimum {show_minimum(tyre.min_pa)} lies above its maximum {show_limit(tyre.max_pa)}. Read the sidewall again.",
        )


def _implausible(rim: Rim, tyre: Tyre, _: MakerTable | None) -> Iterator[Note]:
    for name, pa in (
        ("rim's maximum", rim.max_pa),
        ("tyre's minimum", tyre.min_pa),
        ("tyre's maximum", tyre.max_pa),
    ):
        if pa is not None and pa > standards()["implausible_above_pa"]:
            yield Note(
                "pressure-implausible",
                f"The {name} of {show_limit(pa)} is above that of any bicycle tyre. Check the unit.",
            )


REFUSALS: tuple[Rule, ...] = (
    _bead_seat_unknown,
    _bead_seat_mismatch,
    _pair_table,
    _not_wider_than_rim,
    _too_narrow,
    _minimum_above_maximum,
    _implausible,
)
