"""Causes of stops: number, word, likely reason and next step, the same on display, log and host.

Numbers 1-15 do not latch: holding the run control again continues. 16-47 latch until the person has read and cleared them with the tyre
off the hose. 48 and up belong to the fill controller and to arming: no fill continues until the reason is removed.
"""

from .compat import const
from .reasons import row_of as _row_of

NONE = const(0)
RELEASED = const(1)
STOP_READING = const(2)
TARGET_REACHED = const(3)
TIME_BUDGET = const(4)
AIR_BUDGET = const(5)
NO_PROFILE = const(6)
HOSE_OR_TYRE = const(7)
RANGE_KEY_REFUSES = const(8)
NOT_READY = const(9)
SENSOR_A_RANGE = const(16)
SENSOR_B_RANGE = const(17)
SENSORS_DISAGREE = const(18)
SENSOR_A_FROZEN = const(19)
SENSOR_B_FROZEN = const(20)
NOT_RISING = const(21)
RISING_WHILE_OFF = const(22)
OVER_PRESSURE = const(23)
TICK_LONG = const(24)
TICK_LATE = const(25)
SENSOR_SUPPLY = const(26)
RANGE_KEY_CONTACTS = const(27)
GATE_ELEMENT_STUCK = const(28)
RELAY_STUCK = const(29)
INDEPENDENT_CUTOFF = const(30)
BAROMETER = const(31)
MEMORY = const(32)
LIMITS_DAMAGED = const(33)
WRONG_VOLUME = const(48)
ABOVE_TARGET = const(49)
LEAKING = const(50)
NO_TYRE = const(51)
NOT_SETTLING = const(52)
BEAD_NOT_CONFIRMED = const(53)
TARGET_ABOVE_STOP = const(54)
INSTRUMENT_OVERDUE = const(55)
CARTRIDGE_FIRST_MEASURE = const(56)
CUTOFF_SENSOR_APART = const(57)
CUTOFF_FIGURES = const(58)
CUTOFF_UNREAD = const(59)
CUTOFF_TEST_FAILED = const(60)
VENT_SLOW = const(61)
NOT_COMMISSIONED = const(62)
BEAT_LOST = const(63)
ZERO_LOW = const(64)
NOT_SEEN = const(65)

FIRST_LATCHED = const(16)
LAST_LATCHED = const(47)


def is_latched(cause: int) -> bool:
    """Return True for a cause that stays until a person clears it."""
    return FIRST_LATCHED <= cause <= LAST_LATCHED


def row_of(cause: int) -> tuple[int, str, str, str]:
    """Return (number, word, likely reason, next step), also for an unknown number."""
    row = _row_of(cause)
    if row:
        return row
    return (
        cause,
        "cause-" + str(cause),
        "a cause this version does not know",
        "update the side with the older version",
    )
