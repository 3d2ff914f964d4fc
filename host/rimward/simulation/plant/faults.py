"""Faults by name: their effect on the simulated world, their time, and whether the design detects or only bounds them.

Set D (detectable): no air is admitted while the true tyre pressure is at or above the ceiling. Set R (residual): the ceiling can
be exceeded;
`bound_by` names the bound and `bound_pa` its pressure. `layer` names who applies it: `plant` faults are rows of a schedule for
`fault_events`;
`processor`, `operator` and `link` faults are `flags` for the code that runs the firmware against the plant.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from rimward.simulation.plant import layout as k
from rimward.simulation.plant.params import PlantParams


@dataclass(frozen=True)
class Effect:
    """One fault field and the range of its size. `signed`: the lower half of the severity is the negative side."""

    field: int
    low: float
    high: float
    signed: bool = False

    def value(self, severity: float) -> float:
        """Size at `severity` 0..1: by ratio where both ends are positive and differ, else linear."""
        if not self.signed:
            return between(self.low, self.high, severity)
        size = between(self.low, self.high, abs(2.0 * severity - 1.0))
        return size if severity >= 0.5 else -size


def between(low: float, high: float, part: float) -> float:
    """Value from `low` to `high`: by ratio when both are positive, else linear."""
    if low > 0.0 and high > low:
        return float(low * (high / low) ** part)
    return low + (high - low) * part


@dataclass(frozen=True)
class Fault:
    """One row of the table."""

    name: str
    text: str  # text
    set: str  # D or R
    reason: str  # reason for the set
    bound_by: str = ""  # R only: cutoff, range
    layer: str = "plant"
    effects: tuple[Effect, ...] = ()
    flags: Mapping[str, tuple[float, float]] = field(
        default_factory=dict
    )  # name with unit -> range, for the test harness
    from_start: bool = False  # present before the session begins
    passing_ms: tuple[float, float] | None = None  # duration in ticks, else permanent
    normal: bool = False  # an ordinary event, not a fault
    line_only: bool = False
    compressor_only: bool = False

    def flag(self, name: str, severity: float) -> float:
        """Size of a harness flag at `severity` 0..1."""
        low, high = self.flags[name]
        return between(low, high, severity)


def fixed(which: int, value: float) -> tuple[Effect, ...]:
    """Make an effect of fixed size."""
    return (Effect(which, value, value),)


SERIES = "the other element in series stops the air; the self-test before the next fill finds it"
OTHER = (
    "the other transducer is unaffected and the higher reading counts; they disagree beyond a band"
)
LOSS = "air is lost, not admitted"
LESS = "less air passes, not more; the reading rises early or not as expected"
OFF_BY_HARDWARE = "no pulses reach the gate, which drops out by itself"
RANGE = (
    "the firmware cannot know; the ceiling of the range in force and the independent cutoff remain"
)

FIELDS = {
    "a": (k.F_A_OFFSET, k.F_A_DRIFT, k.F_A_NOISE, k.F_A_FORCE, k.F_A_HOLD, k.F_A_LAG),
    "b": (k.F_B_OFFSET, k.F_B_DRIFT, k.F_B_NOISE, k.F_B_FORCE, k.F_B_HOLD, k.F_B_LAG),
}
DRIFT = (0.1, 4.0)  # Pa per 2 ms tick: 50 Pa/s to 2 kPa/s
OFFSET = (20e3, 200e3)  # Pa
C = 1e-8  # 1 dm3/(s bar)


def of_transducer(name: str) -> tuple[Fault, ...]:
    """Faults of one transducer."""
    offset, drift, noise, force, hold, lag = FIELDS[name]
    rows = (
        ("stuck", "word frozen", fixed(hold, 1.0)),
        ("open", "wire broken, pulled to zero", fixed(force, 0.0)),
        ("shorted", "shorted to its supply", fixed(force, 1.0)),
        ("offset", "reads wrong by a fixed amount", (Effect(offset, *OFFSET, signed=True),)),
        ("drift", "drifts slowly", (Effect(drift, *DRIFT, signed=True),)),
        ("noisy", "reads with much noise", (Effect(noise, 10.0, 100.0),)),
        ("late", "answers late", (Effect(lag, 0.01, 0.2),)),
        ("tap_blocked", "tap blocked by sealant", fixed(lag, 0.0)),
    )
    return tuple(
        Fault(f"{name}_{short}", f"transducer {name.upper()} {text}", "D", OTHER, effects=effects)
        for short, text, effects in rows
    )


PLANT = (
    Fault(
        "gate_stuck_on",
        "semiconductor or first line valve stuck on",
        "D",
        SERIES,
        effects=fixed(k.F_GATE_ON, 1.0),
    ),
    Fault(
        "relay_stuck_on",
        "relay contact or second line valve stuck on",
        "D",
        SERIES,
        effects=fixed(k.F_RELAY_ON, 1.0),
    ),
    Fault(
        "both_stuck_on",
        "both switching elements stuck on",
        "R",
        "nothing is left that can stop the source; the vent must carry all its air",
        "cutoff",
        effects=fixed(k.F_GATE_ON, 1.0) + fixed(k.F_RELAY_ON, 1.0),
    ),
    Fault(
        "solenoid_leaking",
        "first line valve, or the compressor's outlet valve, leaks",
        "D",
        SERIES,
        effects=(Effect(k.F_LEAK1, 0.01, 0.3),),
    ),
    Fault(
        "vent_blocked",
        "vent blocked",
        "D",
        "the vent only backs up the switching elements",
        effects=(Effect(k.F_VENT_BLOCK, 0.5, 1.0),),
    ),
    Fault("hose_kinked", "hose kinked", "D", LESS, effects=(Effect(k.F_PATH, 0.01, 0.3),)),
    Fault(
        "hose_pulled_off", "hose pulled off during a fill", "D", LOSS, effects=fixed(k.F_HOSE, 1.0)
    ),
    Fault(
        "hose_cracked", "hose cracked", "D", LOSS, effects=(Effect(k.F_HOSE_C, 0.005 * C, 0.5 * C),)
    ),
    Fault(
        "hose_attached",
        "hose attached",
        "D",
        "an ordinary event: a step, not a rise",
        effects=fixed(k.F_HOSE, 2.0),
        normal=True,
    ),
    Fault(
        "hose_detached",
        "hose detached",
        "D",
        "an ordinary event: " + LOSS,
        effects=fixed(k.F_HOSE, 1.0),
        normal=True,
    ),
    Fault("core_stuck_shut", "valve core stuck shut", "D", LESS, effects=fixed(k.F_CORE, 1.0)),
    Fault(
        "core_stuck_open",
        "valve core stuck open",
        "D",
        "the tyre is measured even better;  " + LOSS,
        effects=fixed(k.F_CORE, 2.0),
    ),
    Fault(
        "slow_puncture",
        "slow puncture",
        "D",
        LOSS,
        effects=(Effect(k.F_PUNCTURE, 1e-4 * C, 5e-3 * C),),
    ),
    Fault(
        "fast_puncture",
        "fast puncture",
        "D",
        LOSS,
        effects=(Effect(k.F_PUNCTURE, 0.05 * C, 1.0 * C),),
    ),
    Fault("blow_off", "tyre leaves the rim", "D", LOSS, effects=fixed(k.F_BLOW, 1.0)),
    *of_transducer("a"),
    *of_transducer("b"),
    Fault(
        "both_drift",
        "both transducers drift low together",
        "R",
        "two readings that agree cannot be distinguished from the truth; guard band and calibration interval keep it small",
        "cutoff",
        effects=(
            Effect(k.F_A_DRIFT, -DRIFT[0], -DRIFT[1]),
            Effect(k.F_B_DRIFT, -DRIFT[0], -DRIFT[1]),
        ),
    ),
    Fault(
        "both_taps_blocked",
        "both taps blocked by sealant",
        "R",
        "two frozen readings that agree; the missing rise stops the fill after its window, the cutoff has a tap of its own",
        "cutoff",
        effects=fixed(k.F_A_LAG, 0.0) + fixed(k.F_B_LAG, 0.0),
    ),
    Fault(
        "neck_blocked",
        "neck of the plenum that transducers A and B share blocked by sealant",
        "R",
        "two frozen readings that agree, as with both taps blocked; the missing rise stops the fill after its window, the cutoff has a port of its own",
        "cutoff",
        effects=fixed(k.F_NECK, 0.0),
    ),
    Fault(
        "pump_runs_on",
        "compressor runs on after both elements have opened",
        "R",
        "air that comes after the stop is visible only afterwards; the rise after every burst shows it, the vent releases the air in the hose",
        "cutoff",
        effects=(Effect(k.F_RUN_ON, 0.05, 0.74),),
        from_start=True,
        compressor_only=True,
    ),
    Fault(
        "valve_shuts_late",
        "a line valve's coil holds as with a plain diode, or its armature sticks",
        "D",
        "every burst shows by its rise how much air comes after the stop, before the tyre is near its ceiling",
        effects=(Effect(k.F_COIL, 0.005, 0.035),),
        from_start=True,
        line_only=True,
    ),
    Fault(
        "barometer_dead",
        "barometer dead",
        "D",
        "the word is out of range",
        effects=fixed(k.F_BARO_DEAD, 1.0),
    ),
    Fault(
        "barometer_wrong",
        "barometer wrong",
        "D",
        "transducer B is vented and needs no barometer; A then disagrees or reads within its class",
        effects=(Effect(k.F_BARO_ERR, 1e3, 30e3, signed=True),),
    ),
    Fault(
        "air_sensor_dead",
        "temperature sensor dead",
        "D",
        "the word is out of range",
        effects=fixed(k.F_AIR_DEAD, 1.0),
    ),
    Fault(
        "brown_out",
        "supply sags",
        "D",
        "the supply is measured; coils release by themselves",
        effects=(Effect(k.F_SUPPLY, 0.45, 0.88),),
        passing_ms=(5.0, 500.0),
    ),
    Fault(
        "tyre_over_full",
        "tyre already above the ceiling",
        "D",
        "stopped by the reading before the manifold is above the tyre; a line behind a closed core makes no burst that could lift the manifold "
        "past the stop reading before it has found the tyre",
        flags={"over_pa": (2e3, 150e3)},
        from_start=True,
    ),
    Fault(
        "line_pressure_high",
        "line pressure far above the rig's ceiling",
        "D",
        "the slope is measured, so a faster rise is stopped earlier; restrictor and vent hold the worst supply",
        effects=(Effect(k.F_LINE_PA, 100e3, 600e3),),
        from_start=True,
        line_only=True,
    ),
)

HARNESS = (
    Fault(
        "timer_late",
        "timer interrupt late",
        "D",
        "gap and load are measured; the gate lives from pulse to pulse",
        layer="processor",
        flags={"late_us": (500.0, 20000.0)},
        passing_ms=(2.0, 2000.0),
    ),
    Fault(
        "timer_skipped",
        "timer interrupts skipped",
        "D",
        OFF_BY_HARDWARE,
        layer="processor",
        flags={"ticks": (1.0, 500.0)},
    ),
    Fault(
        "processor_halted",
        "processor halted, outputs frozen",
        "D",
        OFF_BY_HARDWARE,
        layer="processor",
    ),
    Fault(
        "reset_mid_fill",
        "reset during a fill",
        "D",
        "outputs fall to off and nothing resumes",
        layer="processor",
        flags={"ticks": (50.0, 1500.0)},
    ),
    Fault(
        "wrong_wheel",
        "wrong wheel on the hose",
        "R",
        RANGE,
        "range",
        layer="operator",
        flags={"volume_ratio": (0.3, 3.0)},
        from_start=True,
    ),
    Fault(
        "wrong_profile",
        "profile of a stronger wheel",
        "R",
        RANGE,
        "range",
        layer="operator",
        flags={"ceiling_ratio": (1.05, 1.8)},
        from_start=True,
    ),
    Fault(
        "operator_hammering",
        "operator hammering the buttons",
        "D",
        "every start passes the same checks; releasing stops at once",
        layer="operator",
        flags={"press_ms": (4.0, 400.0)},
    ),
    Fault(
        "link_flooded",
        "link flooded with garbage",
        "D",
        "the guard's tick takes no input from the link",
        layer="link",
        flags={"bytes_s": (1e3, 1e6)},
    ),
)

FAULTS: dict[str, Fault] = {fault.name: fault for fault in PLANT + HARNESS}


def events(
    name: str, tick: int, severity: float = 0.5, ticks: int | None = None, tick_s: float = 0.002
) -> list[tuple[int, int, float]]:
    """Schedule rows (tick, field, value) of a plant fault that begins at `tick`; after `ticks` (or its own duration) it is gone."""
    fault = FAULTS[name]
    start = 0 if fault.from_start else tick
    rows = [(start, effect.field, effect.value(severity)) for effect in fault.effects]
    if ticks is None and fault.passing_ms is not None:
        ticks = max(1, round(between(*fault.passing_ms, severity) / 1000.0 / tick_s))
    if ticks is not None:
        rows += [
            (start + ticks, effect.field, float(k.HEALTHY[effect.field]))
            for effect in fault.effects
        ]
    return rows


def bound_pa(name: str, params: PlantParams, high_range: bool = False) -> float | None:
    """Highest tyre pressure, Pa gauge, that a fault of set R can reach: top of the independent cutoff's band in the range in force.

    None for set D, and where the tyre was above its ceiling at the start. The firmware's ceiling of the range lies below that
    band, so it also
    bounds a wrong profile. The cutoff latches, so the bound also holds with no board running, both elements stuck on and every
    part at its worst
    end (tests/unit/test_plant_hardware.py).
    """
    if FAULTS[name].bound_by not in ("cutoff", "range"):
        return None
    return params.cutoff_high_top_pa if high_range else params.cutoff_low_top_pa
