"""Tyre left alone after a fill: its reading once its gas is at the casing's temperature."""

from array import array
from functools import cache
from types import FunctionType
from typing import Any

import numpy as np

from rimward.simulation.plant import layout
from rimward.simulation.plant.arrays import healthy
from rimward.simulation.plant.kept import is_kept
from rimward.simulation.plant.layout import P_AMB, S_PT, S_TC, S_TT
from rimward.simulation.plant.tyre import tyre_step

STEP_S = 0.02
REST_S = 120.0  # after the last air
NEAR_K = 0.5
LONGEST_S = 1800.0


def cool(s, p, fault, steps, most, step_s, near_k):
    """Let the tyre of state `s` stand for `steps` steps and on until its gas is within `near_k` of the casing, at most `most` steps."""
    n = 0
    while n < most and (n < steps or abs(s[S_TT] - s[S_TC]) > near_k):
        tyre_step(s, p, fault, 0.0, 0.0, s[S_TT], step_s)
        n += 1
    return n


@cache
def _compiled() -> Any:
    """`cool` compiled; needs numba."""

    from numba import njit

    from rimward.simulation.plant.compiled import FUNCTIONS
    from rimward.simulation.plant.jit import OPTIONS

    space = globals() | {"tyre_step": FUNCTIONS["tyre_step"]}
    return njit(**OPTIONS | {"cache": False})(FunctionType(cool.__code__, space, "cool"))


def cooled(state: Any, parameters: Any, since_ticks: int = 0) -> float:
    """Pressure in the tyre 120 s after its last air, of which `since_ticks` have passed, its gas within 0.5 K of the casing, Pa gauge; no
    further
    creep.

    The chuck is off: no air is lost or gained. `state` and `parameters` are left unchanged.
    """
    given: Any = [np.array(part, dtype=np.float64) for part in (state, parameters, healthy())]
    run: Any = _compiled() if is_kept() else cool
    if run is cool:  # plain Python is faster over plain arrays
        given = [array("d", part.tobytes()) for part in given]
    s, p, fault = given
    p[layout.P_CREEP_RATE] = 0.0
    steps = max(int((REST_S - since_ticks * 0.002) / STEP_S), 0)
    run(s, p, fault, steps, int(LONGEST_S / STEP_S), STEP_S, NEAR_K)
    return float(s[S_PT] - p[P_AMB])
