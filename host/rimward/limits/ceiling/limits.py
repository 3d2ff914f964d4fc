"""Pressure limits that apply to a rim with a tyre."""

from fractions import Fraction
from typing import Any

from rimward.base.units import floor_kpa
from rimward.limits.ceiling.maker import MakerTable
from rimward.limits.ceiling.model import Limit, Rim, Tyre
from rimward.limits.ceiling.standards import citation, standards


def limits_of(rim: Rim, tyre: Tyre, maker_table: MakerTable | None = None) -> tuple[Limit, ...]:
    """Return every limit that applies, the smallest first."""
    found = [
        *_marked(rim, tyre),
        *_class(rim),
        *_careful(rim, tyre),
        *_maker(rim, tyre, maker_table),
    ]
    return tuple(sorted(found, key=lambda limit: limit.pa))


def careful_cap_pa(width_mm: float) -> int:
    """500 kPa x 28 / width, rounded down to 1 kPa (gauge pascal)."""
    row = standards()["careful_cap"]
    return floor_kpa(int(Fraction(row["at_width_pa"] * row["above_width_mm"]) / Fraction(width_mm)))


def _marked(rim: Rim, tyre: Tyre) -> list[Limit]:
    marks = (
        ("rim-maximum", rim.max_pa, "marked on the rim"),
        ("tyre-maximum", tyre.max_pa, "printed on the tyre"),
    )
    return [Limit(id, pa, source, "as stated") for id, pa, source in marks if pa is not None]


def _class(rim: Rim) -> list[Limit]:
    rows: list[dict[str, Any]] = standards()["pressure_limits"]
    return [
        Limit(row["id"], row["max_pa"], citation(row), row["confidence"])
        for row in rows
        if rim.type in row["rim_types"]
    ]


def _careful(rim: Rim, tyre: Tyre) -> list[Limit]:
    row = standards()["careful_cap"]
    if (
        rim.max_pa is not None
        or rim.type not in row["rim_types"]
        or tyre.width_mm <= row["above_width_mm"]
    ):
        return []
    return [Limit(row["id"], careful_cap_pa(tyre.width_mm), citation(row), row["confidence"])]


def _maker(rim: Rim, tyre: Tyre, table: MakerTable | None) -> list[Limit]:
    row = table.row_for(rim, tyre.width_mm) if table else None
    if table is None or row is None or row.max_pa is None:
        return []
    return [Limit("maker-table", row.max_pa, table.citation, "as stated")]
