"""Real-world effects that a campaign draws, each over its whole range: one table.

A drawn effect is stored as one byte, its place in the range, so that a record shows it and figures can be split by it. Ranges marked
as assumed in `source` are engineering judgement, not measurements.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np

from rimward.simulation.plant.board import BOARD

STEPS = 256
ASSUMED = "assumed"
CLASS = "class of the part's data sheets"


@dataclass(frozen=True)
class Effect:
    """One effect: plant parameters, range, and applicability."""

    name: str
    unit: str
    low: float
    high: float
    fields: tuple[str, ...]
    source: str
    log: bool = False
    where: str = ""  # compressor, line, pressure-open; empty: everywhere
    none: float = 0.0  # share of draws without it

    def value(self, byte: int) -> float:
        """Size at place `byte` of 0..255."""
        part = (byte + 0.5) / STEPS
        if part < self.none:
            return 0.0
        part = (part - self.none) / (1.0 - self.none)
        if self.log:
            return float(self.low * (self.high / self.low) ** part)
        return self.low + (self.high - self.low) * part


def of_board(name: str, field: str, where: str) -> Effect:
    """Return a time in s with the range of the hardware data."""
    low, _, high = BOARD[field]
    return Effect(name, "s", low, high, (field,), "hardware", where=where)


EFFECTS = (
    Effect("tyre_limp", "-", 0.0, 0.6, ("tyre_limp",), ASSUMED),
    Effect("tyre_limp_pa", "Pa", 3e3, 8e3, ("tyre_limp_pa",), ASSUMED),
    Effect(
        "tyre_growth",
        "1/Pa",
        5.02e-8,
        2.05e-7,
        ("tyre_growth_per_pa",),
        "assumed: 2 to 8 % from 1 to 5 bar",
    ),
    Effect("tyre_creep", "-", 0.002, 0.01, ("tyre_creep",), ASSUMED),
    Effect("tyre_creep_s", "s", 60.0, 300.0, ("tyre_creep_s",), ASSUMED, log=True),
    Effect("sealant", "share of the tyre", 0.0, 0.06, (), ASSUMED, none=0.5),
    Effect(
        "heat_fixed",
        "-",
        0.05,
        0.3,
        ("heat_fixed",),
        "so that the settled drop covers what was measured",
    ),
    Effect(
        "heat_free",
        "-",
        0.3,
        0.8,
        ("heat_free",),
        "so that the settled drop covers what was measured",
    ),
    Effect(
        "heat_jet",
        "-",
        0.0,
        0.4,
        ("heat_jet",),
        "so that the settled drop covers what was measured",
    ),
    Effect(
        "delivery_cooling",
        "-",
        0.45,
        0.7,
        ("delivery_cooling",),
        "so that the manifold's air is at 32 to 45 degC",
        where="compressor",
    ),
    Effect("head_back", "-", 0.2, 0.6, ("head_back",), ASSUMED, where="compressor"),
    Effect("head_s", "s", 60.0, 180.0, ("head_s",), ASSUMED, where="compressor"),
    Effect(
        "head_start_k", "K", 0.0, 25.0, ("head_start_k",), ASSUMED, where="compressor", none=0.5
    ),
    Effect(
        "core_c", "dm3/(s bar)", 0.10, 0.40, ("core_c",), "measured on a second plant", log=True
    ),
    Effect(
        "core_crack",
        "Pa",
        8e3,
        30e3,
        ("crack_pa",),
        "measured on a second plant",
        where="pressure-open",
    ),
    Effect(
        "core_hysteresis", "Pa", 2e3, 6e3, ("core_hysteresis_pa",), ASSUMED, where="pressure-open"
    ),
    Effect("core_span", "Pa", 3e3, 15e3, ("core_span_pa",), ASSUMED, where="pressure-open"),
    Effect("core_lag", "s", 0.001, 0.006, ("core_s",), ASSUMED, where="pressure-open"),
    of_board("valve_dead_open", "valve_dead_open_s", "line"),
    of_board("valve_dead_shut", "valve_dead_shut_s", "line"),
    of_board("coil_decay", "coil_decay_s", "line"),
    of_board("valve_shut", "valve_shut_s", "line"),
    Effect("line_pressure", "Pa", 600e3, 1000e3, ("line_pa",), ASSUMED, where="line"),
    Effect("line_droop", "Pa", 20e3, 150e3, ("line_droop_pa",), ASSUMED, where="line"),
    Effect("line_lag", "s", 0.02, 0.2, ("line_main_s",), ASSUMED, where="line"),
    Effect("battery_sag", "-", 0.0, 0.15, ("battery_sag",), ASSUMED, where="compressor"),
    Effect("battery_lag", "s", 10.0, 60.0, ("battery_s",), ASSUMED, where="compressor"),
    of_board("coast", "coast_s", "compressor"),
    Effect("play_a", "share of span", 0.0005, 0.0025, ("a_play",), CLASS),
    Effect("play_b", "share of span", 0.0005, 0.0025, ("b_play",), CLASS),
    Effect("tap_a", "s", 0.001, 0.020, ("a_tap_s",), CLASS),
    Effect("tap_b", "s", 0.001, 0.020, ("b_tap_s",), CLASS),
    Effect("sag_a", "-", -1.0, 1.0, ("a_sag",), "assumed: a sagging supply may read either way"),
    Effect("sag_b", "-", -1.0, 1.0, ("b_sag",), "assumed: a sagging supply may read either way"),
)


def bytes_of(numbers: np.ndarray) -> np.ndarray:
    """Places of all effects from as many numbers of 0..1."""
    return (numbers[: len(EFFECTS)] * STEPS).astype(np.uint8)


def over(places: np.ndarray, tyre_ml: float) -> dict[str, float]:
    """Plant parameters at these places, for a tyre of `tyre_ml`."""
    found: dict[str, float] = {}
    for effect, place in zip(EFFECTS, places, strict=True):
        value = effect.value(int(place))
        found |= dict.fromkeys(effect.fields, value)
        if effect.name == "sealant":
            found["sealant_ml"] = value * tyre_ml
    return found


def quantiles(places: np.ndarray) -> list[dict[str, Any]]:
    """Quantiles drawn of every effect: least, tenth, half, nine tenths, most. `places`: one row a session."""
    rows = []
    for i, effect in enumerate(EFFECTS):
        values = np.array([effect.value(b) for b in range(STEPS)])[places[:, i]]
        found = (
            [float(q) for q in np.percentile(values, (0, 10, 50, 90, 100))] if len(values) else []
        )
        rows.append(
            {
                "effect": effect.name,
                "unit": effect.unit,
                "range": [effect.low, effect.high],
                "drawn": found,
            }
        )
    return rows
