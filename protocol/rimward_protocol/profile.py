"""Profile check: any bytes in, a reply code out, no exception. Used by firmware and host."""

import struct

from . import codes, replies
from .compat import TYPE_CHECKING, crc32, utf8_ok
from .layout import PROFILE, PROFILE_MAGIC, fields, offset, size, struct_format
from .mac import same, tag16

if TYPE_CHECKING:
    from typing import Any

    from .shapes import Buffer

PROFILE_BYTES = size(PROFILE)
CRC_AT = offset(PROFILE, "crc")
TAG_AT = offset(PROFILE, "tag")
LABEL_AT = offset(PROFILE, "label")
LABEL_BYTES = codes.LABEL_BYTES
FORMAT = struct_format(PROFILE)

CEILING_MIN_PA = 30000
TARGET_MIN_PA = 20000
LIMIT_MAX_PA = 2000000


_names = [row[0] for row in fields(PROFILE)]


def _i(name: str, names: list[str] = _names) -> int:
    return names.index(name)


# field, lowest, highest, code if outside
BOUNDS = (
    (_i("revision"), 1, 0x3FFFFFFF, replies.PROFILE_REVISION),
    (_i("issue"), 1, codes.ISSUE_MAX, replies.PROFILE_ISSUE),
    (_i("rim_class"), 0, 5, replies.PROFILE_RIM_CLASS),
    (_i("position"), 0, 2, replies.PROFILE_POSITION),
    (_i("chuck"), 1, 2, replies.PROFILE_CHUCK),
    (_i("limit_source"), 1, 6, replies.PROFILE_LIMIT_SOURCE),
    (_i("flags"), 0, codes.FLAGS_KNOWN, replies.PROFILE_FLAGS),
    (_i("tyre_width_dmm"), 100, 1300, replies.PROFILE_SIZE_RANGE),
    (_i("bead_seat_mm"), 100, 700, replies.PROFILE_SIZE_RANGE),
    (_i("volume_low_ml"), 50, 60000, replies.PROFILE_VOLUME),
    (_i("volume_ml"), 50, 60000, replies.PROFILE_VOLUME),
    (_i("limit_pa"), CEILING_MIN_PA, LIMIT_MAX_PA, replies.PROFILE_LIMIT),
    (_i("ceiling_pa"), CEILING_MIN_PA, 0x3FFFFFFF, replies.PROFILE_CEILING_LOW),
    (_i("seat_pause_pa"), TARGET_MIN_PA, codes.SEAT_PAUSE_MAX_PA, replies.PROFILE_SEAT_PAUSE),
    (_i("ambient_min_pa"), 30000, 110000, replies.PROFILE_AMBIENT),
    (_i("temp_max_ck"), 23315, 39315, replies.PROFILE_TEMPERATURE),
    (_i("ref_temp_ck"), 23315, 33315, replies.PROFILE_TEMPERATURE),
    (_i("time_budget_s"), 10, 1800, replies.PROFILE_TIME_BUDGET),
)
_WHEEL = _i("wheel_id")
_RIM = _i("rim_class")
_RIM_WIDTH = _i("rim_width_dmm")
_FLAGS = _i("flags")
_LOW = _i("volume_low_ml")
_NOMINAL = _i("volume_ml")
_LIMIT = _i("limit_pa")
_CEILING = _i("ceiling_pa")
_TARGET = _i("target_pa")
_PAUSE = _i("seat_pause_pa")
del _names, _i


def check_profile(buf: "Buffer", bench: bool = False) -> int:
    """Return OK, or the first code of `replies` for which these bytes are not a usable profile.

    `bench`: True on a proof bench, which accepts bench profiles only. The tag is not checked.
    """
    code = _check_envelope(buf)
    if code:
        return code
    values = struct.unpack_from(FORMAT, buf, 0)
    for field, low, high, code in BOUNDS:
        if not low <= values[field] <= high:
            return code
    return _check_names(buf, values) or _check_pressures(values, bench)


def _check_envelope(buf: "Buffer") -> int:
    """Check length, magic, version, check code."""
    if len(buf) < 4 or bytes(buf[:3]) != PROFILE_MAGIC:
        return replies.PROFILE_SIZE if len(buf) < 4 else replies.PROFILE_MAGIC
    if buf[3] != codes.PROFILE_VERSION:
        return replies.PROFILE_VERSION_DIFFERS
    if len(buf) != PROFILE_BYTES:
        return replies.PROFILE_SIZE
    if crc32(bytes(buf[:CRC_AT])) != struct.unpack_from("<I", buf, CRC_AT)[0]:
        return replies.PROFILE_CHECK
    return replies.OK


def _nonzero(buf: "Buffer", start: int, stop: int) -> int:
    found = 0
    for i in range(start, stop):
        found |= buf[i]
    return 1 if found else 0


def _check_names(buf: "Buffer", values: "tuple[Any, ...]") -> int:
    """Check wheel id, label, sizes and their consistency."""
    if values[_WHEEL] == bytes(8):
        return replies.PROFILE_WHEEL_ID
    if not label_ok(buf, LABEL_AT, LABEL_AT + LABEL_BYTES):
        return replies.PROFILE_LABEL
    if values[_RIM_WIDTH] != 0 and not 80 <= values[_RIM_WIDTH] <= 1300:
        return replies.PROFILE_SIZE_RANGE
    if not values[_LOW] <= values[_NOMINAL] <= 2 * values[_LOW]:
        return replies.PROFILE_VOLUME
    return replies.OK


def label_ok(buf: "Buffer", start: int, stop: int) -> bool:
    """Return True for UTF-8 of 1 to 16 letters, without control characters, padded with zeros only."""
    end = stop
    while end > start and buf[end - 1] == 0:
        end -= 1
    letters = 0
    for i in range(start, end):
        if buf[i] < 0x20 or buf[i] == 0x7F:
            return False
        if buf[i] & 0xC0 != 0x80:
            letters += 1
    return 0 < letters <= codes.LABEL_LETTERS and utf8_ok(buf, start, end)


# Display letters for U+00C0 to U+00FF; the font has only the printable letters of ASCII.
_PLAIN = "AAAAAAACEEEEIIIIDNOOOOOxOUUUUYPsaaaaaaaceeeeiiiidnooooo/ouuuuypy"


def display_text(text: str) -> str:
    """Convert a text to the display's letters: accents dropped, other letters as `?`."""
    shown = ""
    for letter in text:
        code = ord(letter)
        shown += (
            letter if 0x20 <= code < 0x7F else _PLAIN[code - 0xC0] if 0xC0 <= code <= 0xFF else "?"
        )
    return shown


def is_straight_side(rim_class: int) -> bool:
    """Return True for every class whose rim may lack hooks, including the unknown one."""
    return rim_class < codes.RIM_HB or rim_class > codes.RIM_TC


def _check_pressures(values: tuple[int, ...], bench: bool) -> int:
    """Check limit, ceiling, target and pause, and the maximum of a straight-side rim."""
    flagged = values[_FLAGS] & codes.FLAG_BENCH != 0
    if flagged != bench:
        return replies.PROFILE_BENCH if flagged else replies.PROFILE_NOT_BENCH
    ceiling = values[_CEILING]
    if bench:
        if ceiling > codes.BENCH_CEILING_MAX_PA:
            return replies.PROFILE_CEILING_ABOVE_RIG
    else:
        if ceiling > values[_LIMIT]:
            return replies.PROFILE_CEILING_ABOVE_LIMIT
        if ceiling > codes.RIG_HIGH_CEILING_PA:
            return replies.PROFILE_CEILING_ABOVE_RIG
        if is_straight_side(values[_RIM]) and values[_LIMIT] > codes.STRAIGHT_SIDE_LIMIT_PA:
            return replies.PROFILE_STRAIGHT_SIDE
    if not TARGET_MIN_PA <= values[_TARGET] <= ceiling:
        return replies.PROFILE_TARGET
    return replies.PROFILE_SEAT_PAUSE if values[_PAUSE] > ceiling else replies.OK


def ceiling_of(buf: "Buffer") -> int:
    """Ceiling of a checked profile, Pa gauge."""
    return struct.unpack_from(FORMAT, buf, 0)[_CEILING]  # type: ignore[no-any-return]


def is_tagged(buf: "Buffer") -> bool:
    """Return True unless the tag is all zero."""
    return _nonzero(buf, TAG_AT, PROFILE_BYTES) != 0


def tag_profile(key: "Buffer", buf: "Buffer") -> bytes:
    """Return the profile with its tag under this key."""
    return bytes(buf[:TAG_AT]) + tag16(key, bytes(buf[:TAG_AT]))


def check_tag(key: "Buffer | None", buf: "Buffer") -> int:
    """Return OK, TAG_WRONG or NO_KEY for a checked profile: only a tag of the enrolled key is valid.

    `key` is None when none is enrolled: then no profile is valid, and only the built-in one remains.
    """
    if key is None:
        return replies.NO_KEY
    return (
        replies.OK
        if same(tag16(key, bytes(buf[:TAG_AT])), bytes(buf[TAG_AT:PROFILE_BYTES]))
        else replies.TAG_WRONG
    )
