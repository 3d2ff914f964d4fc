"""One complete session with a person, a world and a fault, tick by tick: the firmware's kernels against the plant.

Scalar code over arrays, as the plant: it runs as plain Python and compiled, with the same bits. The state is in the arrays, so a
session can
be stopped after any tick and continued. `H` sets the acts of person and processor, `R` receives the results; see the names below.
"""

from rimward_fw.kernels import fill, guard
from rimward_fw.kernels.order import couple as tick

from rimward.simulation.coupling import (
    ABOUT_BEAD,
    AIR_BUDGET,
    CLEAR_BUTTON,
    CONFIRM_BUTTON,
    DONE,
    F_COUNT,
    F_REASON,
    F_STATE,
    G_ARMED,
    G_CAUSE,
    G_STOP,
    G_WHY,
    NO_QUESTION,
    NOT_READY,
    PRESSURE_FELL,
    STOPPED,
    TIME_BUDGET,
    X_AMBIENT,
    X_CHECK,
    X_CONN,
    X_GAP,
    X_LOAD,
    X_SLOW,
    X_SWITCHES,
    Y_CONN,
    Y_READ,
    Y_SLOW,
    drive_of,
    filling,
    question,
)
from rimward.simulation.plant.layout import (
    ATTACHED,
    DRIVE_RESET,
    HALTED,
    P_AMB,
    P_PIN,
    RANGE_HIGH,
    RUN,
    S_CORE,
    S_DRAWN,
    S_EVENT,
    S_FLOW,
    S_IN_KG,
    S_PT,
    S_SIZE,
    S_SPEED,
    W_AMBIENT_PA,
    W_SW,
    W_TICK_US,
)
from rimward.simulation.plant.sensing import random_word
from rimward.simulation.plant.step import fault_events, plant_tick

# Person, processor and true wheel, one float64 each. Times in ticks.
(
    H_HIGH,  # range key on high
    H_WARM,  # the run control is first held at this tick
    H_HOLD,  # mean time for which it is held before a release, 0: until the fill is over
    H_CONFIRM,  # time for inspecting the bead
    H_RETRY,  # retries after a stopped or tripped fill
    H_HAMMER,  # half period of hammering on the run control, 0 none
    H_KEY1,
    H_KEY2,
    H_CEIL,  # the true wheel's ceiling, Pa gauge
    H_FAULT,  # tick at which the fault begins, -1 none
    H_LAST,  # longest session
    H_TAIL,  # time by which it continues after its end
    H_HALT_AT,  # the processor (or its timer) stops from this tick on, -1 never
    H_HALT_N,  # for so many ticks
    H_HALT_EVERY,  # again after so many, 0 once
    H_HALT_UNTIL,
    H_RESET,  # 1: it is a reset; outputs fall, and a person has to select the wheel again
    H_LOAD,  # longest tick on the device, 125 us units
    # state
    H_RUN,
    H_NEXT,
    H_DRAWN,
    H_HALT_LEFT,
    H_GAP_US,
    H_CLEAR,
    H_WAIT,
    H_REARM,
    H_TRIES,
    H_DRIVE,
    H_BITS,  # outputs of the last tick
    H_BEATS,  # ticks that the processor ran
    H_UNTIL,  # no session ends before this tick
    H_AWAY_AT,  # the run control is released at this tick, -1 never
    H_AWAY_N,  # for so many ticks
    H_GRACE,  # air above the ceiling counts only so many ticks after the reading could show the tyre there, the source running, 0: all of it
    H_OVER,  # ticks since the tyre at or above its ceiling could be read: its core was open
    H_LENT,  # flow out of the tyre into the hose, kg/s summed over ticks, less what came back, since the source's last air or an act
    H_ACT,  # the schedule's place at the last tick
) = range(37)
H_SIZE = 37

# Results.
(
    R_TICKS,
    R_FIRST_ON,  # first tick with the gate on for the fill itself, -1 none
    R_LAST_OFF,  # last tick with the gate on for filling or topping up
    R_PEAK,  # highest true tyre pressure, Pa gauge
    R_PEAK_IN,  # the same while air was flowing in, 0 if none did
    R_EXCEED,  # ticks in which air flowed in at or above the true wheel's ceiling
    R_DONE,  # tick of the end, -1 none
    R_CAUSE,  # first latched cause, and when
    R_CAUSE_AT,
    R_STOP,  # first stop of the fill from the beginning of the fault on, and when
    R_STOP_AT,
    R_LAST_IN,  # last tick in which air flowed into the tyre from the source's side
    R_STATE,  # of the fill, at the end
    R_REASON,
    R_WHY,  # first budget spent or fall of pressure after the fault began (causes 4, 5, 7), and when
    R_WHY_AT,
    R_IN_KG,  # air counted for the source after the fault began, kg
    R_CUT_AT,  # independent cutoff first open
    R_PEAK_READ,
    R_STARTED,  # plant state was copied
    R_ASKED,  # ticks in which the bead question waited
    R_OTHER,  # number of ticks in which other questions waited
    R_OWN,  # ticks in which the hose gave the tyre its own air back at or above its ceiling, no source having run since it came
) = range(23)
R_START = 23  # plant state as the fill begins
R_SIZE = R_START + S_SIZE

guard_step = guard.step
guard_boot = guard.boot
fill_step = fill.step

EXACT = 1e-9  # kg/s: remaining flow between two volumes at equal pressure


def drawn(H):
    """Next random number of the person, 0..1."""
    H[H_DRAWN] += 1.0
    return random_word(int(H[H_KEY1]), int(H[H_KEY2]), int(H[H_DRAWN])) / 4294967296.0


def held(H):
    """Duration of this hold of the run control."""
    if H[H_HOLD] == 0.0:
        return 1e9
    return 2.0 + 2.0 * H[H_HOLD] * drawn(H)


def refused(g, H):
    """1 while the guard waits for the run control to be released, or a budget is spent: the display says so."""
    why = g[G_WHY]
    return H[H_RUN] > 0.0 and (
        why == TIME_BUDGET
        or why == AIR_BUDGET
        or (g[G_STOP] == PRESSURE_FELL and why == NOT_READY and g[G_ARMED] == 0)
    )


def person(g, f, H, n):
    """Bits of the switch word set by the person, and whether the run control is held (H_RUN)."""
    bits = 0
    if n == H[H_AWAY_AT]:
        H[H_WAIT] = H[H_AWAY_N]
    if n < H[H_WARM]:
        H[H_RUN] = 0.0
    elif H[H_HAMMER] > 0.0:
        H[H_RUN] = 1.0 if int((n - H[H_WARM]) / H[H_HAMMER]) & 1 == 0 else 0.0
    elif H[H_WAIT] > 0.0:  # releases, clears, waits, tries again
        H[H_RUN] = 0.0
        H[H_WAIT] -= 1.0
        if H[H_WAIT] == 100.0 and g[G_CAUSE] != 0:
            H[H_CLEAR] = 20.0
        if H[H_WAIT] == 0.0:
            H[H_RUN] = 1.0
            H[H_NEXT] = n + held(H)
    elif n >= H[H_NEXT]:
        if H[H_RUN] > 0.0:
            H[H_RUN] = 0.0
            H[H_NEXT] = n + 20.0 + drawn(H) * 500.0
        else:
            H[H_RUN] = 1.0
            H[H_NEXT] = n + held(H)
    if H[H_CLEAR] > 0.0:
        H[H_CLEAR] -= 1.0
        bits = CLEAR_BUTTON
    if question(f) != NO_QUESTION and f[F_COUNT] >= H[H_CONFIRM]:
        bits |= CONFIRM_BUTTON
    if (
        H[H_HAMMER] == 0.0
        and H[H_WAIT] == 0.0
        and H[H_TRIES] < H[H_RETRY]
        and n > H[H_WARM]
        and (g[G_CAUSE] != 0 or f[F_STATE] == STOPPED or refused(g, H))
    ):
        H[H_TRIES] += 1.0
        H[H_WAIT] = 250.0
    return bits


def standing_still(H, n):
    """1 while the processor does not run its tick."""
    if H[H_HALT_LEFT] > 0.0:
        H[H_HALT_LEFT] -= 1.0
        return 1
    if H[H_HALT_AT] < 0.0 or n < H[H_HALT_AT]:
        return 0
    if H[H_HALT_EVERY] > 0.0 and n < H[H_HALT_UNTIL]:
        H[H_HALT_AT] = n + H[H_HALT_N] + H[H_HALT_EVERY]
    else:
        H[H_HALT_AT] = -1.0
    H[H_HALT_LEFT] = H[H_HALT_N] - 1.0
    return 1


def reset(g, x, f, y, H):
    """Memory after a reset: no wheel, nothing known; a person will select it again. H keeps the slow words."""
    for i in range(len(f)):
        f[i] = 0
    for i in range(len(y)):
        y[i] = 0
    for i in range(X_SLOW, len(x)):
        x[i] = 0
    guard_boot(g)
    H[H_RESET] = 2.0
    H[H_REARM] = 1500.0


def chosen_again(x, y, H, xs, ys):
    """Begin a new connection to the same wheel, its words as the main loop would write them again."""
    H[H_RESET] = 3.0
    for i in range(len(xs)):
        x[X_SLOW + i] = xs[i]
    for i in range(len(ys)):
        y[Y_SLOW + i] = ys[i]
    x[X_CONN] += 1
    x[X_CHECK] -= 1
    y[Y_CONN] += 1


def over_for(s, p, H, pt):
    """Ticks since the tyre, at `pt`, could be read as at or above its ceiling. Behind a closed core no reading shows it."""
    if pt < H[H_CEIL]:
        return 0.0
    readable = s[S_CORE] > 0.0 or p[P_PIN] > 0.0
    return H[H_OVER] + 1.0 if readable or H[H_OVER] > 0.0 else 0.0


def own_air(s, H):
    """1 where this tick's flow into the tyre is no more than the tyre itself gave to the hose since any source last ran. A chuck that
    is moved, or any other act, ends that account."""
    if s[S_SPEED] > 0.0 or s[S_DRAWN] > 0.0 or s[S_EVENT] != H[H_ACT]:
        H[H_LENT] = 0.0
    H[H_ACT] = s[S_EVENT]
    H[H_LENT] -= s[S_FLOW]
    if H[H_LENT] >= 0.0:
        return 1
    H[H_LENT] = 0.0
    return 0


def inflow(s, H, R, pt, n):
    """Count this tick's flow into the tyre, at `pt`: over the ceiling by a source, by its own air, or not over."""
    own = own_air(s, H)
    if s[S_FLOW] <= EXACT:
        return
    if own != 0:
        if pt >= H[H_CEIL]:
            R[R_OWN] += 1.0
        return
    R[R_LAST_IN] = n
    late = H[H_OVER] > H[H_GRACE] and (s[S_SPEED] > 0.0 or s[S_DRAWN] > 0.0)
    if H[H_GRACE] == 0.0 or H[H_OVER] == 0.0 or late:
        R[R_PEAK_IN] = max(R[R_PEAK_IN], pt)
        if pt >= H[H_CEIL]:
            R[R_EXCEED] += 1.0


def measure(s, p, g, f, y, w, H, R, bits, n):
    """Update the results of this tick."""
    pt = s[S_PT] - p[P_AMB]
    H[H_OVER] = over_for(s, p, H, pt)
    inflow(s, H, R, pt, n)
    R[R_PEAK] = max(R[R_PEAK], pt)
    asked = question(f)
    if asked == ABOUT_BEAD:
        R[R_ASKED] += 1.0
    elif asked != NO_QUESTION:
        R[R_OTHER] += 1.0
    if bits & 1 != 0 and filling(f):
        if R[R_STARTED] == 0.0:
            R[R_STARTED] = 1.0
            R[R_FIRST_ON] = n
            for k in range(S_SIZE):
                R[R_START + k] = s[k]
        R[R_LAST_OFF] = n
    R[R_PEAK_READ] = max(R[R_PEAK_READ], float(y[Y_READ]))
    if R[R_CAUSE] == 0.0 and g[G_CAUSE] != 0:
        R[R_CAUSE] = g[G_CAUSE]
        R[R_CAUSE_AT] = n
        R[R_IN_KG] = s[S_IN_KG]
    if n >= H[H_FAULT]:
        if R[R_STOP] == 0.0 and f[F_STATE] == STOPPED:
            R[R_STOP] = f[F_REASON]
            R[R_STOP_AT] = n
        why = g[G_WHY]
        if R[R_WHY] == 0.0 and (why == TIME_BUDGET or why == AIR_BUDGET or why == PRESSURE_FELL):
            R[R_WHY] = why
            R[R_WHY_AT] = n
    if R[R_CUT_AT] < 0.0 and w[W_SW] & 8 != 0:
        R[R_CUT_AT] = n


def ended(g, f, H, R, n):
    """1 when the session is over."""
    over = (
        f[F_STATE] == DONE
        or (f[F_STATE] == STOPPED or g[G_CAUSE] != 0 or refused(g, H))
        and H[H_TRIES] >= H[H_RETRY]
        and H[H_WAIT] == 0.0
    )
    if R[R_DONE] < 0.0:
        if over and n >= H[H_FAULT] and n >= H[H_UNTIL]:
            R[R_DONE] = n
        return 0
    return 1 if n >= R[R_DONE] + H[H_TAIL] else 0


def next_event(s, E):
    """Tick at which the next fault field is set; beyond every session where none is left."""
    i = int(s[S_EVENT])
    return E[i][0] if i < len(E) else 1e9


def session(g, x, f, y, s, p, F, w, E, H, R, xs, ys, first, ticks):
    """Run up to `ticks` ticks from tick `first` on. Return the next tick's number; the session is over when it is less than first +
    ticks.

    g, x, f, y: the kernels' words; s, p, F, w, E: plant state, parameters, faults, words, fault schedule; xs, ys: slow words of arming.
    """
    end = first + ticks
    last = min(end, int(H[H_LAST]))
    high = RANGE_HIGH | ATTACHED if H[H_HIGH] > 0.0 else ATTACHED
    load = int(H[H_LOAD])
    due = next_event(s, E)
    for n in range(first, last):
        if n >= due:
            fault_events(s, F, E, n)
            due = next_event(s, E)
        asks = person(g, f, H, n)
        controls = high | RUN if H[H_RUN] > 0.0 else high
        still = standing_still(H, n)
        if still != 0:
            controls |= HALTED
            if H[H_RESET] > 0.0:
                H[H_DRIVE] = DRIVE_RESET
        plant_tick(s, p, F, int(H[H_DRIVE]), controls, x, w)
        bits = 0
        if still != 0:
            H[H_GAP_US] += w[W_TICK_US]
            if H[H_RESET] == 1.0:
                reset(g, x, f, y, H)
        else:
            if H[H_REARM] > 0.0:
                H[H_REARM] -= 1.0
                if H[H_REARM] == 1000.0:
                    H[H_WAIT] = 950.0  # releases, selects the wheel, holds again
                if H[H_REARM] == 500.0:
                    chosen_again(x, y, H, xs, ys)
            if n % 50 == 0 and (abs(w[W_AMBIENT_PA] - x[X_AMBIENT]) >= 20 or w[W_AMBIENT_PA] == 0):
                x[X_AMBIENT] = w[W_AMBIENT_PA]
            gap = int(H[H_GAP_US]) + w[W_TICK_US]
            H[H_GAP_US] = 0.0
            x[X_SWITCHES] = w[W_SW] | asks
            x[X_LOAD] = 2 + (random_word(int(H[H_KEY2]), int(H[H_KEY1]), n) * load >> 32)
            x[X_GAP] = min(255, (gap + 62) // 125)
            bits = tick(guard_step, fill_step, g, x, f, y)
            H[H_BITS] = bits
            H[H_BEATS] += 1.0
            H[H_DRIVE] = drive_of(bits)
        measure(s, p, g, f, y, w, H, R, bits, n)
        if ended(g, f, H, R, n) != 0:
            R[R_TICKS] = n + 1
            return n
    R[R_TICKS] = max(R[R_TICKS], float(last))
    return last
