"""Manifold, hose and valve core of one tick, and the order of all air calculations. Scalar code over `layout`; nothing transcendental but
sqrt.

Every flow is taken at the end of the step (semi-implicit): the square root of ISO 6358 near equal pressures is solved as a
quadratic, so one
step a tick is stable at any volume. All functions are plain; they run as they are and compiled by numba with identical bits.
"""

from math import sqrt

from rimward.simulation.plant.flow import restriction, rooted
from rimward.simulation.plant.gas import CP, CV, RHO_ANR, T_ANR
from rimward.simulation.plant.layout import (
    ATTACHED,
    BLEED,
    F_BLOW,
    F_CORE,
    F_HOSE,
    F_HOSE_C,
    F_LEAK1,
    F_PATH,
    F_PUNCTURE,
    F_SEAT,
    F_VENT_BLOCK,
    F_WHEEL,
    LOCKNUT_SHUT,
    P_AMB,
    P_B_OUT,
    P_B_PATH,
    P_BLOW_OFF,
    P_C_BLOW,
    P_C_CORE,
    P_C_HOSE,
    P_C_LEAK,
    P_C_LINE,
    P_C_PATH,
    P_C_RELIEF,
    P_C_VENT,
    P_CLOSE,
    P_CRACK,
    P_GRV,
    P_IB_OUT,
    P_IB_PATH,
    P_LIFT_HIGH,
    P_LIFT_K,
    P_LIFT_LOW,
    P_LIFT_PER,
    P_LINE,
    P_PIN,
    P_RELIEF_HIGH,
    P_RELIEF_LOW,
    P_ROOM_K,
    P_U_PM,
    P_UA_M,
    RANGE_HIGH,
    S_BLOWN,
    S_COLD,
    S_CORE,
    S_FLOW,
    S_HEAT_J,
    S_IN_J,
    S_IN_KG,
    S_LIFT,
    S_MM,
    S_OUT_J,
    S_OUT_KG,
    S_PM,
    S_PT,
    S_ROOT,
    S_STIFF,
    S_TM,
    S_TT,
    S_VENT,
    S_WHEEL,
)
from rimward.simulation.plant.source import compressor, line
from rimward.simulation.plant.tyre import another_wheel, tyre_step


def relief(P, controls, pm):
    """Conductance in m3/(s Pa) of the relief valve of the range in force: closed below its set pressure, fully open at set plus lift."""
    gauge = pm - P[P_AMB]
    if controls & RANGE_HIGH:
        lift = (gauge - P[P_RELIEF_HIGH]) * P[P_LIFT_HIGH]
    else:
        lift = (gauge - P[P_RELIEF_LOW]) * P[P_LIFT_LOW]
    return P[P_C_RELIEF] * min(max(lift, 0.0), 1.0)


def connected(F, controls):
    """1 if the chuck is on the valve: as set by the person, unless a fault pulls it off or puts it on."""
    if F[F_HOSE] > 0.0:
        return F[F_HOSE] > 1.0
    return (controls & ATTACHED) != 0


def way(P, F, controls):
    """Path from hose to tyre: 0 closed, 1 check valve, 2 held open, -1 no chuck on the valve."""
    if not connected(F, controls):
        return -1
    if (controls & LOCKNUT_SHUT) != 0 or F[F_CORE] == 1.0:
        return 0
    return 2 if P[P_PIN] > 0.0 or F[F_CORE] == 2.0 else 1


def outlets(S, P, F, path, free):
    """Conductance in m3/(s Pa) from the manifold to the room, relief valve (`free`) included."""
    c = free + S[S_VENT] * P[P_C_VENT] * (1.0 - F[F_VENT_BLOCK]) + F[F_HOSE_C]
    if path < 0:
        c += P[P_C_HOSE]
    else:
        c += F[F_SEAT]
    if P[P_LINE] == 0.0:
        c += F[F_LEAK1] * P[P_C_LINE]
    return c


def tyre_leak(S, P, F, path, controls):
    """Conductance in m3/(s Pa) from the tyre to the room: porosity, puncture, blow-off, a person's thumb, a core stuck open."""
    if F[F_BLOW] > 0.0 or S[S_PT] - P[P_AMB] > P[P_BLOW_OFF]:
        S[S_BLOWN] = 1.0
    c = P[P_C_LEAK] + F[F_PUNCTURE] + S[S_BLOWN] * P[P_C_BLOW]
    if (controls & BLEED) != 0 or (path < 0 and F[F_CORE] == 2.0):
        c += P[P_C_CORE]
    return c


def core_lift(S, P, over):
    """Lift 0..1 of a core under its spring with `over` Pa across it: it opens at one pressure and closes at a lower one."""
    if over >= P[P_CRACK]:
        S[S_CORE] = 1.0
    elif over <= P[P_CLOSE]:
        S[S_CORE] = 0.0
    wanted = 0.0
    if S[S_CORE] > 0.0:
        wanted = min((over - P[P_CLOSE]) * P[P_LIFT_PER], 1.0)
    S[S_LIFT] += P[P_LIFT_K] * (wanted - S[S_LIFT])
    return S[S_LIFT]


def tyre_flow(S, P, F, path, pm, be, sm, dt):
    """Flow in kg/s from hose to tyre, negative when a held-open core lets it back.

    `pm`: manifold pressure without this flow; `be`: how far one kg/s lowers it.
    """
    if path <= 0:
        S[S_CORE] = 0.0
        S[S_LIFT] = 0.0
        return 0.0
    c = P[P_C_PATH] * F[F_PATH] * RHO_ANR
    pt = S[S_PT]
    if path == 1:
        c *= core_lift(S, P, pm - pt)
        pt += P[P_CLOSE]
    if pm > pt:
        bt = dt * S[S_STIFF] * S[S_TM]
        return rooted(c * sm, P[P_B_PATH], P[P_IB_PATH], S[S_ROOT], pm, pt, be, be + bt)
    if path == 2:
        bt = dt * S[S_STIFF] * S[S_TT]
        return -restriction(
            c * sqrt(T_ANR / S[S_TT]), P[P_B_PATH], P[P_IB_PATH], pt, pm, bt, be + bt
        )
    return 0.0


def manifold_step(S, P, tm, qs, ts, qo, qt, dt):
    """Mass and energy of the manifold, at `tm` before, after source `qs` at `ts`, outlets `qo` and tyre flow `qt` (kg/s).

    The share of its excess heat that goes to the room is taken with the mass before the step, here and in the tyre: then the flow
    need not be known first.
    """
    before = S[S_MM] * CV
    room = P[P_ROOM_K]
    h = P[P_UA_M] * dt
    share = h / (before + h)
    tq = tm if qt >= 0.0 else S[S_TT]
    out = tm * qo
    u = before * tm + dt * CP * (ts * qs - out - tq * qt)
    m = S[S_MM] + dt * (qs - qo - qt)
    capacity = m * CV
    heat = share * (u - room * capacity)
    u -= heat
    S[S_MM] = m
    S[S_TM] = u / capacity
    S[S_PM] = u * P[P_U_PM]
    S[S_HEAT_J] += heat
    S[S_IN_KG] += dt * qs
    S[S_IN_J] += dt * CP * ts * qs
    S[S_OUT_KG] += dt * qo
    S[S_OUT_J] += dt * CP * out


def keep_roots(S, P):
    """Store square roots for the next tick: at the end of a tick a processor has time for them."""
    pt = S[S_PT] if P[P_PIN] > 0.0 else S[S_PT] + P[P_CLOSE]
    S[S_COLD] = sqrt(T_ANR / S[S_TM])
    S[S_ROOT] = sqrt(max(S[S_PM], pt) * (1.0 - 2.0 * P[P_B_PATH]) + pt)


def air_step(S, P, F, bits, controls, dt):
    """Calculate one step of all the air. Return the relief valve's conductance (0 when closed)."""
    if F[F_WHEEL] != S[S_WHEEL]:
        another_wheel(S, P, F)
    if P[P_LINE] > 0.0:
        qs, ts = line(S, P, F, bits, dt)
    else:
        qs, ts = compressor(S, P, F, (bits & 3) == 3, dt)
    pm = S[S_PM]
    tm = S[S_TM]
    sm = S[S_COLD]
    rate = dt * P[P_GRV]
    bm = rate * tm
    free = relief(P, controls, pm)
    path = way(P, F, controls)
    c_out = outlets(S, P, F, path, free)
    ahead = pm + rate * ts * qs
    qo = 0.0
    if c_out > 0.0:
        kv = restriction(c_out * RHO_ANR * sm, P[P_B_OUT], P[P_IB_OUT], ahead, P[P_AMB], bm, bm)
        kv /= ahead - bm * kv
        soft = 1.0 / (1.0 + bm * kv)
        qt = tyre_flow(S, P, F, path, ahead * soft, bm * soft, sm, dt)
        qo = kv * (ahead - bm * qt) * soft
    else:
        qt = tyre_flow(S, P, F, path, ahead, bm, sm, dt)
    c_leak = tyre_leak(S, P, F, path, controls)
    ql = 0.0
    if c_leak > 0.0:
        bt = dt * S[S_STIFF] * S[S_TT]
        ql = restriction(
            c_leak * RHO_ANR * sqrt(T_ANR / S[S_TT]),
            P[P_B_OUT],
            P[P_IB_OUT],
            S[S_PT],
            P[P_AMB],
            bt,
            bt,
        )
    manifold_step(S, P, tm, qs, ts, qo, qt, dt)
    tyre_step(S, P, F, qt, ql, tm, dt)
    S[S_FLOW] = qt
    keep_roots(S, P)
    return free
