"""One drawn session on the kernels and the plant, with its result as one record."""

from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
from rimward_fw.control import arming, configuration
from rimward_fw.kernels import guard
from rimward_protocol import replies
from rimward_protocol.kernel_words import FILL_INPUT, FILL_STATE, GUARD_INPUT, GUARD_STATE

from rimward.simulation import coupling
from rimward.simulation import faulted as loop
from rimward.simulation.campaign import effects, people
from rimward.simulation.campaign.draw import Draw
from rimward.simulation.campaign.feasible import reason
from rimward.simulation.ideal import ideal_ticks
from rimward.simulation.loop import plant_of, profile_of
from rimward.simulation.plant import PlantParams, layout
from rimward.simulation.plant import faults as plant_faults
from rimward.simulation.plant.arrays import healthy, parameters, start_state
from rimward.simulation.plant.tyre import settled_pressure

LONGEST = 60_000  # ticks: two minutes
TAIL = 250  # half a second after the end
LOAD = 3

RECORD = np.dtype(
    [
        ("number", "u4"), ("fault", "u1"), ("set_d", "u1"), ("refused", "u1"), ("state", "u1"), ("cause", "u1"), ("stop", "u1"), ("why", "u1"),
        ("line", "u1"), ("ticks", "u4"), ("exceed", "u4"), ("own", "u4"), ("at", "i4"), ("cause_at", "i4"), ("stop_at", "i4"), ("why_at", "i4"), ("cut_at", "i4"),
        ("last_in", "i4"), ("first_on", "i4"), ("last_off", "i4"), ("done", "i4"), ("ceiling_pa", "i4"), ("target_pa", "i4"), ("peak_pa", "f4"),
        ("peak_in_pa", "f4"), ("settled_pa", "f4"), ("final_pa", "f4"), ("ratio", "f4"), ("ideal", "f4"), ("person", "u1"), ("pin", "u1"), ("tries", "u1"),
        ("infeasible", "u1"), ("asked", "u4"), ("other", "u4"), ("warm", "i4"), ("places", "u1", (len(effects.EFFECTS),)),
    ]
)  # fmt: skip
NAMES = ("", *plant_faults.FAULTS)


class Words(NamedTuple):
    """The arrays of one session, in the order `faulted.session` takes them."""

    g: Any
    x: Any
    f: Any
    y: Any
    s: Any
    p: Any
    fault: Any
    w: Any
    events: Any
    h: Any
    r: Any
    xs: Any
    ys: Any


class Refused(Exception):
    """Arming refused this wheel and target."""


def prepared(d: Draw) -> tuple[Words, PlantParams]:
    """Arrays at rest before the first tick. Refused when arming refuses the job."""
    plant = plant_of(d.job)
    measured = int(d.job.ambient_abs_pa + plant.baro_error_pa)
    here = {
        "ambient_pa": measured,
        "t0_ck": round((d.job.room_k + plant.air_error_k) * 100),
        "guard_pa": 0,
        "conn": 1,
        "job": 1,
    }
    profile = profile_of(d.job)
    code, xs, ys = arming.limits(profile, configuration.HARDWARE[d.job.kind], here)
    if code != replies.OK:
        raise Refused(code)
    g, x, f, y = (
        np.zeros(len(names), np.int32)
        for names in (GUARD_STATE, GUARD_INPUT, FILL_STATE, FILL_INPUT)
    )
    guard.boot(g)
    x[coupling.X_SLOW :], y[coupling.Y_SLOW :] = xs, ys
    rows, h = schedule(d)
    state = start_state(plant, d.job.seed)
    h[[loop.H_KEY1, loop.H_KEY2]] = state[[layout.S_KEY2, layout.S_KEY1]]
    r = np.zeros(loop.R_SIZE)
    r[[loop.R_FIRST_ON, loop.R_LAST_OFF, loop.R_DONE, loop.R_CUT_AT, loop.R_LAST_IN]] = -1.0
    words = (
        np.zeros(layout.W_SIZE, np.int32),
        rows,
        h,
        r,
        np.array(xs, np.int32),
        np.array(ys, np.int32),
    )
    return Words(g, x, f, y, state, parameters(plant), healthy(), *words), plant


def schedule(d: Draw) -> tuple[np.ndarray, np.ndarray]:
    """Return the plant's fault rows and the `H` array."""
    h = np.zeros(loop.H_SIZE)
    values = {
        loop.H_HIGH: float(d.high), loop.H_WARM: d.warm, loop.H_HOLD: d.hold, loop.H_CONFIRM: d.confirm, loop.H_RETRY: d.retry, loop.H_CEIL: d.true_ceiling_pa,
        loop.H_FAULT: d.at, loop.H_LAST: LONGEST, loop.H_TAIL: TAIL, loop.H_HALT_AT: -1, loop.H_LOAD: LOAD, loop.H_NEXT: d.warm,
        loop.H_DRIVE: layout.DRIVE_RESET, loop.H_AWAY_AT: -1,
    }  # fmt: skip
    rows, acts = (
        people.acts(d.person, d.act_at, d.true_ceiling_pa, np.array(d.how)) if d.how else ([], {})
    )
    values |= acts
    if d.fault:
        fault = plant_faults.FAULTS[d.fault]
        if fault.from_start:
            values[loop.H_FAULT] = 0
        rows += plant_faults.events(d.fault, d.at, d.severity)
        if d.fault == "hose_attached":
            rows.append((0, layout.F_HOSE, 1.0))  # off until then
        values |= processor(fault, d)
    for at, value in values.items():
        h[at] = value
    return np.array(sorted(rows), np.float64).reshape(len(rows), 3), h


def processor(fault: plant_faults.Fault, d: Draw) -> dict[int, float]:
    """Return the flags of processor, operator and link faults as H values."""
    if fault.name == "timer_late":
        late = fault.flag("late_us", d.severity)
        low, high = fault.passing_ms or (2.0, 2000.0)
        lasts = plant_faults.between(low, high, (d.severity * 7.0) % 1.0) / 2.0
        return {
            loop.H_HALT_AT: d.at,
            loop.H_HALT_N: max(1.0, round(late / 2000.0)),
            loop.H_HALT_EVERY: 1.0,
            loop.H_HALT_UNTIL: d.at + lasts,
        }
    if fault.name == "timer_skipped":
        return {loop.H_HALT_AT: d.at, loop.H_HALT_N: float(round(fault.flag("ticks", d.severity)))}
    if fault.name == "processor_halted":
        return {loop.H_HALT_AT: d.at, loop.H_HALT_N: 1e9, loop.H_LAST: d.at + 2500.0}
    if fault.name == "reset_mid_fill":
        return {
            loop.H_HALT_AT: d.at,
            loop.H_HALT_N: float(round(fault.flag("ticks", d.severity))),
            loop.H_RESET: 1.0,
        }
    if fault.name == "operator_hammering":
        return {
            loop.H_HAMMER: max(2.0, fault.flag("press_ms", d.severity) / 2.0),
            loop.H_LAST: 20_000.0,
        }
    if (
        fault.name == "link_flooded"
    ):  # bytes cost interrupt time and a tick takes longer: the link's only effect on it
        return {loop.H_LOAD: 3.0 + round(3.0 * d.severity)}
    return {}


def taken(d: Draw) -> tuple[Draw, Words, PlantParams]:
    """Return `prepared`, a refused target lowered as a person would, and the draw as changed. Refused after six tries."""
    for _ in range(6):
        try:
            return d, *prepared(d)
        except Refused:
            d = replace(d, job=replace(d.job, target_pa=int(0.85 * d.job.target_pa)))
    raise Refused(d.number)


def play(d: Draw, session: Any) -> tuple[np.void, Words | None, PlantParams | None]:
    """Play one session with `session` (plain or compiled). Return its record and the final arrays, None where arming refused it."""
    row = np.zeros(1, RECORD)[0]
    try:
        asked = d.job.target_pa
        d, words, plant = taken(d)
    except Refused:
        row["number"], row["fault"], row["refused"] = d.number, NAMES.index(d.fault), 2
        return row, None, None
    session(*words, 0, LONGEST)
    row["refused"] = d.job.target_pa != asked
    row["infeasible"] = reason(d, plant, words)
    fill_row(row, d, words)
    return row, words, plant


def fill_row(row: Any, d: Draw, words: Words) -> None:
    """One session's record."""
    r, s, p = words.r, words.s, words.p
    set_d = not d.fault or plant_faults.FAULTS[d.fault].set == "D"
    row["number"], row["fault"], row["set_d"], row["line"] = (
        d.number,
        NAMES.index(d.fault),
        set_d,
        d.job.kind,
    )
    for name, at in (
        ("cause", loop.R_CAUSE), ("stop", loop.R_STOP), ("why", loop.R_WHY), ("ticks", loop.R_TICKS), ("exceed", loop.R_EXCEED), ("own", loop.R_OWN),
        ("cause_at", loop.R_CAUSE_AT), ("stop_at", loop.R_STOP_AT), ("why_at", loop.R_WHY_AT), ("cut_at", loop.R_CUT_AT), ("last_in", loop.R_LAST_IN),
        ("first_on", loop.R_FIRST_ON), ("last_off", loop.R_LAST_OFF), ("done", loop.R_DONE), ("peak_pa", loop.R_PEAK), ("peak_in_pa", loop.R_PEAK_IN),
    ):  # fmt: skip
        row[name] = r[at]
    row["state"] = words.f[coupling.F_STATE]
    row["person"], row["pin"], row["warm"] = people.NAMES.index(d.person), d.job.pin_open, d.warm
    row["tries"], row["asked"], row["other"] = (
        words.h[loop.H_TRIES],
        r[loop.R_ASKED],
        r[loop.R_OTHER],
    )
    if d.places:
        row["places"] = np.frombuffer(d.places, np.uint8)
    row["at"] = words.h[loop.H_FAULT]
    row["ceiling_pa"], row["target_pa"] = (
        d.true_ceiling_pa,
        words.ys[coupling.Y_TARGET - coupling.Y_SLOW],
    )
    row["final_pa"] = s[layout.S_PT] - p[layout.P_AMB]
    row["settled_pa"] = settled_pa(s, p)
    not_by_air = d.job.start_pa >= d.true_ceiling_pa or d.person in people.MOVED + people.BY_OTHERS
    row["ratio"] = (
        r[loop.R_PEAK_IN] if not_by_air else max(r[loop.R_PEAK], r[loop.R_PEAK_IN])
    ) / d.true_ceiling_pa


def settled_pa(s: Any, p: Any) -> float:
    """Pressure in the tyre once its air is at room temperature, Pa gauge."""
    return float(settled_pressure(s, p) - p[layout.P_AMB])


IDEAL_EVERY = (
    40  # share of the fills that reached their target; an ideal fill costs ten times a real one
)


def fill_ideal(row: Any, d: Draw, words: Words, plant: PlantParams) -> None:
    """Time from first to last air, over that of the ideal fill, for some of the uninterrupted healthy fills."""
    done = (
        words.f[coupling.F_STATE] == coupling.DONE
        and row["first_on"] >= 0
        and row["last_off"] > row["first_on"]
    )
    if d.fault or not done or not d.patient or d.job.seat_pa or d.number % IDEAL_EVERY:
        return

    best = ideal_ticks(
        plant, words.r[loop.R_START :], float(row["target_pa"]), float(d.job.ceiling_pa)
    )
    row["ideal"] = (row["last_off"] - row["first_on"]) / max(best, 1)
