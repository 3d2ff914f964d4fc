"""Feasibility of a healthy fill with this source, core and stop reading: base of a first-go rate."""

from typing import Any

from rimward.simulation import coupling
from rimward.simulation.campaign.draw import Draw
from rimward.simulation.plant import PlantParams, layout
from rimward.simulation.plant.arrays import efficiency
from rimward.simulation.plant.gas import GAMMA, R_AIR, RHO_ANR
from rimward.simulation.plant.params import si

REASONS = (
    "feasible",
    "begun at or over its target",
    "line with a pressure-open chuck, begun less than 75 kPa under its ceiling",
    "no room under the stop reading for core and smallest burst",
    "source cannot reach the target",
    "no room under the stop reading for the smallest burst in the hose",
)
FEASIBLE, BEGUN_OVER, LINE_NEAR, NO_ROOM, TOO_WEAK, TIGHT = range(6)
FILLABLE = (
    FEASIBLE,
    TIGHT,
)  # TIGHT: the tyre has room for that burst, the hose that the guard reads has not
LINE_ROOM_PA = 75_000
NEAR_STALL = 0.12  # volumetric efficiency below which a compressor no longer fills
LINE_OVER_PA = 50_000  # pressure by which a line must exceed the core's opening
TICK_S = 0.002


def smallest_burst_kg(p: PlantParams) -> float:
    """Air in kg of the shortest effective command: one that begins to move the valve, or 6 ms of a pump."""
    if not p.is_line:
        on = 3 * TICK_S + p.gate_drop_s
        speed = 1.0 - 2.718281828 ** (-on / p.spin_up_s)
        full = p.fad_l_min / 60_000.0 * p.ambient_abs_pa / (R_AIR * p.room_k)
        return float(full * (0.5 * speed * on + 0.5 * speed * speed * p.coast_s))
    on = max(TICK_S + p.gate_drop_s, p.valve_dead_open_s + TICK_S)
    pulled = on - p.valve_dead_open_s + p.valve_dead_shut_s + p.coil_decay_s
    top = min(pulled / p.valve_open_s, 1.0)
    open_s = (
        0.5 * top * min(pulled, p.valve_open_s)
        + max(pulled - p.valve_open_s, 0.0)
        + 0.5 * top * top * p.valve_shut_s
    )
    return si(p.line_c) * RHO_ANR * (p.line_pa + p.ambient_abs_pa) * open_s


def reason(d: Draw, p: PlantParams, words: Any) -> int:
    """Index into REASONS for a session accepted by arming; FEASIBLE if nothing prevents it. What must stay under the stop reading is
    the hose's pressure: target, the core's opening and the rise of a hose whose core has not opened yet."""
    target = int(words.ys[coupling.Y_TARGET - coupling.Y_SLOW])
    stop = int(words.x[coupling.X_CEILING] - words.x[coupling.X_BAND])
    opening = 0.0 if p.pin_open else p.crack_pa
    energy = GAMMA * R_AIR * p.room_k * smallest_burst_kg(p)
    rise, hose_rise = energy / float(words.s[layout.S_VT]), energy / float(words.p[layout.P_VM])
    if d.job.start_pa >= target:
        return BEGUN_OVER
    if p.is_line and not p.pin_open and d.job.start_pa > d.job.ceiling_pa - LINE_ROOM_PA:
        return LINE_NEAR
    if target + opening + rise > stop:
        return NO_ROOM
    ratio = (target + opening + p.ambient_abs_pa) / p.ambient_abs_pa
    if p.is_line:
        weak = p.line_pa < target + opening + LINE_OVER_PA
    else:
        weak = efficiency(ratio, p.clearance, p.polytropic) < NEAR_STALL
    if weak:
        return TOO_WEAK
    return TIGHT if target + opening + hose_rise > stop else FEASIBLE
