"""Air source, restrictions and gas of one tick. Scalar code over the arrays of `layout`; nothing transcendental but sqrt.

Every flow is taken at the end of the step (semi-implicit): the square root of ISO 6358 near equal pressures is solved as a quadratic, so
one step a tick is stable at any volume. All functions are plain, run as they are and compiled by numba with identical bits.
"""

from math import sqrt

from rimward.plant.actuators import ramp
from rimward.plant.gas import CP, CV, GAMMA, R_AIR, RHO_ANR, T_ANR
from rimward.plant.layout import (
    ATTACHED,
    BLEED,
    F_BLOW,
    F_CORE,
    F_HOSE,
    F_HOSE_C,
    F_LEAK1,
    F_LEAK2,
    F_LINE_PA,
    F_PATH,
    F_PUNCTURE,
    F_SUPPLY,
    F_VENT_BLOCK,
    LOCKNUT_SHUT,
    P_AMB,
    P_B_LINE,
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
    P_CASING,
    P_COAST,
    P_CRACK,
    P_FAD_KGS,
    P_GROWTH,
    P_GRV,
    P_HZ,
    P_IB_LINE,
    P_IB_OUT,
    P_IB_PATH,
    P_K_LINE,
    P_LIFT_HIGH,
    P_LIFT_LOW,
    P_LINE,
    P_PIN,
    P_RATIO,
    P_RELIEF_HIGH,
    P_RELIEF_LOW,
    P_RIPPLE,
    P_ROOM_K,
    P_SUPPLY_K,
    P_SUPPLY_PA,
    P_TABLE,
    P_TABLE_T,
    P_U_PM,
    P_UA_GAS,
    P_UA_M,
    P_UA_ROOM,
    P_UP,
    P_V0,
    P_VALVE_OPEN,
    P_VALVE_SHUT,
    RANGE_HIGH,
    S_BLOWN,
    S_COLD,
    S_FLOW,
    S_HEAT_J,
    S_IN_J,
    S_IN_KG,
    S_MM,
    S_MT,
    S_OUT_J,
    S_OUT_KG,
    S_PEAK,
    S_PHASE,
    S_PM,
    S_PT,
    S_ROOT,
    S_SPEED,
    S_STIFF,
    S_TC,
    S_TM,
    S_TT,
    S_VALVE1,
    S_VALVE2,
    S_VENT,
    S_VT,
    S_WAVE,
    S_WORK_J,
    TABLE_N,
)

GR = GAMMA * R_AIR


def compressor(S, P, F, on, dt):
    """Delivery in kg/s and its temperature in K, from the tables of volumetric efficiency and delivery temperature."""
    if on:
        S[S_SPEED] += dt * P[P_UP] * (1.0 - S[S_SPEED])
    else:
        S[S_SPEED] -= dt * P[P_COAST]
    if S[S_SPEED] <= 0.0:
        S[S_SPEED] = 0.0
        return 0.0, P[P_ROOM_K]
    x = S[S_PM] * P[P_RATIO]
    x = min(x, TABLE_N - 1.001)
    i = int(x)
    part = x - i
    j = P_TABLE + i
    eta = P[j] + part * (P[j + 1] - P[j])
    j = P_TABLE_T + i
    warm = P[j] + part * (P[j + 1] - P[j])
    return P[P_FAD_KGS] * F[F_SUPPLY] * S[S_WAVE] * eta * S[S_SPEED], warm


def turn_on(S, P, dt):
    """The piston's ripple in a tick of `dt` to come, taken at the middle of it, and where its crank then stands."""
    step = S[S_SPEED] * P[P_HZ] * dt
    turn = S[S_PHASE] + 0.5 * step
    turn -= int(turn)
    after = S[S_PHASE] + step
    S[S_PHASE] = after - int(after)
    half = 2.0 * turn if turn < 0.5 else 2.0 * turn - 1.0
    wave = 4.0 * half * (1.0 - half)
    if turn >= 0.5:
        wave = -wave
    S[S_WAVE] = 1.0 + P[P_RIPPLE] * wave


def line(S, P, F, bits, dt):
    """Flow in kg/s and its temperature through two shut-off valves in series; the narrower opening counts."""
    up = dt * P[P_VALVE_OPEN]
    down = dt * P[P_VALVE_SHUT]
    S[S_VALVE1] = ramp(S[S_VALVE1], up, down, (bits & 1) != 0)
    S[S_VALVE2] = ramp(S[S_VALVE2], up, down, (bits & 2) != 0)
    opening = min(max(S[S_VALVE1], F[F_LEAK1]), max(S[S_VALVE2], F[F_LEAK2]))
    if opening <= 0.0:
        return 0.0, P[P_SUPPLY_K]
    supply = P[P_SUPPLY_PA] + F[F_LINE_PA]
    k = P[P_C_LINE] * opening * P[P_K_LINE]
    return restriction(k, P[P_B_LINE], P[P_IB_LINE], supply, S[S_PM], 0.0, 0.0), P[P_SUPPLY_K]


def restriction(k, b, ib, p1, p2, up, both):
    """Flow in kg/s from p1 to p2 at the end of the step; see `rooted`."""
    return rooted(k, b, ib, sqrt(p1 * (1.0 - 2.0 * b) + p2), p1, p2, up, both)


def rooted(k, b, ib, root, p1, p2, up, both):
    """Flow in kg/s from p1 to p2 at the end of the step.

    `k` = C rho0 sqrt(T0/T1); `ib` = 1 / (1 - b); `up` and `both`: how far one kg/s kept through
    this step lowers p1, and closes the gap, in Pa. `root`: sqrt(p1 (1 - 2 b) + p2), which hardly changes in a step.
    """
    gap = p1 - p2
    if gap <= 0.0:
        return 0.0
    if p2 <= b * p1:
        return k * p1 / (1.0 + k * up)
    g = k * ib * root
    half = 0.5 * both * g
    return g * (sqrt(half * half + gap) - half)


def relief(P, controls, pm):
    """Conductance in m3/(s Pa) of the relief valve of the range in force: shut below its set pressure, wide at set plus lift."""
    gauge = pm - P[P_AMB]
    if controls & RANGE_HIGH:
        lift = (gauge - P[P_RELIEF_HIGH]) * P[P_LIFT_HIGH]
    else:
        lift = (gauge - P[P_RELIEF_LOW]) * P[P_LIFT_LOW]
    return P[P_C_RELIEF] * min(max(lift, 0.0), 1.0)


def connected(F, controls):
    """Is the chuck on the valve: as the person has it, unless a fault pulls it off or puts it on."""
    if F[F_HOSE] > 0.0:
        return F[F_HOSE] > 1.0
    return (controls & ATTACHED) != 0


def way(P, F, controls):
    """The path from hose to tyre: 0 shut, 1 check valve, 2 held open, -1 no chuck on the valve."""
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
    if P[P_LINE] == 0.0:
        c += F[F_LEAK1] * P[P_C_LINE]
    return c


def tyre_leak(S, P, F, path, controls):
    """Conductance in m3/(s Pa) from the tyre to the room: porosity, puncture, blow-off, a person's thumb, a stuck open core."""
    if F[F_BLOW] > 0.0 or S[S_PT] - P[P_AMB] > P[P_BLOW_OFF]:
        S[S_BLOWN] = 1.0
    c = P[P_C_LEAK] + F[F_PUNCTURE] + S[S_BLOWN] * P[P_C_BLOW]
    if (controls & BLEED) != 0 or (path < 0 and F[F_CORE] == 2.0):
        c += P[P_C_CORE]
    return c


def tyre_flow(S, P, F, path, pm, be, sm, dt):
    """Flow in kg/s from hose to tyre, negative when a held-open core lets it back.

    `pm`: manifold pressure without this flow; `be`: how far one kg/s lowers it.
    """
    if path <= 0:
        return 0.0
    c = P[P_C_PATH] * F[F_PATH] * RHO_ANR
    pt = S[S_PT] if path == 2 else S[S_PT] + P[P_CRACK]
    if pm > pt:
        bt = dt * S[S_STIFF] * S[S_TM]
        return rooted(c * sm, P[P_B_PATH], P[P_IB_PATH], S[S_ROOT], pm, pt, be, be + bt)
    if path == 2:
        bt = dt * S[S_STIFF] * S[S_TT]
        return -restriction(c * sqrt(T_ANR / S[S_TT]), P[P_B_PATH], P[P_IB_PATH], pt, pm, bt, be + bt)
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


def tyre_step(S, P, qt, ql, tm, dt):
    """Mass and energy of the tyre after inflow `qt` (at `tm` when positive) and leak `ql`: heat to casing and room, work on the casing."""
    tt = S[S_TT]
    tc = S[S_TC]
    p = S[S_PT]
    v = S[S_VT]
    h = P[P_UA_GAS] * dt
    share = h / (S[S_MT] * CV + h)
    grow = P[P_V0] * P[P_GROWTH]
    slope = 1.0 / (v + GAMMA * p * grow)
    curve = grow * (0.5 * (GAMMA + 1.0)) * slope
    tq = tm if qt >= 0.0 else tt
    before = p * v * (1.0 / (GAMMA - 1.0))
    gain = dt * CP * (tq * qt - tt * ql)
    m = S[S_MT] + dt * (qt - ql)
    capacity = m * CV
    heat = share * (before + gain - tc * capacity)
    gain -= heat
    dp = (GAMMA - 1.0) * gain * slope
    p += dp - dp * dp * curve
    S[S_STIFF] = GR / v  # of the volume before: it hardly changes, and the next tick need not wait for it
    v = P[P_V0] + grow * (p - P[P_AMB])
    held = p * v * (1.0 / (GAMMA - 1.0))
    S[S_PT] = p
    S[S_VT] = v
    S[S_MT] = m
    S[S_TT] = held / capacity
    S[S_PEAK] = max(S[S_PEAK], p)
    S[S_TC] = tc + (heat - dt * P[P_UA_ROOM] * (tc - P[P_ROOM_K])) * P[P_CASING]
    S[S_HEAT_J] += heat
    S[S_WORK_J] += before + gain - held
    S[S_OUT_KG] += dt * ql
    S[S_OUT_J] += dt * CP * tt * ql


def keep_roots(S, P):
    """Square roots that the next tick begins with: at the end of a tick a processor has time for them."""
    pt = S[S_PT] if P[P_PIN] > 0.0 else S[S_PT] + P[P_CRACK]
    S[S_COLD] = sqrt(T_ANR / S[S_TM])
    S[S_ROOT] = sqrt(max(S[S_PM], pt) * (1.0 - 2.0 * P[P_B_PATH]) + pt)


def air_step(S, P, F, bits, controls, dt):
    """One step of all the air. Returns the relief valve's conductance (0 when shut)."""
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
        ql = restriction(c_leak * RHO_ANR * sqrt(T_ANR / S[S_TT]), P[P_B_OUT], P[P_IB_OUT], S[S_PT], P[P_AMB], bt, bt)
    manifold_step(S, P, tm, qs, ts, qo, qt, dt)
    tyre_step(S, P, qt, ql, tm, dt)
    S[S_FLOW] = qt
    keep_roots(S, P)
    return free
