"""Air and its flow through restrictions: ISO 6358 (C, b), series, orifice. Pure functions, SI units, absolute pressures."""

from functools import lru_cache
from math import sqrt

R_AIR = 287.05287  # J/(kg K), ICAO standard atmosphere
GAMMA = 1.4
CV = R_AIR / (GAMMA - 1.0)
CP = CV * GAMMA
RHO_ANR = 1.185  # kg/m3, ISO 8778 reference state used with ISO 6358
T_ANR = 293.15  # K
SEAL_PA = 101325.0  # sealed-gauge reference
C_UNIT = 1e-8  # 1 dm3/(s bar) in m3/(s Pa)


def mass_flow(c: float, b: float, p1: float, p2: float, t1: float = T_ANR) -> float:
    """Flow in kg/s from `p1` to `p2` (Pa absolute) through sonic conductance `c` in m3/(s Pa), ratio `b`, at `t1` in K (ISO 6358)."""
    if p2 > p1:
        return -mass_flow(c, b, p2, p1, t1)
    choked = p1 * c * RHO_ANR * sqrt(T_ANR / t1)
    ratio = p2 / p1
    if ratio <= b:
        return choked
    return choked * sqrt(1.0 - ((ratio - b) / (1.0 - b)) ** 2)


@lru_cache(maxsize=1024)
def series(parts: tuple[tuple[float, float], ...]) -> tuple[float, float]:
    """Return (C, b) of restrictions in series, each (C m3/(s Pa), b), with no volume between them.

    Found from the flow itself: C from the choked flow of the series, b so that the fitted curve has the true flow at an outlet of
    0.9 of the
    inlet, where a fill spends most of its time.
    """
    p1 = 1e6
    c = _row_flow(parts, p1, 1.0) / (p1 * RHO_ANR)
    ratio = 0.9
    psi = _row_flow(parts, p1, ratio * p1) / (p1 * c * RHO_ANR)
    u = sqrt(max(0.0, 1.0 - psi * psi))
    return c, min(0.528, max(0.0, (ratio - u) / (1.0 - u)))


def row_flow(
    parts: tuple[tuple[float, float], ...], p1: float, p2: float, t1: float = T_ANR
) -> float:
    """Flow in kg/s through restrictions in series, by bisection on the flow; throttling keeps the temperature."""
    return _row_flow(parts, p1, p2) * sqrt(T_ANR / t1)


def _row_flow(parts: tuple[tuple[float, float], ...], p1: float, p2: float) -> float:
    low, high = 0.0, min(c for c, _ in parts) * p1 * RHO_ANR
    for _ in range(80):
        mid = 0.5 * (low + high)
        if _row_outlet(parts, p1, mid) >= p2:
            low = mid
        else:
            high = mid
    return low


def _row_outlet(parts: tuple[tuple[float, float], ...], p1: float, flow: float) -> float:
    """Lowest outlet pressure at which the series carries `flow`; -1 when it cannot."""
    p = p1
    for c, b in parts:
        most = p * c * RHO_ANR
        if flow > most:
            return -1.0
        p *= b + (1.0 - b) * sqrt(max(0.0, 1.0 - (flow / most) ** 2))
    return p


def orifice_c(diameter_m: float, discharge: float) -> float:
    """Sonic conductance in m3/(s Pa) of an orifice: choked ideal-nozzle flow times a discharge coefficient."""
    area = 0.25 * 3.141592653589793 * diameter_m * diameter_m
    choked = sqrt(GAMMA / R_AIR * (2.0 / (GAMMA + 1.0)) ** ((GAMMA + 1.0) / (GAMMA - 1.0)))
    return area * discharge * choked / (RHO_ANR * sqrt(T_ANR))
