"""A tyre left alone after a fill: what it reads once its gas has come to the casing's temperature."""

from functools import cache
from typing import Any

import numpy as np

from rimward.plant import layout
from rimward.plant.arrays import healthy
from rimward.plant.layout import P_AMB, S_PT, S_TC, S_TT
from rimward.plant.tyre import tyre_step

STEP_S = 0.02
REST_S = 120.0  # after the last air
NEAR_K = 0.5
LONGEST_S = 1800.0


def cool(s, p, fault, steps, most, step_s, near_k):
    """Let the tyre of state `s` stand for `steps` steps and on until its gas is within `near_k` of the casing, `most` at most."""
    n = 0
    while n < most and (n < steps or abs(s[S_TT] - s[S_TC]) > near_k):
        tyre_step(s, p, fault, 0.0, 0.0, s[S_TT], step_s)
        n += 1
    return n


@cache
def _compiled() -> Any:
    """`cool` compiled; needs numba."""
    from types import FunctionType

    from numba import njit

    from rimward.plant.compiled import FUNCTIONS
    from rimward.plant.jit import OPTIONS

    space = globals() | {"tyre_step": FUNCTIONS["tyre_step"]}
    return njit(**OPTIONS | {"cache": False})(FunctionType(cool.__code__, space, "cool"))


def cooled(state: Any, parameters: Any, since_ticks: int = 0) -> float:
    """Pa gauge in the tyre 120 s after its last air, `since_ticks` of them gone by, its gas within 0.5 K of the casing; it creeps no more.

    The chuck is off: no air is lost or gained. `state` and `parameters` are left as they are.
    """
    s, p = np.array(state), np.array(parameters)
    p[layout.P_CREEP_RATE] = 0.0
    steps = max(int((REST_S - since_ticks * 0.002) / STEP_S), 0)
    _compiled()(s, p, healthy(), steps, int(LONGEST_S / STEP_S), STEP_S, NEAR_K)
    return float(s[S_PT] - p[P_AMB])
