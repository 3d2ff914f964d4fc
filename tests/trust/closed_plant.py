"""The closed loop in the simulated world: the guard alone, asked for air throughout, with all bounds kept and with each one broken.

The counterexamples of `closed_loop` as fills: the true tyre pressure passes the ceiling when one bound is broken.
"""

from dataclasses import dataclass, field, replace
from typing import Any

from rimward.simulation.loop import Job, armed
from rimward.simulation.plant import layout as k
from rimward.simulation.plant.step import plant_tick
from rimward.simulation.plant.tyre import put_tyre
from rimward_fw.control import configuration
from rimward_fw.kernels import guard
from rimward_protocol import kernel_slots as slots
from rimward_protocol.kernel_words import GUARD_STATE

RUN, WANT = 1, 16
REST_TICKS, FILL_TICKS = 2500, 1500
LEAK_TICKS = 8000
SMALL_MM = 21.0  # lowest volume 0.63 L: the smallest tyre of the numbers has 0.6 L
TOPPED_TICKS = 2460  # until then the hose's share of the air is made good
CEILING_PA = 450_000
HOSE_TICKS = 2000
TEST_DONE = 16_000
LEAST_VOLUME = 0.914  # of the nominal volume: the lowest one that the profile states
LOW = {
    "a_offset_pa": -9_500.0,
    "b_offset_pa": -9_500.0,
}  # both transducers at the end of their class, within the guard band of 10 kPa
CLOSED = Job(pin_open=True, start_pa=437_000.0, ceiling_pa=CEILING_PA, target_pa=300_000, over=LOW)
BURSTS = replace(CLOSED, kind=configuration.LINE, pin_open=False, start_pa=446_000.0)


def over(**values: Any) -> dict[str, Any]:
    """Plant parameters beside the low readings."""
    return {"over": {**LOW, **values}}


@dataclass(frozen=True)
class World:
    """One run. `gap`: a false length of the ticks, 128 us; `stale`: the fill begins before the filters have settled.
    `hose_pa`: pressure of the hose at a closed core as the fill begins, flow having been seen; 0: not set. `leak_c`: crack that the hose
    has from then on, m3/(s Pa). `ticks` of air asked for; a latched cause ends the run."""

    job: Job = CLOSED
    gap: int = 0
    stale: bool = False
    hose_pa: float = 0.0
    leak_c: float = 0.0
    ticks: int = FILL_TICKS
    why: str = ""
    faults: dict[int, float] = field(default_factory=dict)


WIDE = over(hose_c=30.0, chuck_c=30.0, core_c=30.0)
OPEN_PATH = WIDE["over"]
SLOWEST = (
    over(
        line_pa=990_000.0,
        line_c=0.22,
        line_b=0.5,
        valve_dead_open_s=0.005,
        valve_dead_shut_s=0.025,
        valve_open_s=0.010,
        valve_shut_s=0.020,
    )["over"]
    | OPEN_PATH
)  # main 10 % over its setting, widest restrictor, valves that open soonest and shut latest
LINE_CLEAR_PA = 27_500  # `clear` of 1.15 L on a line
SMALL_CLEAR_PA = 6_500  # of 0.6 L with the compressor
LINE = replace(
    CLOSED, kind=configuration.LINE, start_pa=380_000.0, volume=LEAST_VOLUME, over=SLOWEST
)
HIDDEN_LINE = replace(LINE, pin_open=False)
STRONG = {"coast_s": 0.06, "manifold_ml": 40.0, "crack_pa": 8e3, "core_hysteresis_pa": 6e3}
SMALL = replace(
    CLOSED,
    pin_open=False,
    tyre_mm=SMALL_MM,
    volume=LEAST_VOLUME,
    delivery=1.15,
    over=OPEN_PATH | STRONG,
)  # the compressor at its strongest, smallest tyre and manifold, weakest core
NEAR_BURST = replace(
    BURSTS,
    ceiling_pa=90_000,
    limit_pa=90_000,
    target_pa=20_000,
    start_pa=89_500.0,
    over=SLOWEST | STRONG | {"valve_dead_open_s": 0.025},
)  # a first burst lifts the closed manifold past a ceiling so low; the guard makes none
SOUND = {
    "closed loop": World(),
    "bursts": World(BURSTS),
    "bursts, nearer": World(replace(BURSTS, start_pa=449_000.0)),
    "line": World(LINE),
    "line, nearer": World(replace(LINE, start_pa=405_000.0)),
    "line, pressure-open": World(HIDDEN_LINE, hose_pa=385_000.0),
    "bursts, near": World(NEAR_BURST),
} | {
    f"{name}, hidden, hose at {hose:.0f} Pa": World(job, hose_pa=hose)
    for name, job in (
        ("line", replace(HIDDEN_LINE, start_pa=CEILING_PA - LINE_CLEAR_PA)),
        ("compressor", replace(SMALL, start_pa=CEILING_PA - SMALL_CLEAR_PA)),
    )
    for hose in (20_000.0, 200_000.0, 400_000.0)
}


def line(**values: Any) -> Job:
    """The line above with other plant parameters."""
    return replace(LINE, over=SLOWEST | values)


LINE_BROKEN = {
    "rise": World(line(line_pa=2e6), why="a main of 20 bar where 9 are stated"),
    "jitter": World(line(tick_s=0.1), gap=16, why="ticks of 0.1 s that say 2 ms"),
    "sensor": World(line(a_tap_s=0.2, b_tap_s=0.2), why="both taps blocked to 0.2 s"),
    "error": World(
        line(a_offset_pa=-20_000.0, b_offset_pa=-20_000.0), why="both transducers read 0.2 bar low"
    ),
    "drop-out": World(line(valve_dead_shut_s=0.058), why="valves that shut after 58 ms"),
    "room": World(
        replace(LINE, volume=LEAST_VOLUME / 3), why="a third of the volume that the profile states"
    ),
    "settled": World(
        replace(LINE, start_pa=449_500.0), stale=True, why="air before the filters have settled"
    ),
    "unseen": World(
        replace(HIDDEN_LINE, start_pa=447_000.0),
        hose_pa=60_000.0,
        why="a tyre 0.03 bar under its ceiling, hidden behind its closed core, the hose let down",
    ),
}
BROKEN = {
    "rise": World(
        replace(CLOSED, delivery=300.0, **WIDE),
        why="three hundred times the delivery through a hose as wide as a drain",
    ),
    "jitter": World(
        replace(CLOSED, **over(tick_s=0.15)), gap=16, why="ticks of 0.15 s that say 2 ms"
    ),
    "sensor": World(
        replace(CLOSED, **over(a_tap_s=0.5, b_tap_s=0.5)), why="both taps nearly blocked: 0.5 s"
    ),
    "error": World(
        replace(CLOSED, **over(a_offset_pa=-40_000.0, b_offset_pa=-40_000.0)),
        why="both transducers read 0.4 bar low",
    ),
    "drop-out": World(
        replace(CLOSED, **over(coast_s=30.0)), why="the pump runs on for half a minute"
    ),
    "room": World(
        replace(CLOSED, volume=0.02, delivery=20.0, **WIDE),
        why="a fiftieth of the volume that the profile states",
    ),
    "settled": World(
        replace(SMALL, pin_open=True, start_pa=449_940.0, over=LOW),
        stale=True,
        why="air before the filters have settled",
    ),
    "unseen": World(
        replace(SMALL, start_pa=449_500.0),
        hose_pa=20_000.0,
        why="a tyre 0.005 bar under its ceiling, hidden behind its closed core",
    ),
}
BURST_BROKEN = {
    "sensor": World(
        replace(BURSTS, start_pa=449_000.0, **over(a_tap_s=20.0, b_tap_s=20.0)),
        why="both taps blocked to 20 s: with less the guard waits for a steady reading",
    ),
    "error": World(
        replace(NEAR_BURST, over=NEAR_BURST.over | {"a_offset_pa": -45e3, "b_offset_pa": -45e3}),
        why="both transducers read 0.45 bar low",
    ),
    "burst": World(
        replace(BURSTS, start_pa=449_000.0, **over(line_c=0.8, valve_dead_shut_s=0.045)),
        why="restrictor left out and a valve that shuts 45 ms late",
    ),
    "settled": World(
        replace(BURSTS, start_pa=449_500.0), stale=True, why="air before the filters have settled"
    ),
}


HIDDEN = tuple(
    World(replace(HIDDEN_LINE, start_pa=CEILING_PA - under), hose_pa=hose)
    for hose in (60_000.0, 200_000.0, 400_000.0)
    for under in (35_000.0, 20_000.0, 10_000.0, 1_000.0)
)  # a tyre behind its closed core, `hose` in front of it, flow having been seen
LEAKING = tuple(
    World(
        replace(
            LINE,
            pin_open=False,
            ceiling_pa=ceiling,
            limit_pa=ceiling,
            target_pa=100_000,
            tyre_mm=tyre_mm,
            start_pa=ceiling - 1_000.0,
        ),
        hose_pa=100_000.0,
        leak_c=leak * 1e-8,
        ticks=LEAK_TICKS,
    )
    for ceiling in (200_000, 300_000, CEILING_PA)
    for tyre_mm in (28.0, SMALL_MM)
    for leak in (0.02, 0.05, 0.1, 0.11)
)  # the same with a crack of 0.02 to 0.11 dm3/(s bar); past 0.12 the line does not open the core any more


def worlds() -> dict[str, World]:
    """Every run by name: bounds kept, one broken with the compressor, on a line, in a line's bursts."""
    named = {"": BROKEN, "line, ": LINE_BROKEN, "bursts, ": BURST_BROKEN}
    broken = {prefix + name: w for prefix, part in named.items() for name, w in part.items()}
    return SOUND | broken


def peak_pa(world: World) -> float:
    """Highest true tyre pressure with the guard asked for air throughout, Pa gauge."""
    one = armed(world.job)
    g, x, w = (a.tolist() for a in (one.g, one.x, one.w))
    s, p, fault = one.s.tolist(), one.p.tolist(), one.fault.tolist()
    for number, value in world.faults.items():
        fault[number] = value
    peak, drive = 0.0, 0
    for n in range(REST_TICKS + world.ticks):
        run = n >= REST_TICKS
        plant_tick(s, p, fault, drive, k.ATTACHED | (k.RUN if run else 0), x, w)
        x[slots.X_SW] = w[k.W_SW] | (WANT if run else 0)
        if n < TOPPED_TICKS and n % 50 == 0:
            put_tyre(s, p, world.job.start_pa + p[k.P_AMB], world.job.room_k)
        if world.gap:
            x[slots.X_GAP] = world.gap
        if world.stale and n == REST_TICKS:
            for name, value in (
                ("fa", slots.BIAS_PA << 4),
                ("fb", slots.BIAS_PA << 4),
                ("sl", slots.BIAS_PA + CEILING_PA << 4),
                ("test", TEST_DONE),
                ("seen", 1),
                ("stood", 0),  # else it is a chuck taken off
            ):
                g[GUARD_STATE.index(name)] = value
        if world.hose_pa and n == HOSE_TICKS:
            s[k.S_MM] *= (world.hose_pa + p[k.P_AMB]) / s[k.S_PM]
            s[k.S_PM] = world.hose_pa + p[k.P_AMB]
        if world.hose_pa and n == REST_TICKS:
            g[GUARD_STATE.index("seen")] = 1
            fault[k.F_HOSE_C] = world.leak_c
        drive = guard.step(g, x) & 7
        if run:
            peak = max(peak, s[k.S_PT] - p[k.P_AMB])
    return peak


def passes(world: World) -> bool:
    """True when the tyre passes its ceiling, or is given air at it."""
    return peak_pa(world) > world.job.ceiling_pa
