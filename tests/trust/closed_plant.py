"""The closed loop in the simulated world: the guard alone, asked for air without end, with every bound kept and with each one broken.

What `closed_loop` finds as integers is found here as a fill: the true tyre pressure passes the ceiling once a bound no longer holds.
"""

from dataclasses import dataclass, field, replace
from typing import Any

from rimward.plant import layout as k
from rimward.plant.step import plant_tick
from rimward.plant.tyre import put_tyre
from rimward.simulation.loop import Job, armed
from rimward_fw.control import configuration
from rimward_fw.kernels import guard
from rimward_protocol import kernel_slots as slots
from rimward_protocol.kernel_words import GUARD_STATE

RUN, WANT = 1, 16
REST_TICKS, FILL_TICKS = 2500, 1500
TOPPED_TICKS = 2460  # until then the hose's share of the air is made good
CEILING_PA = 450_000
TEST_DONE = 16_000
LOW = {"a_offset_pa": -9_500.0, "b_offset_pa": -9_500.0}  # both transducers at the end of their class, within the guard band of 10 kPa
CLOSED = Job(pin_open=True, start_pa=437_000.0, ceiling_pa=CEILING_PA, target_pa=300_000, over=LOW)
BURSTS = replace(CLOSED, kind=configuration.LINE, pin_open=False, start_pa=446_000.0)


def over(**values: Any) -> dict[str, Any]:
    """Plant parameters beside the low readings."""
    return {"over": {**LOW, **values}}


@dataclass(frozen=True)
class World:
    """One run. `gap`: what the tick says of its length where that is not true; `stale`: the fill begins before the filters have settled."""

    job: Job = CLOSED
    gap: int = 0
    stale: bool = False
    why: str = ""
    faults: dict[int, float] = field(default_factory=dict)


SOUND = {"closed loop": World(), "bursts": World(BURSTS)}
WIDE = over(hose_c=30.0, chuck_c=30.0, core_c=30.0)
BROKEN = {
    "rise": World(replace(CLOSED, delivery=300.0, **WIDE), why="three hundred times the delivery through a hose as wide as a drain"),
    "jitter": World(replace(CLOSED, **over(tick_s=0.15)), gap=16, why="ticks of 0.15 s that say 2 ms"),
    "sensor": World(replace(CLOSED, **over(a_tap_s=0.5, b_tap_s=0.5)), why="both taps nearly blocked: 0.5 s"),
    "error": World(replace(CLOSED, **over(a_offset_pa=-40_000.0, b_offset_pa=-40_000.0)), why="both transducers read 0.4 bar low"),
    "drop-out": World(replace(CLOSED, **over(coast_s=30.0)), why="the pump runs on for half a minute"),
    "room": World(replace(CLOSED, volume=0.02, delivery=20.0, **WIDE), why="a fiftieth of the volume that the profile states"),
    "settled": World(replace(CLOSED, kind=configuration.LINE, start_pa=449_500.0), stale=True, why="air before the filters have settled"),
    "burst": World(replace(BURSTS, **over(line_c=0.8, valve_dead_shut_s=0.045)), why="restrictor left out and a valve that shuts 45 ms late"),
}


def peak_pa(world: World) -> float:
    """Highest true tyre pressure with the guard asked for air without end, Pa gauge."""
    one = armed(world.job)
    g, x, w = (a.tolist() for a in (one.g, one.x, one.w))
    s, p, fault = one.s.tolist(), one.p.tolist(), one.fault.tolist()
    for number, value in world.faults.items():
        fault[number] = value
    peak, drive = 0.0, 0
    for n in range(REST_TICKS + FILL_TICKS):
        run = n >= REST_TICKS
        plant_tick(s, p, fault, drive, k.ATTACHED | (k.RUN if run else 0), x, w)
        x[slots.X_SW] = w[k.W_SW] | (WANT if run else 0)
        if n < TOPPED_TICKS and n % 50 == 0:
            put_tyre(s, p, world.job.start_pa + p[k.P_AMB], world.job.room_k)
        if world.gap:
            x[slots.X_GAP] = world.gap
        if world.stale and n == REST_TICKS:
            for name, value in (("fa", slots.BIAS_PA << 4), ("fb", slots.BIAS_PA << 4), ("sl", slots.BIAS_PA + CEILING_PA << 4), ("test", TEST_DONE), ("seen", 1)):
                g[GUARD_STATE.index(name)] = value
        drive = guard.step(g, x) & 7
        if run:
            peak = max(peak, s[k.S_PT] - p[k.P_AMB])
    return peak


def passes(world: World) -> bool:
    """True when the tyre passes its ceiling, or is given air at it."""
    return peak_pa(world) > world.job.ceiling_pa
