"""Loop of kernels and plant: a job from arming to done, as plain Python or compiled. The kernels are the firmware's own files."""

from array import array
from dataclasses import dataclass, field, replace
from functools import cache
from math import sqrt
from types import FunctionType
from typing import Any, NamedTuple

import numpy as np
from rimward_fw.control import arming, configuration
from rimward_fw.kernels import fill, guard
from rimward_fw.kernels.order import couple as tick
from rimward_protocol import codes, replies
from rimward_protocol.kernel_slots import Y_OUT
from rimward_protocol.kernel_words import FILL_INPUT, FILL_STATE, GUARD_INPUT, GUARD_STATE

from rimward.base.errors import Refusal
from rimward.kernels.assemble import gathered
from rimward.kernels.duration import load_units
from rimward.limits.volume import volumes
from rimward.simulation import coupling as words
from rimward.simulation.plant import PlantParams, layout
from rimward.simulation.plant.arrays import healthy, parameters, start_state
from rimward.simulation.plant.step import plant_tick

WARM_TICKS = (
    500  # hose on and both kernels running for a second before the person takes the run control
)
GAP_UNITS = 16
REFERENCE_ML = configuration.HEAT_ML_X10 / 10.0

# Results of the loop, one float64 each.
(
    R_TICKS,
    R_FIRST_ON,  # first tick with the gate on after the check pulse, -1 none
    R_LAST_OFF,  # last tick with the gate on for filling or topping up
    R_LAST_ANY,  # last tick with the gate on at all
    R_PEAK_PA,  # highest true tyre pressure, gauge
    R_PEAK_READ,  # highest reading, gauge
    R_TOPS,  # pulses after the first run
    R_DONE,  # tick at which the fill was done or stopped
) = range(8)
R_START = 8  # plant state as the first run begins
R_SIZE = R_START + layout.S_SIZE


@dataclass(frozen=True)
class Job:
    """One fill: wheel, target, place, instrument. Pressures Pa gauge unless named `_abs_`."""

    tyre_mm: float = 28.0
    bead_mm: float = 622.0
    rim_mm: float | None = None
    target_pa: int = 400_000
    ceiling_pa: int = 450_000
    limit_pa: int = 500_000
    seat_pa: int = 0
    start_pa: float = 0.0
    pin_open: bool = False
    kind: int = configuration.COMPRESSOR
    rim_class: int = codes.RIM_TSS
    ambient_abs_pa: float = 101_325.0
    room_k: float = 293.15
    delivery: float = 1.0  # times nominal
    volume: float = 1.0  # true volume, times nominal
    skin: float = 1.0  # heat from gas to casing, times nominal
    casing: float = 1.0  # heat capacity of the casing, times nominal
    guard_pa: int = 0
    watch_ticks: int = arming.WATCH_TICKS
    seed: int = 0
    over: dict[str, Any] = field(default_factory=dict)  # PlantParams by name


def profile_of(job: Job) -> dict[str, Any]:
    """Profile fields that arming reads."""
    air = volumes(job.tyre_mm, job.bead_mm, job.rim_mm)
    return {
        "limit_pa": job.limit_pa, "ceiling_pa": job.ceiling_pa, "target_pa": job.target_pa, "seat_pause_pa": job.seat_pa,
        "ambient_min_pa": int(job.ambient_abs_pa), "temp_max_ck": int(job.room_k * 100), "ref_temp_ck": round(job.room_k * 100),
        "flags": 0, "volume_low_ml": int(air.low_l * 1000), "volume_ml": int(air.nominal_l * 1000), "time_budget_s": 600,
        "rim_class": job.rim_class, "chuck": codes.CHUCK_PIN_OPEN if job.pin_open else codes.CHUCK_PRESSURE_OPEN,
    }  # fmt: skip


def plant_of(job: Job) -> PlantParams:
    """Return the plant of this job; its tyre has the profile's nominal volume unless `volume` says otherwise."""
    ml = volumes(job.tyre_mm, job.bead_mm, job.rim_mm).nominal_l * 1000.0 * job.volume
    skin = sqrt(ml / REFERENCE_ML)
    base = PlantParams(
        ambient_abs_pa=job.ambient_abs_pa, room_k=job.room_k, is_line=job.kind == configuration.LINE, pin_open=job.pin_open, tyre_ml=ml,
        tyre_pa=job.start_pa, tyre_ua=1.5 * skin * job.skin, room_ua=2.5 * skin, casing_jk=500.0 * skin * job.casing,
    )  # fmt: skip
    base = replace(base, fad_l_min=base.fad_l_min * job.delivery, line_c=base.line_c * job.delivery)
    return replace(base, **job.over)


class Words(NamedTuple):
    """Arrays of one run: guard state and inputs, fill state and inputs (int32), plant state, parameters, faults, words, results."""

    g: Any
    x: Any
    f: Any
    y: Any
    s: Any
    p: Any
    fault: Any
    w: Any
    r: Any


def armed(job: Job) -> Words:
    """Arrays at rest with the slow words computed by the firmware's arming. Refusal when arming refuses."""
    here = {
        "ambient_pa": int(job.ambient_abs_pa),
        "t0_ck": round(job.room_k * 100),
        "guard_pa": job.guard_pa,
        "conn": 1,
        "job": 1,
    }
    here["watch_ticks"] = job.watch_ticks
    code, xs, ys = arming.limits(profile_of(job), configuration.HARDWARE[job.kind], here)
    if code != replies.OK:
        row = replies.row_of(code)
        raise Refusal(row[2], fix=row[3])
    g, x, f, y = (
        np.zeros(len(names), np.int32)
        for names in (GUARD_STATE, GUARD_INPUT, FILL_STATE, FILL_INPUT)
    )
    guard.boot(g)
    x[words.X_SLOW :] = xs
    y[words.Y_SLOW :] = ys
    x[words.X_LOAD], x[words.X_GAP] = load_units(), GAP_UNITS
    plant = plant_of(job)
    return Words(
        g,
        x,
        f,
        y,
        start_state(plant, job.seed),
        parameters(plant),
        healthy(),
        np.zeros(layout.W_SIZE, np.int32),
        np.zeros(R_SIZE),
    )


def run(g, x, f, y, s, p, fault, w, r, first, ticks, high):
    """Run `ticks` ticks from tick `first` on: RUN is open for the first WARM_TICKS, then held; a bead is confirmed at once when asked.

    `high`: 1 with the range key at high. Ends early two thousand ticks after done or stopped. Return the next tick's number.
    """
    drive = 0
    if first == 0:
        r[R_FIRST_ON] = -1.0
        r[R_DONE] = -1.0
        drive = 0
    else:
        drive = int(y[Y_OUT]) & 7
    amb = p[layout.P_AMB]
    for n in range(first, first + ticks):
        controls = layout.ATTACHED
        if high != 0:
            controls |= layout.RANGE_HIGH
        if n >= WARM_TICKS:
            controls |= layout.RUN
        plant_tick(s, p, fault, drive, controls, x, w)
        sw = w[layout.W_SW]
        if f[words.F_STATE] == words.BEAD_QUESTION:
            sw |= words.CONFIRM_BUTTON
        x[words.X_SWITCHES] = sw
        bits = tick(guard_step, fill_step, g, x, f, y)
        drive = bits & 7 | (bits >> 9 & 1) << 2
        state = f[words.F_STATE]
        if bits & 1 != 0:
            r[R_LAST_ANY] = n
            if state == words.FILLING or state == words.TOPPING_UP:
                if r[R_FIRST_ON] < 0.0:
                    r[R_FIRST_ON] = n
                    for k in range(layout.S_SIZE):
                        r[R_START + k] = s[k]
                r[R_LAST_OFF] = n
        r[R_PEAK_PA] = max(r[R_PEAK_PA], s[layout.S_PT] - amb)
        r[R_PEAK_READ] = max(r[R_PEAK_READ], float(y[words.Y_READ]))
        r[R_TICKS] = n + 1
        if r[R_DONE] < 0.0 and (
            state == words.DONE or state == words.STOPPED or state == words.TRIPPED
        ):
            r[R_DONE] = n
        if r[R_DONE] >= 0.0 and n > r[R_DONE] + 50:
            return n + 1
    return first + ticks


guard_step = guard.step
fill_step = fill.step


@cache
def compiled() -> dict[str, Any]:
    """Compile kernels, plant and this loop from their own files; needs numba (extra `sim`)."""

    from numba import njit

    from rimward.simulation.plant.compiled import plant_tick as fast_plant
    from rimward.simulation.plant.jit import compile_modules

    options = {"inline": "never", "error_model": "python"}
    made = {
        "guard": compile_modules(tuple(gathered("rimward_fw.kernels.guard")), **options)["step"],
        "fill": compile_modules(tuple(gathered("rimward_fw.kernels.fill")), **options)["step"],
        "tick": compile_modules(("rimward_fw.kernels.order",), **options | {"cache": False})[
            "couple"
        ],
    }
    space = dict(globals())
    space |= {
        "guard_step": made["guard"],
        "fill_step": made["fill"],
        "tick": made["tick"],
        "plant_tick": fast_plant,
    }
    made["run"] = njit(_nrt=False)(FunctionType(run.__code__, space, "run"))  # type: ignore[call-overload]
    return made


def play(job: Job, ticks: int = 150_000, fast: bool = True) -> Words:
    """Run one job to its end. `fast` needs numba."""
    words = armed(job)
    high = 0 if job.ceiling_pa <= codes.RIG_LOW_CEILING_PA else 1
    if fast:
        compiled()["run"](*words, 0, ticks, high)
    else:
        slow = words._replace(
            **{k: array("i", getattr(words, k).tobytes()) for k in ("g", "x", "f", "y", "w")}
        )
        run(*slow, 0, ticks, high)
        return slow
    return words
