"""Preset check: any bytes in, a reply code out, no exception. Used by firmware and host."""

import struct

from . import codes, replies
from .compat import TYPE_CHECKING, crc32
from .layout import PRESET, PRESET_MAGIC, index, offset, size, struct_format
from .mac import same, tag16
from .profile import LIMIT_MAX_PA, TARGET_MIN_PA, label_ok

if TYPE_CHECKING:
    from .shapes import Buffer

PRESET_BYTES = size(PRESET)
CRC_AT = offset(PRESET, "crc")
TAG_AT = offset(PRESET, "tag")
RIDER_AT = offset(PRESET, "rider")
FORMAT = struct_format(PRESET)

_ISSUES = (index(PRESET, "issue"), index(PRESET, "front_issue"), index(PRESET, "rear_issue"))
_TARGETS = (index(PRESET, "front_target_pa"), index(PRESET, "rear_target_pa"))
_ID = index(PRESET, "preset_id")
_FRONT = index(PRESET, "front_wheel")
_REAR = index(PRESET, "rear_wheel")
_FLAGS = index(PRESET, "flags")
_HEAT = index(PRESET, "temp_max_ck")
_AIR = index(PRESET, "ambient_min_pa")
_NONE = bytes(8)


def check_preset(buf: "Buffer") -> int:
    """Return OK, or the first code of `replies` for which these bytes are not a preset. The tag is not checked.

    A preset holds no limit: each target is checked against the profile of its wheel when it is armed.
    """
    if len(buf) != PRESET_BYTES or bytes(buf[:3]) != PRESET_MAGIC or buf[3] != codes.PRESET_VERSION:
        return replies.PRESET_RECORD
    if crc32(bytes(buf[:CRC_AT])) != struct.unpack_from("<I", buf, CRC_AT)[0]:
        return replies.PRESET_RECORD
    values = struct.unpack_from(FORMAT, buf, 0)
    if (
        values[_ID] == _NONE
        or values[_FRONT] == _NONE
        or values[_REAR] == _NONE
        or values[_FRONT] == values[_REAR]
    ):
        return replies.PRESET_WHEELS
    return replies.OK if _in_range(buf, values) else replies.PRESET_VALUE


def _in_range(buf: "Buffer", values: tuple[int, ...]) -> bool:
    for field in _ISSUES:
        if not 1 <= values[field] <= codes.ISSUE_MAX:
            return False
    for field in _TARGETS:
        if not TARGET_MIN_PA <= values[field] <= LIMIT_MAX_PA:
            return False
    if (
        values[_FLAGS] > codes.PRESET_FLAGS_KNOWN
        or not 23315 <= values[_HEAT] <= 39315
        or not 30000 <= values[_AIR] <= 110000
    ):
        return False
    return label_ok(buf, RIDER_AT, RIDER_AT + codes.LABEL_BYTES)


def tag_preset(key: "Buffer", buf: "Buffer") -> bytes:
    """Return the preset with its tag under this key."""
    return bytes(buf[:TAG_AT]) + tag16(key, bytes(buf[:TAG_AT]))


def tag_fits(key: "Buffer | None", buf: "Buffer") -> bool:
    """Return True for a checked preset with a tag of this key; False with `key` None."""
    return key is not None and same(
        tag16(key, bytes(buf[:TAG_AT])), bytes(buf[TAG_AT:PRESET_BYTES])
    )
