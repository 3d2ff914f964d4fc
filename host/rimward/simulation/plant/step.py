"""One tick of the simulated world."""

from rimward.simulation.plant.actuators import electrics
from rimward.simulation.plant.air import air_step
from rimward.simulation.plant.layout import (
    AIR_IN,
    BLOWN,
    CONTACT_SHUT,
    CUTOFF_OPEN,
    F_SLIP_S,
    GATE_SHUT,
    P_DT,
    P_JITTER,
    RELIEF_OPEN,
    S_BLOWN,
    S_COUNT,
    S_DT,
    S_EVENT,
    S_FLOW,
    S_KEY1,
    S_KEY2,
    S_SPEED,
    S_VENT,
    VENT_OPEN,
    W_TICK_US,
)
from rimward.simulation.plant.sensing import bell, random_word, sense
from rimward.simulation.plant.source import turn_on


def true_state(S, bits, free):
    """Bits for the test harness that a board never sees."""
    state = CONTACT_SHUT if bits & 2 else 0
    if bits & 1:
        state |= GATE_SHUT
    if bits & 4:
        state |= CUTOFF_OPEN
    if S[S_FLOW] > 0.0:
        state |= AIR_IN
    if S[S_VENT] > 0.0:
        state |= VENT_OPEN
    if free > 0.0:
        state |= RELIEF_OPEN
    if S[S_BLOWN] > 0.0:
        state |= BLOWN
    return state


def next_tick(S, P):
    """Compute the facts of the next tick known before it begins: its length, and the ripple of the source. A processor has time for it
    here.
    """
    dt = P[P_DT]
    if P[P_JITTER] > 0.0:
        dt += P[P_JITTER] * bell(
            random_word(int(S[S_KEY2]), int(S[S_KEY1]) ^ 0x5BD1E995, int(S[S_COUNT]))
        )
    S[S_DT] = dt
    if S[S_SPEED] > 0.0:
        turn_on(S, P, dt)


def plant_tick(S, P, F, drive, controls, x, w):
    """Advance one tick (normally 2 ms) and write the words read by the board. Return the true state as bits, for the test harness only.

    `drive`: the board's outputs GATE 1 (pulses present), RELAY 2, VENT 4; `controls`: person and world, see `layout`.
    `x` int32 receives A, B and supply at 0, 1, 5; `w` int32 barometer, air temperature, switches and the tick's length in us.
    """
    dt = max(S[S_DT] + F[F_SLIP_S], 0.25 * P[P_DT])
    bits = electrics(S, P, F, drive, controls, dt)
    free = air_step(S, P, F, bits, controls, dt)
    sense(S, P, F, controls, bits & 4, x, w)
    w[W_TICK_US] = int(dt * 1e6 + 0.5)
    S[S_COUNT] += 1.0
    next_tick(S, P)
    return true_state(S, bits, free)


def fault_events(S, F, E, tick):
    """Set the fault fields due at `tick`. `E`: rows of (tick, field, value), sorted by tick; S keeps the next row."""
    i = int(S[S_EVENT])
    while i < len(E) and E[i][0] <= tick:
        F[int(E[i][1])] = E[i][2]
        i += 1
    S[S_EVENT] = float(i)
