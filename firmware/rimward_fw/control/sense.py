"""Value checks of settings: length and plausible range. A calibration that no transducer can have is refused."""

import struct

from rimward_protocol import replies
from rimward_protocol.layout import setting_row
from rimward_protocol.profile import label_ok

(
    CALIBRATION_A,
    CALIBRATION_B,
    GUARD_BAND,
    BAROMETER,
    SOURCE,
    AIR,
    NAME,
    BUZZER,
    UNIT,
    ENTRY,
    BRING_UP,
    BASELINE,
    DAILY_TEST,
) = 1, 2, 3, 4, 5, 6, 7, 8, 9, 12, 20, 21, 22

DAYS_MAX = 36_525  # a century from 2020
_SWITCH = ((0, 1),)
_CALIBRATION = (
    (62_260, 68_812),
    (-50_000, 50_000),
    (1, DAYS_MAX),
    (0, 50_000),
    (0, 65_535),
)  # gain within 5 %, offset within half a bar

# setting -> (lowest, highest) of each of its numbers
RANGES = {
    CALIBRATION_A: _CALIBRATION,
    CALIBRATION_B: _CALIBRATION,
    GUARD_BAND: ((1_000, 100_000), (0, DAYS_MAX)),
    BAROMETER: ((-5_000, 5_000),),
    SOURCE: ((0, 1), (0, 60_000), (0, 1_000_000)),
    AIR: ((-1_000, 1_000),),
    BUZZER: _SWITCH,
    UNIT: _SWITCH,
    ENTRY: _SWITCH,
    BRING_UP: ((0, 2), (0, DAYS_MAX)),
    BASELINE: ((0, 65_535),),
    DAILY_TEST: ((0, 255), (0, DAYS_MAX), (-1, 2_000_000), (0, 65_535)),
}
DELIVERY_MIN_ML_MIN = 10_000  # our choice: the guard relies on the stated delivery, so neither bound may be far from a real source
SUPPLY_MIN_PA = 400_000


def sense(number: int, value: bytes) -> int:
    """Return OK, or the reply code for which a setting may not have these bytes."""
    row = setting_row(number)
    if row is None:
        return replies.SETTING_UNKNOWN
    if len(value) != struct.calcsize(row[0]):
        return replies.SETTING_VALUE
    if number == NAME:
        return (
            replies.OK
            if value == bytes(len(value)) or label_ok(value, 0, len(value))
            else replies.SETTING_VALUE
        )
    numbers = struct.unpack(row[0], value)
    for held, (low, high) in zip(numbers, RANGES[number]):
        if not low <= held <= high:
            return replies.SETTING_VALUE
    if number == SOURCE and (
        0 < numbers[1] < DELIVERY_MIN_ML_MIN or 0 < numbers[2] < SUPPLY_MIN_PA
    ):
        return replies.SETTING_VALUE
    return replies.OK
