"""Kernel words used by simulations: every index and number of the guard and the fill controller, in one place.

Constants only, so that compiled loops can use them. When a kernel's words move, only this file of the simulation changes;
tests/unit/test_coupling.py compares it with the protocol's tables.
"""

# guard state
G_CAUSE = 0  # latched cause
G_STOP = 2  # cause of the last stop
G_WHY = 3  # inhibit cause
G_ARMED = 38

# guard input
X_SWITCHES = 2
X_LOAD = 3
X_GAP = 4
X_AMBIENT = 6
X_SLOW = 6  # first word that arming writes
X_CEILING = 7
X_BAND = 8
X_CONN = 14
X_CHECK = 15

# fill controller state
F_STATE = 0
F_REASON = 1
F_COUNT = 5  # ticks in this state

# fill controller input
Y_READ = 0
Y_SLOW = 6  # first word that arming writes
Y_TARGET = 7  # the same within arming's list: Y_TARGET - Y_SLOW
Y_CONN = 18

# states of the fill controller
FILLING = 6
BEAD_QUESTION = 7
VOLUME_QUESTION = 2
TOPPING_UP = 10
DONE = 13
STOPPED = 14
TRIPPED = 15

# bits of the switch word beyond the hardware's
CLEAR_BUTTON = 32
CONFIRM_BUTTON = 64

# causes that do not latch: released, time and air budget, fall of pressure, not ready
RELEASED = 1
TIME_BUDGET = 4
AIR_BUDGET = 5
PRESSURE_FELL = 7
NOT_READY = 9

# questions for the person
NO_QUESTION, ABOUT_BEAD, OTHER_QUESTION = 0, 1, 2


def drive_of(bits):
    """Return the board's outputs GATE 1, RELAY 2, VENT 4 from a tick's result; the fill controller's vent is included."""
    return bits & 7 | (bits >> 9 & 1) << 2


def question(f):
    """Question of the fill controller for the person, now."""
    if f[F_STATE] == VOLUME_QUESTION:
        return OTHER_QUESTION
    return ABOUT_BEAD if f[F_STATE] == BEAD_QUESTION else NO_QUESTION


def filling(f):
    """1 while air goes in for the fill itself, not for tests and probes."""
    return f[F_STATE] == FILLING or f[F_STATE] == TOPPING_UP
