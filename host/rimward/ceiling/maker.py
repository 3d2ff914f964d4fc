"""A maker's own table: replaces the width rows of the standards data and may lower a pressure limit, never raise one."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rimward.ceiling.markings import read_marking
from rimward.ceiling.standards import rim_type_codes
from rimward.units import Refused

if TYPE_CHECKING:
    from rimward.ceiling.model import Rim

_LARGEST_BYTES = 1_000_000


@dataclass(frozen=True)
class MakerRow:
    """One row: the rim inner width it is for, the tyre widths it allows, and a maximum for them."""

    rim_inner_mm: float
    rim_types: tuple[str, ...]
    tyre_min_mm: float
    tyre_max_mm: float
    max_pa: int | None


@dataclass(frozen=True)
class MakerTable:
    """Rows with the document, page and date they come from."""

    document: str
    page: str
    date: str
    rows: tuple[MakerRow, ...]

    @property
    def citation(self) -> str:
        """Document, page and date, as shown beside a limit."""
        return f"maker's table: {self.document}, page {self.page}, {self.date}"

    def rows_for(self, rim: "Rim") -> tuple[MakerRow, ...]:
        """The rows for this rim's inner width and type."""
        return tuple(row for row in self.rows if row.rim_inner_mm == rim.inner_mm and (not row.rim_types or rim.type in row.rim_types))

    def row_for(self, rim: "Rim", tyre_mm: float) -> MakerRow | None:
        """The row with the lowest maximum that allows this tyre on this rim, if any does."""
        allowed = [row for row in self.rows_for(rim) if row.tyre_min_mm <= tyre_mm <= row.tyre_max_mm]
        return min(allowed, key=lambda row: row.max_pa if row.max_pa is not None else 1 << 30, default=None)


def load_maker_table(path: str | Path) -> MakerTable:
    """Reads a table from a JSON file with `document`, `page`, `date` and `rows`. Raises Refused `maker-table-not-understood`."""
    try:
        if Path(path).stat().st_size > _LARGEST_BYTES:
            raise ValueError("the file is larger than 1 MB")
        raw = json.loads(Path(path).read_text(encoding="utf-8"))
        return _table(raw)
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as wrong:
        raise Refused(
            "maker-table-not-understood",
            f"The maker's table {Path(path).name!r} cannot be used: {wrong!s}.",
            "It needs document, page, date and rows.",
        ) from wrong


def _table(raw: dict[str, Any]) -> MakerTable:
    for name in ("document", "page", "date"):
        if not str(raw.get(name) or "").strip():
            raise ValueError(f"{name} is missing")
    rows = tuple(_row(row) for row in raw["rows"])
    if not rows:
        raise ValueError("it has no rows")
    return MakerTable(str(raw["document"]), str(raw["page"]), str(raw["date"]), rows)


def _row(row: dict[str, Any]) -> MakerRow:
    types = tuple(row.get("rim_types") or ())
    if not set(types) <= set(rim_type_codes()):
        raise ValueError(f"rim_types {', '.join(types)} are not all known")
    low, high = float(row["tyre_min_mm"]), float(row.get("tyre_max_mm", 150))
    if not 0 < low <= high:
        raise ValueError("tyre_min_mm must be above 0 and not above tyre_max_mm")
    maximum = read_marking(row["max_pressure"], maximum_only=True).max_pa if row.get("max_pressure") else None
    return MakerRow(float(row["rim_inner_mm"]), types, low, high, maximum)
