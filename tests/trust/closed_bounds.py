"""Numbers of the closed loop: `rise`, `sensor` and `drop-out` for real parts, and whether they fit into the stated overrun.

Each figure is a row of hardware/params.py, of the firmware's `configuration` or of the plant's parameters; SOURCES says which, and the hazard
rows that watch over it. Everything at its worst end at once: delivery 15 % over the curve of the pump, lowest volume, hot gas (1.4), widest hose,
chuck and core, longest drop-out and coast-down.
"""

import ast
from dataclasses import dataclass
from functools import cache
from math import inf, sqrt
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
DEEPEST_PA = (
    500_000.0  # a hose is not under ambient, a tyre not over its ceiling: this one in the low range
)
SMALLEST_ML = 600
COMPRESSOR_HIGH_ML = 660  # with the compressor from 2400 m (75 kPa) to 3000 m
RATE_PARTS = 128  # parts into which the flow is divided to find its worst share
DROP_PARTS = 16  # parts of the flow drop that are tried

SOURCES = {
    "rise": (
        "delivery: `delivery` and `delivery_percent` of configuration.HARDWARE, `fad_l_min` of params; line: `inlet_c`, `b_ratio` of params, main 10 % over the stated supply; volume: `volume_low_ml` of the profile; "
        "spin-up: `motor_spin_up` of params; conductance: `hose_c`, `chuck_c`, `core_c` of params",
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
        "self-test of at least 50 ticks for each element before every fill (G4)",
        ("H01", "H02"),
    ),
    "unseen": (
        "arming accepts no target within `crack_pa`, overrun and guard band of the ceiling, which is more than `clear`; a tyre attached nearer, or asked for air past its target: the rows",
        ("H164", "H73"),
    ),
}


@dataclass(frozen=True)
class Room:
    """One case in Pa. `rise`: w; `after`: rise after the last tick on; `overrun`: as arming states it; `closes`: whether the sum fits;
    `entry`: `entry_pa`; `clear`: `clear_pa` with what comes after a stop; both 0 with a pin-open chuck. `free`: how far under the ceiling
    arming keeps every target."""

    source: str
    chuck: str
    volume_ml: int
    ambient_pa: int
    rise: float
    late: float
    after: float
    overrun: int
    entry: float
    clear: float
    free: int

    @property
    def needed(self) -> float:
        return self.late + 3 * self.rise + self.after + 2

    @property
    def closes(self) -> bool:
        return self.needed <= self.overrun

    @property
    def target_is_clear(self) -> bool:
        """A hidden tyre at its target ends at or below its ceiling, whatever the hose does."""
        return self.clear <= self.free


def path_c() -> float:
    """Widest hose, chuck and core in a row, dm3/(s bar): their squares' reciprocals add up."""
    return 1 / sqrt(sum(1 / PARAMS[name].high ** 2 for name in ("hose_c", "chuck_c", "core_c")))


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


def entry_pa(rise: float, after: float, overrun: float, deepest: float = DEEPEST_PA) -> float:
    """What one opening of the core can lift a tyre over its ceiling, Pa, if the reading did not show the tyre before.

    `rise` and `after` of the tyre itself. By tick k of flow it has risen by `rise` a tick and rises by `after` past the last one; what
    is left of the reading's lag, three quarters each tick, bounds it from the other side, with what the overrun is too small by.
    """
    short = max((SENSOR_TICKS + 3) * rise + after + 2 - overrun, 0.0)
    most, left, ticks = 0.0, deepest, 0
    while left + short > most and left > 1.0:
        ticks, left = ticks + 1, left * 3 / 4
        most = max(most, min(ticks * rise + after, left + short))
    return most


def clear_pa(rise: float, after: float, spare: float, deepest: float = DEEPEST_PA) -> float:
    """How far under its ceiling a hidden tyre must lie to end at or below it, Pa: `clear` and `after_t` of `closed_unseen`.

    `rise` and `after` of the tyre itself; `spare`: what the overrun is larger than needed by, the answer is infinite under 3 Pa. The reading is behind by
    `deepest` as the core opens and by a quarter less each tick, rounded up.
    """
    if spare < 3:
        return inf
    ticks, left = 0, int(deepest)
    while left > spare:
        ticks, left = ticks + 1, (3 * left + 3) // 4
    return max(ticks - 1, 0) * rise + after


def free_pa(rig: dict[str, Any], overrun: int) -> int:
    """How far under the ceiling arming keeps every target behind a pressure-open chuck, Pa."""
    return int(rig["crack_pa"]) + overrun + configuration.GUARD_BAND_PA


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


def rise_and_after(full: float, drops: list[float], ticks: float) -> tuple[float, float]:
    """Rise a tick and rise after the last one of a manifold that at least lies over its tyre, Pa, of the smallest need.

    `full`: rise of the tyre in a tick at full flow; `drops`: pressure over the tyre at each share of the flow. Of that drop any part may be
    counted: the more, the faster `M` rises while the pump gathers speed, and the less the tyre can still rise to `M`.
    """
    spin, shares = PARAMS["motor_spin_up"].low * 1000 / TICK_MS, len(drops) - 1
    steps = [(k / shares, (k - 1) / shares, drops[k], drops[k - 1]) for k in range(1, shares + 1)]

    def with_part(part: float) -> tuple[float, float]:
        rise = max(
            full * s + part * (now - before) * shares * (1 - least) / spin
            for s, least, now, before in steps
        )
        return rise, max(max(ticks * full * s - part * before for s, _, _, before in steps), 0.0)

    found = [with_part(k / DROP_PARTS) for k in range(DROP_PARTS + 1)]
    return min(found, key=lambda pair: (SENSOR_TICKS + 3) * pair[0] + pair[1])


def compressor_room(volume_ml: int, ambient_pa: int, chuck: str, stop: int = 490_000) -> Room:
    """The compressor just under the stop reading, where a stop is decided."""
    rig: dict[str, Any] = configuration.HARDWARE[configuration.COMPRESSOR]
    overrun = arming.rise_pa(profile(volume_ml, codes.CHUCK_PIN_OPEN), rig, ambient_pa, stop)
    d0, d1 = arming.free_air(rig, ambient_pa) >> 4, arming.straight_loss(rig, ambient_pa, stop)
    free_ml = (
        arming.rate_at(d0, d1, stop) / 64 * (100 + rig["delivery_percent"]) / 100
    )  # a tick, at the ambient pressure
    full = GAMMA * free_ml * ambient_pa / volume_ml  # Pa a tick in the tyre at full speed
    flow = free_ml * 1e-6 / (TICK_MS * 1e-3) * ambient_pa / 1e5
    shares = [k / RATE_PARTS for k in range(RATE_PARTS + 1)]
    drops = [drop_pa(flow * share, stop + ambient_pa) if share else 0.0 for share in shares]
    ticks = 1 + (gate.report()["gate_max_ms"] + PARAMS["compressor_coast"].high / 2) / TICK_MS
    rise, after = rise_and_after(full, drops, ticks)
    late, hidden = SENSOR_TICKS * rise, chuck == "pressure-open"
    deepest = stop + float(configuration.GUARD_BAND_PA)
    entry = entry_pa(full, ticks * full, overrun, deepest) if hidden else 0.0
    spare = overrun - (late + 3 * rise + after + 2)
    clear = clear_pa(full, ticks * full, spare, deepest) if hidden else 0.0
    free = free_pa(rig, overrun)
    return Room(
        "compressor", chuck, volume_ml, ambient_pa, rise, late, after, overrun, entry, clear, free
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
    hidden = chuck == "pressure-open"
    deepest = stop + float(configuration.GUARD_BAND_PA)
    entry = entry_pa(rise, after, overrun, deepest) if hidden else 0.0
    spare = overrun - (late + 3 * rise + after + 2)
    clear = clear_pa(rise, after, spare, deepest) if hidden else 0.0
    free = free_pa(rig, overrun)
    return Room(
        "line", chuck, volume_ml, ambient_pa, rise, late, after, overrun, entry, clear, free
    )


def rooms() -> list[Room]:
    """Both sources and chucks, from the smallest tyre to a large one, sea level, 2400 m and 3000 m."""
    return [
        room(v, a, c)
        for room, high_ml in ((compressor_room, COMPRESSOR_HIGH_ML), (line_room, SMALLEST_ML))
        for c in ("pin-open", "pressure-open")
        for a, smallest in ((101_325, SMALLEST_ML), (75_000, SMALLEST_ML), (70_100, high_ml))
        for v in (smallest, 1150, 2300)
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
