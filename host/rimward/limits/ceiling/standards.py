"""Reader of the standards data file: every fact with its edition, source and confidence."""

import json
from functools import cache
from pathlib import Path
from typing import Any

DATA = Path(__file__).with_name("standards.json")


@cache
def standards() -> dict[str, Any]:
    """Return the whole data file."""
    found: dict[str, Any] = json.loads(DATA.read_text(encoding="utf-8"))
    return found


@cache
def bead_seats() -> frozenset[int]:
    """Bead-seat diameters in use, mm."""
    return frozenset(row["mm"] for row in standards()["bead_seats"])


@cache
def rim_type(code: str) -> dict[str, Any]:
    """Row of one rim type code (`SS`, `TSS`, `HB`, `C`, `TC`, `unknown`)."""
    return next(row for row in standards()["rim_types"] if row["code"] == code)


@cache
def rim_type_codes() -> tuple[str, ...]:
    """All rim type codes."""
    return tuple(row["code"] for row in standards()["rim_types"])


def measuring_rim_mm(tyre_mm: float) -> float:
    """Inner width of a tyre's measuring rim, mm; the nearest row for a width between or beyond the rows."""
    rows = standards()["measuring_rims"]
    return float(
        min(rows, key=lambda row: max(row["tyre_mm"][0] - tyre_mm, tyre_mm - row["tyre_mm"][1]))[
            "rim_inner_mm"
        ]
    )


def citation(row: dict[str, Any]) -> str:
    """Return 'edition: source', as shown beside a limit."""
    return f"{row['edition']}: {row['source']}"
