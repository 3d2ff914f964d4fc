"""Parts that work without the processor: pulse gate, relay, vent, independent cutoff. Scalar code over the arrays of `layout`."""

from rimward.simulation.plant.layout import (
    F_GATE_ON,
    F_RELAY_ON,
    F_SUPPLY,
    GATE,
    HALTED,
    P_AMB,
    P_COIL_OFF,
    P_COIL_ON,
    P_CUT_HIGH,
    P_CUT_K,
    P_CUT_LOW,
    P_DROP,
    P_GATE_S,
    P_VENT_RATE,
    RANGE_HIGH,
    RELAY,
    RUN,
    S_COIL,
    S_CONTACT,
    S_CUT,
    S_CUT_PA,
    S_GATE_S,
    S_PM,
    S_VENT,
    UNPOWERED,
    VENT,
)


def ramp(x, up, down, open_):
    """Position 0..1 moved one step towards open or closed."""
    if open_:
        x += up
        return min(x, 1.0)
    x -= down
    return max(x, 0.0)


def cutoff(S, P, controls, powered):
    """Independent cutoff: own sensor, vented gauge, set by the range key; 1 once it has opened, until its supply is interrupted."""
    S[S_CUT_PA] += P[P_CUT_K] * (S[S_PM] - S[S_CUT_PA])
    gauge = S[S_CUT_PA] - P[P_AMB]
    trip = P[P_CUT_HIGH] if controls & RANGE_HIGH else P[P_CUT_LOW]
    if not powered:
        S[S_CUT] = 0.0
    elif gauge >= trip:
        S[S_CUT] = 1.0
    return S[S_CUT]


def electrics(S, P, F, drive, controls, dt):
    """Pulse gate, relay and vent. Return 1 when the gate conducts + 2 when the contact is closed + 4 when the cutoff has opened."""
    powered = F[F_SUPPLY] > P[P_DROP] and (controls & UNPOWERED) == 0
    cut = cutoff(S, P, controls, powered) > 0.0
    if powered and (drive & GATE) != 0 and (controls & HALTED) == 0:
        S[S_GATE_S] = P[P_GATE_S]
    elif S[S_GATE_S] > 0.0:
        S[S_GATE_S] -= dt
    coil = powered and not cut and (drive & RELAY) != 0 and (controls & RUN) != 0
    S[S_COIL] = ramp(S[S_COIL], dt * P[P_COIL_ON], dt * P[P_COIL_OFF], coil)
    if S[S_COIL] >= 1.0:
        S[S_CONTACT] = 1.0
    elif S[S_COIL] <= 0.0:
        S[S_CONTACT] = 0.0
    vent_open = not powered or cut or (drive & VENT) != 0
    S[S_VENT] = ramp(S[S_VENT], dt * P[P_VENT_RATE], dt * P[P_VENT_RATE], vent_open)
    bits = 4 if cut else 0
    if (S[S_GATE_S] > 0.0 and powered) or F[F_GATE_ON] > 0.0:
        bits |= 1
    if S[S_CONTACT] > 0.0 or F[F_RELAY_ON] > 0.0:
        bits |= 2
    return bits
