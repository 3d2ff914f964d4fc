"""Numbers shared by host and firmware. Causes are in `causes`, replies in `replies`, the words of all in `enumerations`.

A number once used keeps its meaning for ever; a new meaning gets a new number.
"""

from .compat import TYPE_CHECKING, const

if TYPE_CHECKING:
    from .shapes import Table

PROTOCOL_VERSION = const(2)
PROFILE_VERSION = const(2)
PRESET_VERSION = const(1)
SESSION_VERSION = const(1)

TICK_US = const(2000)
CALIBRATION_DUE_DAYS = const(365)  # from then on the guard band is 50 % wider
CALIBRATION_LOCK_DAYS = const(730)  # from then on the pump stays locked
EPOCH_DAY_UNIX_S = const(1577836800)  # 2020-01-01T00:00:00Z, day 0 of every stored date

# Pressure limits, Pa gauge. The inflator's own ceilings are compiled in: nothing sent over a link raises them.
RIG_LOW_CEILING_PA = const(500000)
RIG_HIGH_CEILING_PA = const(900000)
STRAIGHT_SIDE_LIMIT_PA = const(500000)
SEAT_PAUSE_MAX_PA = const(275000)
BENCH_CEILING_MAX_PA = const(1500000)

# Messages: a reply's number is the request's number + 0x40 unless it is DONE or ERROR; pushes start at 0x80.
HELLO = const(0x01)
STATUS = const(0x02)
PROFILE_PUT = const(0x03)
PROFILE_LIST = const(0x04)
PROFILE_GET = const(0x05)
PROFILE_DELETE = const(0x06)
SELECT = const(0x07)
WATCH = const(0x08)
SESSION_LIST = const(0x09)
SESSION_READ = const(0x0A)
SETTING_GET = const(0x0B)
SETTING_PUT = const(0x0C)
FAULTS = const(0x0D)
TIME = const(0x0E)
KEY_ENROL = const(0x0F)
WAITING = const(0x10)
BYE = const(0x11)
BENCH_BEAT = const(0x12)
CUTOFF = const(0x18)
SCREEN = const(0x1F)
PRESET_PUT = const(0x13)
PRESET_LIST = const(0x14)
PRESET_DELETE = const(0x15)
KEY_ASK = const(0x16)
PERSON = const(0x17)
HELLO_IS = const(0x41)
STATUS_IS = const(0x42)
PROFILE_STORED = const(0x43)
PROFILE_IS = const(0x44)
SESSION_IS = const(0x49)
SESSION_DATA = const(0x4A)
SETTING_IS = const(0x4B)
FAULT_IS = const(0x4D)
TIME_IS = const(0x4E)
KEY_IS = const(0x4F)
WAITING_IS = const(0x50)
CUTOFF_IS = const(0x58)
SCREEN_IS = const(0x5F)
PRESET_STORED = const(0x53)
PRESET_IS = const(0x54)
DONE = const(0x7E)
ERROR = const(0x7F)
LIVE = const(0x80)
TICKS = const(0x81)
HAPPENED = const(0x82)

WATCH_LIVE = const(1)
WATCH_TICKS = const(2)

# Rim classes of ISO 5775-2:2021; an unknown rim is treated as a straight-side one.
RIM_UNKNOWN = const(0)
RIM_SS = const(1)
RIM_TSS = const(2)
RIM_HB = const(3)
RIM_C = const(4)
RIM_TC = const(5)

POSITION_ANY = const(0)
POSITION_FRONT = const(1)
POSITION_REAR = const(2)

CHUCK_PIN_OPEN = const(1)
CHUCK_PRESSURE_OPEN = const(2)

LIMIT_RIM_MARKED = const(1)
LIMIT_TYRE_PRINTED = const(2)
LIMIT_STRAIGHT_SIDE = const(3)
LIMIT_CAREFUL_CAP = const(4)
LIMIT_MAKER_TABLE = const(5)
LIMIT_BUILT_IN = const(6)

FLAG_TUBELESS = const(1)
FLAG_RIDE_STATED = const(2)
FLAG_BENCH = const(4)
FLAG_SUPERSEDES = const(8)
FLAG_LIMIT_AT_FILL = const(16)
FLAGS_KNOWN = const(31)

PRESET_RIDE_STATED = const(1)
PRESET_FLAGS_KNOWN = const(1)

LABEL_BYTES = const(24)
LABEL_LETTERS = const(16)  # one line of the display
ISSUE_MAX = const(0x3FFFFFFF)
ISSUE_FAR = const(
    20000000
)  # a larger jump needs a person's consent; issue numbers follow the minutes since 2020
UNREGISTERED_CEILING_PA = const(420000)

RANGE_NONE = const(0)
RANGE_LOW = const(1)
RANGE_HIGH = const(2)
RANGE_BENCH = const(3)

OUT_GATE = const(1)
OUT_RELAY = const(2)
OUT_VENT = const(4)
OUT_LATCHED = const(8)
OUT_READY = const(16)
OUT_TESTING = const(32)
OUT_CHUCK_OFF = const(64)
STATUS_PRESSURE_OPEN = const(128)  # in `out` of STATUS_IS only; never an output of the guard

IDLE = const(0)
READY = const(1)
ASKING = const(2)
SELF_TEST = const(3)
PURGE = const(4)
MEASURING = const(5)
FILLING = const(6)
SEAT_PAUSE = const(7)
SETTLING = const(8)
PROBING = const(9)
TOPPING_UP = const(10)
BLEEDING = const(11)
LEAK_WATCH = const(12)
FILL_DONE = const(13)
STOPPED = const(14)
TRIPPED = const(15)


WAIT_NOTHING = const(0)
WAIT_BEAD = const(1)
WAIT_STOOD = const(2)
WAIT_NEW_WHEEL = const(3)
WAIT_DELETE = const(4)
WAIT_ENROL = const(5)
WAIT_RUN = const(6)
WAIT_CLEAR = const(7)
WAIT_SET = const(8)
WAIT_WHICH_WHEEL = const(9)
WAIT_PRINTED_MAXIMUM = const(10)
WAIT_APPROVAL = const(11)
WAIT_TARGET = const(12)
WAIT_LIMITS = const(13)


def number_of(table: "Table", word: str) -> int:
    """Return the number of a word in a table of `enumerations`; KeyError if there is none."""
    for row in table:
        if row[1] == word:
            return row[0]  # type: ignore[no-any-return]
    raise KeyError(word)


def word_of(table: "Table", number: int) -> str:
    """Word of a number, or `number-N` for one unknown to this version."""
    for row in table:
        if row[0] == number:
            return row[1]  # type: ignore[no-any-return]
    return "number-" + str(number)
