"""Record layouts for both sides.

The host builds construct structures from the rows of `tables`, the firmware takes its formats from `struct_format`. A device keeps only a
field's name and code, as the text in `rows`; unit and meaning are for the host and for SPEC.md.
"""

import struct

from . import codes
from .compat import ON_MICROPYTHON, TYPE_CHECKING, crc32
from .layouthash import LAYOUT_HASH

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from .shapes import Buffer, Layout, Record


if not ON_MICROPYTHON:
    from . import enumerations
    from . import tables as _kept

    def setting_row(number: int) -> "Any":
        """Return (format, who may change it) of a setting; None for an unknown number."""
        return next(((row[2], row[3]) for row in enumerations.SETTINGS if row[0] == number), None)

else:
    from . import linkrows
    from . import rows as _kept  # type: ignore[no-redef]

    def setting_row(number: int) -> "Any":
        """Return (format, who may change it) of a setting; None for an unknown number."""
        found = linkrows.line_of(linkrows.SETTINGS, number)
        return found.split() if found else None


PROFILE_MAGIC = b"RWP"
PRESET_MAGIC = b"RWR"
SESSION_MAGIC = b"RWS"

PROFILE = _kept.PROFILE
PRESET = _kept.PRESET
SESSION_HEADER = _kept.SESSION_HEADER
TRACE_RECORD = _kept.TRACE_RECORD
TRACE = _kept.TRACE
EVENT = _kept.EVENT
END = _kept.END

UNKNOWN_HPA = -32768

BLOCK_SNAPSHOT = 1
BLOCK_FAST = 2
BLOCK_TRACE = 3
BLOCK_EVENT = 4
BLOCK_META = 5
BLOCK_END = 6

META_PROFILE = 1
META_CALIBRATION_A = 2
META_CALIBRATION_B = 3
META_GUARD_BAND = 4
META_BOARD = 5
META_FIRMWARE = 6
META_INTERPRETER = 7
META_CONDITIONS = 8
META_PERSON = 9
META_UNREGISTERED = 10
META_PRESET = 11
META_SPECIMEN = 12


_last: "list[Any]" = ["", None]  # the text read last, and what was read: one is used over and over


def parts(table: "Layout") -> "tuple[list[str], str, bool]":
    """Return (names, `struct` format without the tail, True if the table ends in bytes of any length).

    A device keeps one text, the names and then the format.
    """
    if not isinstance(table, str):
        names = [row[0] for row in table]
        formats = [row[1] for row in table]
        tail = formats[-1:] == ["*"]
        return names, "<" + "".join(formats[:-1] if tail else formats), tail
    if _last[0] != table:
        names = table.split()
        form = names.pop()
        tail = form[-1] == "*"
        _last[:] = [table, (names, form[:-1] if tail else form, tail)]
    found: tuple[list[str], str, bool] = _last[1]
    return found


def _ends(form: str) -> "list[int]":
    """Where each field's code begins in a format, and the end of the last one: digits before a letter are its count."""
    ends = [1]
    for at in range(1, len(form)):
        if form[at] >= "A":
            ends.append(at + 1)
    return ends


def fields(table: "Layout") -> "Sequence[tuple[str, ...]]":
    """Rows of a table, (name, code, ...) each; a device's text gives names and codes."""
    if not isinstance(table, str):
        return table
    names, form, tail = parts(table)
    ends = _ends(form)
    rows = [(name, form[first:end]) for name, first, end in zip(names, ends, ends[1:])]
    return rows + [(names[-1], "*")] if tail else rows


def field_bytes(code: str) -> int:
    """Bytes of one field code; 0 for `*`."""
    return 0 if code == "*" else struct.calcsize("<" + code)


def struct_format(table: "Layout") -> str:
    """Return the `struct` format of a table without its tail."""
    return parts(table)[1]


def size(table: "Layout") -> int:
    """Bytes of a table without its tail."""
    return struct.calcsize(struct_format(table))


def has_tail(table: "Layout") -> bool:
    """Return True if the table ends in bytes of any length."""
    return parts(table)[2]


def offset(table: "Layout", name: str) -> int:
    """Offset of a field in bytes. KeyError for an unknown field."""
    form = struct_format(table)
    return struct.calcsize(form[: _ends(form)[index(table, name)]])


def index(table: "Layout", name: str) -> int:
    """Index of a field in the tuple of struct.unpack. KeyError for an unknown field."""
    names = parts(table)[0]
    if name not in names:
        raise KeyError(name)
    return names.index(name)


def pack(table: "Layout", values: "Record") -> bytes:
    """Pack a dict of all fields into bytes. KeyError for a missing one. Short byte fields are zero padded."""
    names, form, tail = parts(table)
    if not tail:
        return struct.pack(form, *[values[name] for name in names])
    return struct.pack(form, *[values[name] for name in names[:-1]]) + bytes(values[names[-1]])


def unpack(table: "Layout", buf: "Buffer", at: int = 0, stop: int = -1) -> "Any":
    """Unpack buf[at:stop] into a dict of fields; None if the length does not fit the table."""
    names, form, tail = parts(table)
    stop = len(buf) if stop < 0 else stop
    need = struct.calcsize(form)
    if stop - at < need or (stop - at > need and not tail):
        return None
    record: Record = dict(zip(names, struct.unpack_from(form, buf, at)))
    if tail:
        record[names[-1]] = bytes(buf[at + need : stop])
    return record


def pack_sealed(table: "Layout", record: "Record") -> bytes:
    """Pack a record whose `crc` field is CRC-32 over all bytes before it; a `crc` in the dict is ignored."""
    record["crc"] = 0
    record["crc"] = crc32(pack(table, record)[: offset(table, "crc")])
    return pack(table, record)


def seal_profile(values: "Record") -> bytes:
    """Build the untagged profile of a dict of fields: magic, version, check code and an all-zero tag are filled in."""
    record = {"magic": PROFILE_MAGIC, "version": codes.PROFILE_VERSION, "tag": b""}
    record.update(values)
    return pack_sealed(PROFILE, record)


def seal_preset(values: "Record") -> bytes:
    """Build the untagged preset of a dict of fields, as `seal_profile` does."""
    record = {"magic": PRESET_MAGIC, "version": codes.PRESET_VERSION, "tag": b""}
    record.update(values)
    return pack_sealed(PRESET, record)


def layout_hash() -> bytes:
    """Layout hash exchanged at hello: the layouts' serial number (two bytes) and 6 bytes of SHA-256 over every layout and number
    (`canonical`).
    """
    return LAYOUT_HASH
