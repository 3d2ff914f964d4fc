"""Air sources in one tick: piston compressor with battery and warming head, workshop line with two valves. Scalar code over `layout`."""

from rimward.simulation.plant.actuators import ramp
from rimward.simulation.plant.flow import restriction
from rimward.simulation.plant.gas import CP
from rimward.simulation.plant.layout import (
    F_COIL,
    F_LEAK1,
    F_LEAK2,
    F_LINE_PA,
    F_RUN_ON,
    F_SUPPLY,
    P_B_LINE,
    P_C_LINE,
    P_COAST,
    P_DROOP,
    P_FAD_KGS,
    P_HEAD_BACK,
    P_HEAD_C,
    P_HEAD_IN,
    P_HEAD_RATE,
    P_HZ,
    P_IB_LINE,
    P_K_LINE,
    P_MAIN_K,
    P_PULL_IN,
    P_RATIO,
    P_RELEASE,
    P_RIPPLE,
    P_ROOM_K,
    P_SAG,
    P_SAG_RATE,
    P_SUPPLY_K,
    P_SUPPLY_PA,
    P_TABLE,
    P_TABLE_T,
    P_UP,
    P_VALVE_OPEN,
    P_VALVE_SHUT,
    S_DRAWN,
    S_HEAD,
    S_MAGNET1,
    S_MAGNET2,
    S_MAIN,
    S_PHASE,
    S_PM,
    S_PULLED1,
    S_PULLED2,
    S_SAG,
    S_SPEED,
    S_VALVE1,
    S_VALVE2,
    S_WAVE,
    TABLE_N,
)


def head(S, P, qs, rise, dt):
    """Temperature rise of the delivered air by the head, K; the head keeps its share of the compression heat and loses it to the room.

    `rise`: temperature of the delivered air over the room with a cold head, K.
    """
    warm = S[S_HEAD] - P[P_ROOM_K]
    back = P[P_HEAD_BACK] * warm
    S[S_HEAD] += dt * (CP * qs * (P[P_HEAD_IN] * rise - back) * P[P_HEAD_C] - P[P_HEAD_RATE] * warm)
    return back


def compressor(S, P, F, on, dt):
    """Delivery in kg/s and its temperature in K, from the tables of volumetric efficiency and delivery temperature."""
    if on:
        S[S_SAG] += dt * P[P_SAG_RATE] * (P[P_SAG] - S[S_SAG])
        S[S_SPEED] += dt * P[P_UP] * (1.0 - S[S_SAG] - S[S_SPEED])
    else:
        S[S_SAG] -= dt * P[P_SAG_RATE] * S[S_SAG]
        rate = P[P_COAST]
        if F[F_RUN_ON] > 0.0:
            rate = rate / (1.0 + F[F_RUN_ON] * rate)
        S[S_SPEED] -= dt * rate
    if S[S_SPEED] <= 0.0:
        S[S_SPEED] = 0.0
        return 0.0, P[P_ROOM_K] + head(S, P, 0.0, 0.0, dt)
    x = S[S_PM] * P[P_RATIO]
    x = min(x, TABLE_N - 1.001)
    i = int(x)
    part = x - i
    j = P_TABLE + i
    eta = P[j] + part * (P[j + 1] - P[j])
    j = P_TABLE_T + i
    warm = P[j] + part * (P[j + 1] - P[j])
    qs = P[P_FAD_KGS] * F[F_SUPPLY] * S[S_WAVE] * eta * S[S_SPEED]
    return qs, warm + head(S, P, qs, warm - P[P_ROOM_K], dt)


def turn_on(S, P, dt):
    """Ripple of the piston in the next tick of `dt`, taken at its middle, and the crank's position after it."""
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


def pulled(magnet, before):
    """1 while a valve's armature is opening: from full magnetisation until the coil has lost all of it."""
    if magnet >= 1.0:
        return 1.0
    return 0.0 if magnet <= 0.0 else before


def line(S, P, F, bits, dt):
    """Flow in kg/s and its temperature through two shut-off valves in series; the narrower opening counts."""
    pull = dt * P[P_PULL_IN]
    rate = P[P_RELEASE]
    if F[F_COIL] > 0.0:
        rate = rate / (1.0 + F[F_COIL] * rate)
    release = dt * rate
    S[S_MAGNET1] = ramp(S[S_MAGNET1], pull, release, (bits & 1) != 0)
    S[S_MAGNET2] = ramp(S[S_MAGNET2], pull, release, (bits & 2) != 0)
    S[S_PULLED1] = pulled(S[S_MAGNET1], S[S_PULLED1])
    S[S_PULLED2] = pulled(S[S_MAGNET2], S[S_PULLED2])
    up = dt * P[P_VALVE_OPEN]
    down = dt * P[P_VALVE_SHUT]
    S[S_VALVE1] = ramp(S[S_VALVE1], up, down, S[S_PULLED1] > 0.0)
    S[S_VALVE2] = ramp(S[S_VALVE2], up, down, S[S_PULLED2] > 0.0)
    S[S_MAIN] += P[P_MAIN_K] * (P[P_SUPPLY_PA] + F[F_LINE_PA] - P[P_DROOP] * S[S_DRAWN] - S[S_MAIN])
    opening = min(max(S[S_VALVE1], F[F_LEAK1]), max(S[S_VALVE2], F[F_LEAK2]))
    S[S_DRAWN] = 0.0
    if opening > 0.0:
        k = P[P_C_LINE] * opening * P[P_K_LINE]
        S[S_DRAWN] = restriction(k, P[P_B_LINE], P[P_IB_LINE], S[S_MAIN], S[S_PM], 0.0, 0.0)
    return S[S_DRAWN], P[P_SUPPLY_K]
