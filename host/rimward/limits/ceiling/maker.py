"""Maker's table: replaces the width rows of the standards data and may lower a pressure limit, never raise one."""

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rimward.base.jsonfile import Kind, read, refuse_unknown
from rimward.limits.ceiling.markings import read_marking
from rimward.limits.ceiling.standards import rim_type_codes

if TYPE_CHECKING:
    from rimward.limits.ceiling.model import Rim

_KIND = Kind(
    "The maker's table",
    "maker-table-not-understood",
    "Give document, page, date and rows.",
    1_000_000,
)
_TABLE_KEYS = frozenset(("document", "page", "date", "rows"))
_ROW_KEYS = frozenset(("rim_inner_mm", "rim_types", "tyre_min_mm", "tyre_max_mm", "max_pressure"))
WIDEST_MM = 150


@dataclass(frozen=True)
class MakerRow:
    """One row: rim inner width, allowed tyre widths, and their maximum."""

    rim_inner_mm: float
    rim_types: tuple[str, ...]
    tyre_min_mm: float
    tyre_max_mm: float
    max_pa: int | None


@dataclass(frozen=True)
class MakerTable:
    """Rows with the document, page and date of their source."""

    document: str
    page: str
    date: str
    rows: tuple[MakerRow, ...]

    @property
    def citation(self) -> str:
        """Document, page and date, as shown beside a limit."""
        return f"maker's table: {self.document}, page {self.page}, {self.date}"

    def rows_for(self, rim: "Rim") -> tuple[MakerRow, ...]:
        """Rows for this rim's inner width and type."""
        return tuple(
            row
            for row in self.rows
            if row.rim_inner_mm == rim.inner_mm and (not row.rim_types or rim.type in row.rim_types)
        )

    def row_for(self, rim: "Rim", tyre_mm: float) -> MakerRow | None:
        """Row with the lowest maximum that allows this tyre on this rim, or None."""
        allowed = [
            row for row in self.rows_for(rim) if row.tyre_min_mm <= tyre_mm <= row.tyre_max_mm
        ]
        return min(
            allowed,
            key=lambda row: row.max_pa if row.max_pa is not None else math.inf,
            default=None,
        )


def load_maker_table(path: str | Path) -> MakerTable:
    """Read a table from a JSON file with `document`, `page`, `date` and `rows`.

    A row has `rim_inner_mm`, `tyre_min_mm` and, where the document gives them, `tyre_max_mm`, `rim_types` and `max_pressure`.
    Unknown keys are refused: a misspelt one would drop a limit. Raises Refused `maker-table-not-understood`.
    """
    return read(path, _KIND, _table)


def _table(raw: dict[str, Any]) -> MakerTable:
    refuse_unknown(raw, _TABLE_KEYS, "the table")
    for name in ("document", "page", "date"):
        if not str(raw.get(name) or "").strip():
            raise ValueError(f"{name} is missing")
    rows = tuple(_row(row, i) for i, row in enumerate(raw["rows"], 1))
    if not rows:
        raise ValueError("it has no rows")
    return MakerTable(str(raw["document"]), str(raw["page"]), str(raw["date"]), rows)


def _row(row: dict[str, Any], place: int) -> MakerRow:
    refuse_unknown(row, _ROW_KEYS, f"row {place}")
    types = row.get("rim_types") or []
    if not isinstance(types, list) or not set(types) <= set(rim_type_codes()):
        raise ValueError(f"row {place}: rim_types must be a list of {', '.join(rim_type_codes())}")
    inner, low = _millimetres(row, "rim_inner_mm", place), _millimetres(row, "tyre_min_mm", place)
    high = _millimetres(row, "tyre_max_mm", place) if "tyre_max_mm" in row else float(WIDEST_MM)
    if low > high:
        raise ValueError(f"row {place}: tyre_min_mm is above tyre_max_mm")
    marked = row.get("max_pressure")
    if marked is not None and not isinstance(marked, str):
        raise ValueError(f"row {place}: max_pressure needs a unit, such as '5 bar'")
    return MakerRow(
        inner,
        tuple(types),
        low,
        high,
        None if marked is None else read_marking(marked, maximum_only=True).max_pa,
    )


def _millimetres(row: dict[str, Any], name: str, place: int) -> float:
    value = row[name]
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 0 < value <= WIDEST_MM:
        raise ValueError(f"row {place}: {name} must be a number above 0 and at most {WIDEST_MM}")
    return float(value)
