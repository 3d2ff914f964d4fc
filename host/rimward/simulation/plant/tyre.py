"""Tyre in one tick: volume that opens, grows and creeps; heat to the casing; a load on it; another wheel on the chuck.

Scalar code over `layout`. The volume law: V = V0 (1 - limp (1 - p/p_full)^3 + growth p + creep - squeeze), p gauge, the limp term up to
p_full only; creep follows pressure with its own time constant, as a Kelvin-Voigt element does.
"""

from math import sqrt

from rimward.simulation.plant.gas import CP, CV, GAMMA, R_AIR
from rimward.simulation.plant.layout import (
    F_GAS,
    F_SQUEEZE,
    F_WHEEL,
    F_WHEEL_PA,
    F_WHEEL_RATIO,
    P_AMB,
    P_CASING,
    P_CREEP,
    P_CREEP_RATE,
    P_GROWTH,
    P_HEAT_FIXED,
    P_HEAT_FREE,
    P_HEAT_JET,
    P_LIMP,
    P_ROOM_K,
    P_SLACK,
    P_UA_GAS,
    P_UA_ROOM,
    P_V0,
    S_BLOWN,
    S_CORE,
    S_CREEP,
    S_HEAT_J,
    S_IN_J,
    S_IN_KG,
    S_LIFT,
    S_MT,
    S_OUT_J,
    S_OUT_KG,
    S_PEAK,
    S_PT,
    S_SCALE,
    S_SQUEEZE,
    S_STIFF,
    S_TC,
    S_TT,
    S_UA,
    S_VT,
    S_WHEEL,
    S_WORK_J,
)

GR = GAMMA * R_AIR
K = 1.0 / (GAMMA - 1.0)
GAS_K = 253.15  # gas from a cartridge has cooled by expansion
SQUEEZE_RATE = 10.0  # 1/s: a person sits down in a tenth of a second


def volume(S, P, gauge):
    """Volume of the tyre in m3 at `gauge` Pa, and its slope in m3/Pa."""
    v0 = P[P_V0] * S[S_SCALE]
    share = 1.0 + P[P_GROWTH] * gauge + S[S_CREEP] - S[S_SQUEEZE]
    slope = P[P_GROWTH]
    left = 1.0 - max(gauge, 0.0) * P[P_SLACK]
    if left > 0.0 and P[P_LIMP] > 0.0:
        miss = P[P_LIMP] * left * left
        share -= miss * left
        slope += 3.0 * miss * P[P_SLACK] if gauge >= 0.0 else 0.0
    return v0 * share, v0 * slope


def put_tyre(S, P, pressure, kelvin):
    """Put the tyre at rest at `pressure` (Pa absolute) and `kelvin`: creep at its end, mass and volume to match."""
    gauge = pressure - P[P_AMB]
    S[S_CREEP] = P[P_CREEP] * gauge
    S[S_SQUEEZE] = 0.0
    v, slope = volume(S, P, gauge)
    S[S_PT] = pressure
    S[S_TT] = kelvin
    S[S_TC] = kelvin
    S[S_VT] = v
    S[S_MT] = pressure * v / (R_AIR * kelvin)
    S[S_STIFF] = GR / (v + GAMMA * pressure * slope)
    S[S_PEAK] = pressure
    S[S_UA] = P[P_UA_GAS] * P[P_HEAT_FIXED]


def another_wheel(S, P, F):
    """Put the wheel of the fault fields on the chuck instead of the previous one, at room temperature, its core closed."""
    S[S_WHEEL] = F[F_WHEEL]
    S[S_SCALE] = F[F_WHEEL_RATIO]
    S[S_CORE] = 0.0
    S[S_LIFT] = 0.0
    S[S_BLOWN] = 0.0
    put_tyre(S, P, F[F_WHEEL_PA] + P[P_AMB], P[P_ROOM_K])


def conductance(S, P, qt):
    """Heat conductance from gas to casing in W/K: a fixed share, natural convection (Nu ~ Gr^1/4) and the jet (Nu ~ Re^1/2)."""
    ua = P[P_HEAT_FIXED]
    if P[P_HEAT_FREE] > 0.0:
        ua += P[P_HEAT_FREE] * sqrt(S[S_MT] / S[S_VT] * sqrt(abs(S[S_TT] - S[S_TC])))
    if P[P_HEAT_JET] > 0.0 and qt > 0.0:
        ua += P[P_HEAT_JET] * sqrt(qt)
    return P[P_UA_GAS] * ua


def tyre_step(S, P, F, qt, ql, tm, dt):
    """Mass and energy of the tyre after inflow `qt` (at `tm` when positive) and leak `ql`: heat to casing and room, work on the casing."""
    tt = S[S_TT]
    tc = S[S_TC]
    p0 = S[S_PT]
    v0 = S[S_VT]
    gas = F[F_GAS]
    h = S[S_UA] * dt
    share = h / (S[S_MT] * CV + h)
    tq = tm if qt >= 0.0 else tt
    held = p0 * v0 * K
    gain = dt * CP * (tq * qt - tt * ql + GAS_K * gas)
    m = S[S_MT] + dt * (qt - ql + gas)
    capacity = m * CV
    heat = share * (held + gain - tc * capacity)
    gain -= heat
    S[S_CREEP] += dt * P[P_CREEP_RATE] * (P[P_CREEP] * (p0 - P[P_AMB]) - S[S_CREEP])
    S[S_SQUEEZE] += dt * SQUEEZE_RATE * (F[F_SQUEEZE] - S[S_SQUEEZE])
    p = p0
    v, slope = volume(S, P, p - P[P_AMB])
    for _ in range(2):  # Newton: stored energy plus mean pressure times growth equals the inflow
        wrong = K * (p * v - p0 * v0) + 0.5 * (p0 + p) * (v - v0) - gain
        p -= wrong / (K * (v + p * slope) + 0.5 * (v - v0 + (p0 + p) * slope))
        v, slope = volume(S, P, p - P[P_AMB])
    after = p * v * K
    S[S_STIFF] = GR / (v + GAMMA * p * slope)
    S[S_PT] = p
    S[S_VT] = v
    S[S_MT] = m
    S[S_TT] = after / capacity
    S[S_PEAK] = max(S[S_PEAK], p)
    S[S_TC] = tc + (heat - dt * P[P_UA_ROOM] * (tc - P[P_ROOM_K])) * P[P_CASING]
    S[S_UA] = conductance(S, P, qt)
    S[S_HEAT_J] += heat
    S[S_WORK_J] += held + gain - after
    S[S_IN_KG] += dt * gas
    S[S_IN_J] += dt * CP * GAS_K * gas
    S[S_OUT_KG] += dt * ql
    S[S_OUT_J] += dt * CP * tt * ql


def settled_pressure(S, P):
    """Pressure in the tyre once its air is at room temperature, with its present creep, Pa absolute."""
    content = S[S_MT] * R_AIR * P[P_ROOM_K]
    p = S[S_PT]
    for _ in range(30):
        v, slope = volume(S, P, p - P[P_AMB])
        p -= (p * v - content) / (v + p * slope)
    return p
