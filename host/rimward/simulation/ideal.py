"""Fastest fill with full knowledge: air without pause until exactly the right mass is in, the manifold never at the ceiling.

Where the ceiling would be reached, the source is switched there without delay: no inflator can do that, so the figure is a bound.
"""

from typing import Any

import numpy as np

from rimward.simulation import engines
from rimward.simulation.plant import PlantParams, layout
from rimward.simulation.plant.arrays import AT_ONCE, healthy, parameters, start_state
from rimward.simulation.plant.gas import R_AIR
from rimward.simulation.plant.step import plant_tick
from rimward.simulation.plant.tyre import volume

AFTER_TICKS = 250  # time in which the manifold's air has gone into the tyre
LONGEST = 400_000


def feed(s, p, fault, x, w, high, ceiling_abs, mass, on_ticks):
    """Feed air from state `s`. `on_ticks` < 0: until the tyre holds `mass` kg; else for so many ticks, then wait. Returns ticks fed."""
    controls = layout.ATTACHED | layout.RUN
    if high != 0:
        controls |= layout.RANGE_HIGH
    n = 0
    while n < LONGEST:
        if on_ticks >= 0:
            if n >= on_ticks:
                break
        elif s[layout.S_MT] >= mass:
            break
        plant_tick(s, p, fault, 3 if s[layout.S_PM] < ceiling_abs else 2, controls, x, w)
        n += 1
    if on_ticks >= 0:
        for _ in range(AFTER_TICKS):
            plant_tick(s, p, fault, 2, controls, x, w)
    return n


def compiled() -> Any:
    """Compile `feed`; needs numba."""

    return engines.compiled()["feed"]


def target_mass_kg(params: PlantParams, target_pa: float, creep: float = 0.0) -> float:
    """Air mass in the tyre at a reading of `target_pa` (Pa gauge) at room temperature, crept by `creep` of its volume, kg."""
    state = start_state(params)
    state[layout.S_CREEP] = creep
    held, _ = volume(state, parameters(params), target_pa)
    return float((target_pa + params.ambient_abs_pa) * held / (R_AIR * params.room_k))


def ideal_ticks(
    params: PlantParams, state: Any, target_pa: float, ceiling_pa: float, exact: bool = True
) -> int:
    """Ticks of pump from plant state `state` until nothing more is needed; LONGEST if the source cannot reach it.

    Unless `exact`, the air still in the hose is not subtracted: a few ticks more, at a tenth of the cost.
    """
    p = parameters(params)
    if params.is_line:
        p[layout.P_VALVE_OPEN] = p[layout.P_VALVE_SHUT] = 1e6
        p[layout.P_PULL_IN] = p[layout.P_RELEASE] = AT_ONCE
    p[layout.P_GATE_S] = params.tick_s * 0.5
    mass = target_mass_kg(params, target_pa, float(state[layout.S_CREEP]))
    ceiling_abs = ceiling_pa + params.ambient_abs_pa
    high = 1 if ceiling_pa > 500_000 else 0

    def after(on_ticks: int) -> tuple[int, float]:
        s = np.array(state)
        n = compiled()(
            s,
            p,
            healthy(),
            np.zeros(6, np.int32),
            np.zeros(layout.W_SIZE, np.int32),
            high,
            ceiling_abs,
            mass,
            on_ticks,
        )
        return n, float(s[layout.S_MT])

    most = after(-1)[0]
    least = 0 if exact else most
    while most - least > 1:
        half = (most + least) // 2
        if after(half)[1] >= mass:
            most = half
        else:
            least = half
    return most


def state_at_rest(params: PlantParams, seed: int = 0) -> Any:
    """State of the plant before the session."""
    return start_state(params, seed)
