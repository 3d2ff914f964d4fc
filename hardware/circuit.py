"""Circuit: every part with value, rating and the net on each of its pins. Everything else in this folder is computed from it.

The parts are the rows of `circuit.csv`: sheet, reference, class, value, rating, "pin=NET pin=NET", purpose. Classes are explained in
hardware/sources.py. A pin that stays open on purpose is written pin=NC. A rating is "number unit" or "name:number unit", every figure of the part.
Supplies: V12 battery side with the motor, V12_AUX everything else (behind a diode: nothing on it lives on a reversed supply), V5 logic,
V5_SENS transducers A and B, V5_CUT the independent cutoff alone, V3V3 from the Pico, VA the converter's analog supply.
Returns: PGND carries motor and coils, GND logic, SGND transducers A and B, CGND the independent cutoff; they meet in one star point
(NT1 to NT3, next to J1), so that no motor current flows in a sensor's return.
"""

import csv
from dataclasses import dataclass
from pathlib import Path

TABLE = Path(__file__).with_name("circuit.csv")
SHEET_TITLES = {
    "power": "Supplies",
    "air": "Two switching elements: pulse-train gate and relay contact",
    "coils": "Relay coil, vent coil and what firmware sees",
    "cutoff": "Independent cutoff (no processor)",
    "monitor": "What the processor sees of the cutoff",
    "sense": "Transducers A and B, supplies, barometer",
    "panel": "Processor and controls",
}
# One potential, four returns, joined only in the star point.
GROUNDS = ("GND", "PGND", "CGND", "SGND")


@dataclass(frozen=True)
class Part:
    """One part: `pins` maps pin name to net, `limits` maps unit to number as read from its rating."""

    ref: str
    kind: str
    value: str
    rating: str
    pins: dict[str, str]
    why: str
    sheet: str

    @property
    def limits(self) -> dict[str, float]:
        """Return the figures by name, or by unit where they have no name. ValueError when two have the same key."""
        words = self.rating.split()
        found: dict[str, float] = {}
        for figure, unit in zip(words[::2], words[1::2]):
            name, _, number = figure.rpartition(":")
            if (name or unit) in found:
                raise ValueError(
                    f"{self.ref}: name the figures of {self.rating!r}: {unit} appears twice"
                )
            found[name or unit] = float(number)
        return found


Row = tuple[str, ...]  # reference, class, value, rating, pins, purpose


def _sheets() -> dict[str, tuple[Row, ...]]:
    """Sheet -> its rows of the table, in the table's order."""
    with TABLE.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))[1:]
    return {
        sheet: tuple(tuple(row[1:]) for row in rows if row[0] == sheet) for sheet in SHEET_TITLES
    }


SHEETS = _sheets()


def load() -> dict[str, Part]:
    """Load all parts by reference. ValueError for a duplicate reference."""
    parts: dict[str, Part] = {}
    for sheet, rows in SHEETS.items():
        for ref, kind, value, rating, pins, why in rows:
            if ref in parts:
                raise ValueError(f"part {ref} is written twice")
            parts[ref] = Part(
                ref,
                kind,
                value,
                rating,
                dict(item.split("=", 1) for item in pins.split()),
                why,
                sheet,
            )
    return parts


def nets(parts: dict[str, Part]) -> dict[str, list[tuple[str, str]]]:
    """Net -> [(reference, pin)], without the pins left open on purpose."""
    found: dict[str, list[tuple[str, str]]] = {}
    for part in parts.values():
        for pin, net in part.pins.items():
            if net != "NC":
                found.setdefault(net, []).append((part.ref, pin))
    return found


def ohms(text: str) -> float:
    """Convert resistance or capacitance text such as 4.7k, 470n, 1M to base units (ohm, farad)."""
    scale = {"k": 1e3, "M": 1e6, "u": 1e-6, "n": 1e-9, "p": 1e-12}
    return float(text[:-1]) * scale[text[-1]] if text[-1] in scale else float(text)
