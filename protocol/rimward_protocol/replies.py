"""Codes of DONE and ERROR replies and of the profile check: number, word, what happened, what to do."""

from .compat import ON_MICROPYTHON, const

if not ON_MICROPYTHON:
    from .answers import REPLIES
else:
    from .refusals import REFUSALS as REPLIES  # type: ignore[assignment]

OK = const(0)
WAITING_FOR_PERSON = const(1)

UNKNOWN_MESSAGE = const(16)
BAD_LENGTH = const(17)
VERSION_DIFFERS = const(18)
HELLO_FIRST = const(20)
BUSY_FILLING = const(21)
OTHER_HOST = const(22)
BAD_VALUE = const(23)
NOT_A_BENCH = const(24)

STORE_FULL = const(32)
STORE_DAMAGED = const(33)
NOT_FOUND = const(34)
READ_BACK_DIFFERS = const(35)
TAG_WRONG = const(37)
NO_KEY = const(38)
SLOWED_DOWN = const(40)
TARGET_ABOVE_STOP = const(43)
ISSUE_NOT_NEWER = const(45)
ENTRY_OFF = const(46)
PERSON_BUSY = const(47)
DECLINED = const(48)

PROFILE_SIZE = const(64)
PROFILE_MAGIC = const(65)
PROFILE_VERSION_DIFFERS = const(66)
PROFILE_CHECK = const(67)
PROFILE_FLAGS = const(68)
PROFILE_WHEEL_ID = const(69)
PROFILE_REVISION = const(70)
PROFILE_LABEL = const(71)
PROFILE_RIM_CLASS = const(72)
PROFILE_POSITION = const(73)
PROFILE_CHUCK = const(74)
PROFILE_LIMIT_SOURCE = const(75)
PROFILE_SIZE_RANGE = const(76)
PROFILE_VOLUME = const(77)
PROFILE_LIMIT = const(78)
PROFILE_CEILING_ABOVE_LIMIT = const(79)
PROFILE_CEILING_ABOVE_RIG = const(80)
PROFILE_STRAIGHT_SIDE = const(81)
PROFILE_CEILING_LOW = const(82)
PROFILE_TARGET = const(83)
PROFILE_SEAT_PAUSE = const(84)
PROFILE_AMBIENT = const(85)
PROFILE_TEMPERATURE = const(86)
PROFILE_TIME_BUDGET = const(87)
PROFILE_BENCH = const(88)
PROFILE_NOT_BENCH = const(89)
PROFILE_ISSUE = const(90)
PRESET_RECORD = const(92)
PRESET_WHEELS = const(93)
PRESET_VALUE = const(94)

SETTING_UNKNOWN = const(96)
SETTING_VALUE = const(97)
SETTING_LOCKED = const(98)
SESSION_UNKNOWN = const(104)
SESSION_PAST_END = const(105)


def row_of(code: int) -> tuple[int, str, str, str]:
    """Return (number, word, what happened, what to do), also for an unknown number."""
    for row in REPLIES:
        if row[0] == code:
            return row
    return (
        code,
        "reply-" + str(code),
        "the inflator refused with a code that this version does not know",
        "update the host",
    )
