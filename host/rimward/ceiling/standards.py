"""Reads the standards data file: every fact with its edition, source and confidence."""

import json
from functools import cache
from pathlib import Path
from typing import Any

DATA = Path(__file__).resolve().parent.parent / "data" / "standards.json"


@cache
def standards() -> dict[str, Any]:
    """The whole data file."""
    return json.loads(DATA.read_text(encoding="utf-8"))


@cache
def bead_seats() -> frozenset[int]:
    """The bead-seat diameters in use, mm."""
    return frozenset(row["mm"] for row in standards()["bead_seats"])


@cache
def rim_type(code: str) -> dict[str, Any]:
    """The row of one rim type code (`SS`, `TSS`, `HB`, `C`, `TC`, `unknown`)."""
    return next(row for row in standards()["rim_types"] if row["code"] == code)


@cache
def rim_type_codes() -> tuple[str, ...]:
    """All rim type codes."""
    return tuple(row["code"] for row in standards()["rim_types"])


def measuring_rim_mm(tyre_mm: float) -> float:
    """Inner width of the measuring rim of a tyre, mm (the nearest row where the tyre falls between or beyond rows)."""
    rows = standards()["measuring_rims"]
    return min(rows, key=lambda row: max(row["tyre_mm"][0] - tyre_mm, tyre_mm - row["tyre_mm"][1]))["rim_inner_mm"]


def citation(row: dict[str, Any]) -> str:
    """'edition: source', as shown beside a limit."""
    return f"{row['edition']}: {row['source']}"
