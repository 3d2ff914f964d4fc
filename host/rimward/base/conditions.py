"""Temperatures and altitudes as written by people: `18`, `18 °C`, `64F`; `200`, `200 m`, `650 ft`."""

import re
from collections.abc import Mapping
from typing import TypeVar

from rimward.base.errors import Refusal

T = TypeVar("T")
FOOT_M = 0.3048
_QUANTITY = re.compile(r"(?P<number>[+\-−]?\d+(?:[.,]\d+)?)\s*(?P<unit>[^\d\s.,].*)?", re.DOTALL)
_TEMPERATURES = {
    "": "c",
    "c": "c",
    "°c": "c",
    "degc": "c",
    "celsius": "c",
    "f": "f",
    "°f": "f",
    "degf": "f",
    "fahrenheit": "f",
}
_LENGTHS = {
    "": 1.0,
    "m": 1.0,
    "metres": 1.0,
    "meters": 1.0,
    "ft": FOOT_M,
    "feet": FOOT_M,
    "foot": FOOT_M,
    "'": FOOT_M,
}


def parse_celsius(text: str) -> float:
    """Parse degrees Celsius; a number without a unit is Celsius, `F` is Fahrenheit. Raises Refusal."""
    value, unit = _parts(text, _TEMPERATURES, "temperature", "Write it as 18, 18C or 64F.")
    return round((value - 32) / 1.8, 6) if unit == "f" else value


def parse_metres(text: str) -> float:
    """Parse metres; a number without a unit is metres, `ft` is feet. Raises Refusal."""
    value, factor = _parts(text, _LENGTHS, "altitude", "Write it as 200, 200m or 650ft.")
    return value * factor


def _parts(text: str, units: Mapping[str, T], what: str, fix: str) -> tuple[float, T]:
    found = _QUANTITY.fullmatch(text.strip())
    unit = (found["unit"] or "").strip().lower() if found else ""
    if not found or unit not in units:
        raise Refusal(
            f"{text.strip()!r} is not understood as {'an' if what[0] in 'aeiou' else 'a'} {what}.",
            fix,
        )
    return float(found["number"].replace("−", "-").replace(",", ".")), units[unit]
