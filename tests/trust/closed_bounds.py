"""Numbers of the closed loop: `rise`, `sensor` and `drop-out` for real parts, and whether they fit into the stated overrun.

Each figure is a row of hardware/params.py, of the firmware's `configuration` or of the plant's parameters; SOURCES says which, and the hazard
rows that watch over it. Everything at its worst end at once: delivery 15 % over the curve of the pump, lowest volume, hot gas (1.4), widest hose,
chuck and core, longest drop-out and coast-down.
"""

import ast
from dataclasses import dataclass
from functools import cache
from math import sqrt
from typing import Any

from rimward.simulation.plant.params import PlantParams
from rimward_fw.control import arming, configuration
from rimward_protocol import codes

from hardware import air, gate, shared
from hardware.params import PARAMS
from tests.trust.guard_prove import source_of_guard
from tests.trust.program import constants

GAMMA = 1.4
TICK_MS = 2.0
SENSOR_TICKS = (
    3 + 1
)  # transducer A and its filter, age of its sample: `horizon` of configuration.HARDWARE
MAIN_OVER = 1.1  # highest pressure of a main over the stated supply: `common practice`, a regulator's droop and a compressor's hysteresis
DEEPEST_PA = 500_000.0  # a hose is not under ambient, a tyre of the low range not over its ceiling
CORE_C = 0.5  # widest valve core, dm3/(s bar): estimate from geometry, `core_c` of the plant
RATE_PARTS = 32  # parts into which the flow is divided to find its worst share

SOURCES = {
    "rise": (
        "delivery: `delivery` and `delivery_percent` of configuration.HARDWARE, `fad_l_min` of params; line: `inlet_c`, `b_ratio` of params, main 10 % over the stated supply; volume: `volume_low_ml` of the profile; "
        "spin-up: `spin`; conductance: `hose_c`, `chuck_c`, `core_c` of the plant's parameters",
        ("H77", "H60"),
    ),
    "jitter": ("the tick measures itself; over 40 units it trips", ("H11", "H12")),
    "sensor": (
        "`horizon` of configuration.HARDWARE: transducer and filter 3 ticks, sample 1",
        ("H30", "H38", "H121"),
    ),
    "error": (
        "guard band: class of the transducers, calibration; A and B compared",
        ("H40", "H95"),
    ),
    "drop-out": (
        "gate: hardware/gate.py; coast-down: `compressor_coast` of params; line valves: `line_valve_dead_shut`, `line_valve_shut`, `line_coil` of params",
        ("H15", "H120", "H122"),
    ),
    "burst": (
        "`line_*` of params: valves, restrictor; bound of one burst in the guard",
        ("H62", "H122"),
    ),
    "settled": (
        "self-test of at least 50 ticks for each element before every fill (G4); line behind a pressure-open chuck: hose sound since the core shut",
        ("H01", "H164"),
    ),
}


@dataclass(frozen=True)
class Room:
    """One case in Pa. `rise`: w; `after`: rise after the last tick on; `overrun`: as arming states it; `closes`: whether the sum fits;
    `entry`: `entry_pa`."""

    source: str
    chuck: str
    volume_ml: int
    ambient_pa: int
    rise: float
    late: float
    after: float
    overrun: int
    entry: float

    @property
    def needed(self) -> float:
        return self.late + 3 * self.rise + self.after + 2

    @property
    def closes(self) -> bool:
        return self.needed <= self.overrun


def path_c() -> float:
    """Widest hose, chuck and core in a row, dm3/(s bar): their squares' reciprocals add up."""
    p = PlantParams()
    return 1 / sqrt(1 / p.hose_c**2 + 1 / p.chuck_c**2 + 1 / CORE_C**2)


@cache
def drop_pa(flow_m3s: float, tyre_abs_pa: float) -> float:
    """Pressure of the manifold over a tyre at this flow of free air, Pa: ISO 6358 inverted by bisection."""
    low, high = tyre_abs_pa, tyre_abs_pa + 1e6
    for _ in range(50):
        middle = 0.5 * (low + high)
        if air.flow(path_c(), PlantParams().hose_b, middle, tyre_abs_pa) < flow_m3s:
            low = middle
        else:
            high = middle
    return low - tyre_abs_pa


def entry_pa(rise: float, after: float, overrun: float) -> float:
    """What one opening of the core can lift a tyre over its ceiling, Pa, if the reading did not show the tyre before.

    `rise` and `after` of the tyre itself. By tick k of flow it has risen by `rise` a tick and rises by `after` past the last one; what
    is left of the reading's lag, three quarters each tick, bounds it from the other side, with what the overrun is too small by.
    """
    short = max((SENSOR_TICKS + 3) * rise + after + 2 - overrun, 0.0)
    most, left, ticks = 0.0, DEEPEST_PA, 0
    while left + short > most and left > 1.0:
        ticks, left = ticks + 1, left * 3 / 4
        most = max(most, min(ticks * rise + after, left + short))
    return most


def profile(volume_ml: int, chuck: int) -> dict[str, Any]:
    """A wheel of this volume at the low range's highest ceiling."""
    return {
        "limit_pa": 500_000,
        "ceiling_pa": 500_000,
        "target_pa": 300_000,
        "flags": 0,
        "ambient_min_pa": 101_325,
        "temp_max_ck": 29_315,
        "ref_temp_ck": 29_315,
        "chuck": chuck,
        "volume_low_ml": volume_ml,
        "volume_ml": volume_ml * 5 // 4,
        "seat_pause_pa": 100_000,
        "time_budget_s": 300,
        "rim_class": codes.RIM_TSS,
    }


def compressor_room(volume_ml: int, ambient_pa: int, chuck: str) -> Room:
    """The compressor just under the stop reading, where a stop is decided."""
    rig: dict[str, Any] = configuration.HARDWARE[configuration.COMPRESSOR]
    stop = 490_000
    overrun = arming.rise_pa(profile(volume_ml, codes.CHUCK_PIN_OPEN), rig, ambient_pa, stop)
    d0, d1 = arming.free_air(rig, ambient_pa) >> 4, arming.straight_loss(rig, ambient_pa, stop)
    free_ml = (
        arming.rate_at(d0, d1, stop) / 64 * (100 + rig["delivery_percent"]) / 100
    )  # a tick, at the ambient pressure
    full = GAMMA * free_ml * ambient_pa / volume_ml  # Pa a tick in the tyre at full speed
    flow = free_ml * 1e-6 / (TICK_MS * 1e-3) * ambient_pa / 1e5
    shares = [k / RATE_PARTS for k in range(RATE_PARTS + 1)]
    drops = [drop_pa(flow * share, stop + ambient_pa) if share else 0.0 for share in shares]
    growth = [(drops[k] - drops[k - 1]) * RATE_PARTS for k in range(1, RATE_PARTS + 1)]
    rise = max(
        full * shares[k] + growth[k - 1] * (1 - shares[k]) / rig["spin"]
        for k in range(1, RATE_PARTS + 1)
    )
    ticks = 1 + (gate.report()["gate_max_ms"] + PARAMS["compressor_coast"].high / 2) / TICK_MS
    after = max(
        max(ticks * full * share - drop for share, drop in zip(shares, drops, strict=True)), 0.0
    )
    entry = entry_pa(full, ticks * full, overrun) if chuck == "pressure-open" else 0.0
    return Room(
        "compressor", chuck, volume_ml, ambient_pa, rise, SENSOR_TICKS * rise, after, overrun, entry
    )


def line_after_ticks() -> float:
    """Ticks of full flow after the last tick with the source on: the tick itself, gate, coil, dead time to shut, half of the travel."""
    p = PARAMS
    slowest = p["line_valve_dead_shut"].high + p["line_valve_shut"].high / 2
    return 1 + (gate.report()["gate_max_ms"] + max(shared.line_valves_ms()) + slowest) / TICK_MS


def line_room(
    volume_ml: int, ambient_pa: int, chuck: str, supply_pa: int = 900_000, stop: int = 490_000
) -> Room:
    """A workshop line once its tyre can be seen. The manifold jumps as a valve opens, so `m` of the induction is the tyre itself:
    what is in front of the sensors lies above it while air flows in. Widest restrictor, main 10 % over the stated supply (absolute).
    """
    rig = dict(configuration.HARDWARE[configuration.LINE], supply_pa=supply_pa)
    overrun = arming.rise_pa(profile(volume_ml, codes.CHUCK_PIN_OPEN), rig, ambient_pa, stop)
    main = (supply_pa + ambient_pa) * MAIN_OVER
    flow = air.flow(PARAMS["inlet_c"].high, PARAMS["b_ratio"].high, main, stop + ambient_pa)
    rise = GAMMA * flow * TICK_MS * 1e-3 * 1e5 / (volume_ml * 1e-6)
    late, after = SENSOR_TICKS * rise, line_after_ticks() * rise
    entry = entry_pa(rise, after, overrun) if chuck == "pressure-open" else 0.0
    return Room("line", chuck, volume_ml, ambient_pa, rise, late, after, overrun, entry)


def rooms() -> list[Room]:
    """Both sources and chucks, from the smallest tyre to a large one, sea level and 3000 m."""
    return [
        room(v, a, c)
        for room in (compressor_room, line_room)
        for c in ("pin-open", "pressure-open")
        for v in (600, 1150, 2300)
        for a in (101_325, 70_100)
    ]


def smallest_ml(ambient_pa: int, chuck: str = "pin-open") -> int:
    """Smallest lowest volume in mL, in steps of 10, from which on the compressor's loop closes."""
    return next(
        v
        for v in range(100, 3000, 10)
        if all(compressor_room(u, ambient_pa, chuck).closes for u in (v, 2 * v))
    )


def open_ms(difference_ms: float = 0.0) -> float:
    """Time in ms, times the share of its opening, for which one burst holds a line valve open; `difference_ms`: its dead time to shut over that to open."""
    p = PARAMS
    travels = 3 * TICK_MS + max(shared.line_valves_ms()) + difference_ms
    opening, shutting = p["line_valve_open"].low, p["line_valve_shut"].high
    share = min(travels / opening, 1.0)
    return share * min(travels, opening) / 2 + max(travels - opening, 0.0) + share * shutting / 2


def burst_pa(main_pa: float, difference_ms: float = 0.0) -> float:
    """Largest rise of a closed manifold by one burst, Pa: `main_pa` gauge, widest restrictor, smallest manifold, hot gas."""
    p = PARAMS
    flow = air.flow(p["inlet_c"].high, p["b_ratio"].high, main_pa + 101_325, 101_325)
    return GAMMA * flow * 1e5 * open_ms(difference_ms) / 1000 / (p["manifold_ml"].low * 1e-6)


def first_lift_pa() -> int:
    """Bound of the first burst, Pa, read from the guard's source."""
    return constants(ast.parse(source_of_guard()))["_LIFT_FIRST"]


def highest_main_pa() -> float:
    """Highest main, Pa gauge, up to which one burst keeps that bound, both dead times of a valve being equal."""
    low, high = 0.0, 2e6
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if burst_pa(middle) <= first_lift_pa() else (low, middle)
    return low
