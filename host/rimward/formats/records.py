"""Records as construct structures and numpy dtypes, both built from the protocol's tables.

The firmware packs the same tables with `struct`; the vectors under `protocol/vectors` compare both.
"""

import zlib
from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING, Any

import construct
from rimward_protocol import codes, layout, messages, payloads, replies, tables
from rimward_protocol import preset as preset_check
from rimward_protocol import profile as profile_check
from rimward_protocol.compat import crc32
from rimward_protocol.sessionread import fast_length_fits

from rimward.base.errors import Refusal

if TYPE_CHECKING:
    import numpy as np

Table = tuple[tuple[str, str, str, str], ...]

NUMBERS = {
    "B": construct.Int8ul,
    "b": construct.Int8sl,
    "H": construct.Int16ul,
    "h": construct.Int16sl,
    "I": construct.Int32ul,
    "i": construct.Int32sl,
}


def field(code: str) -> Any:
    """Construct of one field code."""
    if code == "*":
        return construct.GreedyBytes
    return construct.Bytes(int(code[:-1])) if code.endswith("s") else NUMBERS[code]


def structure(table: Table) -> construct.Struct:
    """Table as a construct Struct: `build` takes a dict, `parse` returns a Container."""
    return construct.Struct(*(name / field(code) for name, code, _unit, _meaning in table))


PROFILE = structure(layout.PROFILE)
V1_BYTES = 108  # of a profile of version 1
SESSION_HEADER = structure(layout.SESSION_HEADER)
BLOCK_HEADER = structure(tables.BLOCK_HEADER)
CHANGE = structure(tables.CHANGE)
TRACE_RECORD = structure(layout.TRACE_RECORD)
BLOCKS = {number: structure(table) for number, _word, table in tables.BLOCKS}
MESSAGES = {number: structure(table) for number, _word, table, _replies in payloads.PAYLOADS}


def padded(table: Table, values: Mapping[str, Any]) -> dict[str, Any]:
    """Encode text and zero-pad short byte fields. Refusal for text that is too long."""
    record = dict(values)
    for name, code, _unit, _meaning in table:
        value = record.get(name)
        if code.endswith("s") and isinstance(value, (str, bytes)):
            raw = value.encode() if isinstance(value, str) else value
            if len(raw) > int(code[:-1]):
                raise Refusal(
                    f"{name} takes {len(raw)} bytes; at most {code[:-1]} fit.", "Shorten it."
                )
            record[name] = raw.ljust(int(code[:-1]), b"\0")
    return record


def pack_record(table: Table, values: Mapping[str, Any]) -> bytes:
    """Pack a record. Refusal for a missing field or one out of range."""
    try:
        return bytes(structure(table).build(padded(table, values)))
    except (construct.ConstructError, KeyError) as wrong:
        raise Refusal(
            f"A record cannot be written: {str(wrong).strip().splitlines()[-1]}",
            "Check its values.",
        ) from wrong


@cache
def _whole(table: Table) -> construct.Struct:
    """Structure of a record that must end with its bytes."""
    return construct.Struct("record" / structure(table), construct.Terminated)


def unpack_record(table: Table, data: bytes) -> dict[str, Any]:
    """Unpack a record that fills `data` exactly. Refusal for a wrong length."""
    try:
        fields = _whole(table).parse(bytes(data)).record
    except construct.ConstructError as wrong:
        raise Refusal(
            f"A record of {len(data)} bytes does not fit its layout.",
            "Update the older of host and inflator.",
        ) from wrong
    return {name: fields[name] for name, _code, _unit, _meaning in table}


def refusal_of(code: int, detail: str = "") -> Refusal:
    """Return the Refusal for a reply code; `detail` is appended to the text."""
    _number, word, text, fix = replies.row_of(code)
    return Refusal(
        f"{text[:1].upper()}{text[1:]}{detail} ({word}).",
        f"{fix[:1].upper()}{fix[1:]}." if fix else "",
    )


def pack_profile(values: Mapping[str, Any], bench: bool = False) -> bytes:
    """Pack an untagged profile from its fields (magic, version, crc and tag are filled in). Refusal if the check fails."""
    record = {"magic": layout.PROFILE_MAGIC, "version": codes.PROFILE_VERSION, **values}
    data = _sealed(layout.PROFILE, record)
    code = profile_check.check_profile(data, bench)
    if code:
        raise refusal_of(code)
    return data


def _sealed(table: Table, record: Mapping[str, Any]) -> bytes:
    """Pack an untagged record that ends in check code and tag."""

    body = pack_record(table[:-2], record)
    return body + bytes(construct.Int32ul.build(crc32(body))) + bytes(16)


def pack_preset(values: Mapping[str, Any]) -> bytes:
    """Pack an untagged preset from its fields. Refusal if the check fails."""
    data = _sealed(
        layout.PRESET, {"magic": layout.PRESET_MAGIC, "version": codes.PRESET_VERSION, **values}
    )
    code = preset_check.check_preset(data)
    if code:
        raise refusal_of(code)
    return data


def unpack_preset(data: bytes) -> dict[str, Any]:
    """Unpack a preset, the rider as text. Refusal with the reason for bytes that the check refuses."""
    code = preset_check.check_preset(data)
    if code:
        raise refusal_of(code)
    record = unpack_record(layout.PRESET, data)
    record["rider"] = text_of(record["rider"])
    return record


def of_first_version(data: bytes) -> bytes:
    """Convert a profile of layout version 1, as in older session records, to today's layout; other bytes are returned unchanged.

    Its fields are the same except for a shorter label and the missing issue number.
    """
    if len(data) != V1_BYTES or data[:4] != layout.PROFILE_MAGIC + b"\1":
        return data
    revision, wheel_id, label, rest = data[4:8], data[8:16], data[16:36], data[36:80]
    head = (
        layout.PROFILE_MAGIC
        + bytes([codes.PROFILE_VERSION])
        + revision
        + construct.Int32ul.build(1)
        + wheel_id
    )
    body: bytes = head + _letters(label).ljust(codes.LABEL_BYTES, b"\0") + rest
    return body + bytes(construct.Int32ul.build(zlib.crc32(body))) + bytes(16)


def _letters(label: bytes) -> bytes:
    return text_of(label)[: codes.LABEL_LETTERS].encode()


def unpack_profile(data: bytes, bench: bool = False) -> dict[str, Any]:
    """Unpack a profile, the label as text. Refusal with the reason for bytes that the check refuses."""
    code = profile_check.check_profile(data, bench)
    if code:
        raise refusal_of(code)
    record = unpack_record(layout.PROFILE, data)
    record["label"] = text_of(record["label"])
    return record


def text_of(raw: bytes) -> str:
    """Text of a zero-padded UTF-8 field."""
    return raw.rstrip(b"\0").decode("utf-8", "replace")


def pack_message(number: int, /, **values: Any) -> bytes:
    """Pack the payload of a message."""
    table = messages.payload_of(number)
    assert table is not None
    return pack_record(table, values)


def unpack_message(number: int, payload: bytes) -> dict[str, Any]:
    """Unpack the payload of a message. Refusal for an unknown number or length."""
    table = messages.payload_of(number)
    if table is None:
        raise Refusal(
            f"The inflator sent message {number}, which this host does not know.",
            "Update the host.",
        )
    return unpack_record(table, payload)


@cache
def dtype(table: Table) -> "np.dtype":
    """Return the numpy dtype of a table without its tail, for reading records directly from bytes."""
    import numpy as np

    kinds = {"B": "u1", "b": "i1", "H": "<u2", "h": "<i2", "I": "<u4", "i": "<i4"}
    fixed = [
        (name, kinds.get(code) or f"V{code[:-1]}")
        for name, code, _unit, _meaning in table
        if code != "*"
    ]
    return np.dtype(fixed)


def fast_columns(payload: bytes) -> tuple[int, "np.ndarray", "np.ndarray"]:
    """(first tick, int32 array of A, B, LOAD, GAP by tick, change records) of a FAST payload, without a loop over ticks.

    Refusal for a payload that makes no sense.
    """
    import numpy as np

    head_type = dtype(tables.FAST)
    if len(payload) < head_type.itemsize:
        raise no_sense()
    head = np.frombuffer(payload, head_type, 1)[0]
    n, changes, coding = int(head["n"]), int(head["changes"]), int(head["coding"])
    if not 1 <= n <= 64 or not fast_length_fits(len(payload), n, changes, coding):
        raise no_sense()
    columns = np.empty((4, n), np.int32)
    at = head_type.itemsize
    for i, name in enumerate(("a", "b", "load", "gap")):
        at = _fill_column(columns[i], payload, at, int(head[name]), coding >> 4 * i & 15)
    records = np.frombuffer(payload, dtype(tables.CHANGE), changes, at)
    if changes and int(records["offset"].max()) >= n:
        raise no_sense()
    return int(head["tick"]), columns, records


def no_sense() -> Refusal:
    """Return the Refusal for a block whose bytes contradict each other although its check code is right."""
    return Refusal("A block of the session is inconsistent.", "Pull the session again.")


def _fill_column(column: "np.ndarray", payload: bytes, at: int, first: int, code: int) -> int:
    """Write one column's values. Return the end of its bytes."""
    import numpy as np

    more = len(column) - 1
    column[0] = first
    if code == 0:
        column[:] = first
        return at
    if code == 1:
        packed = np.frombuffer(payload, np.uint8, (more + 1) // 2, at)
        deltas = np.stack((packed & 15, packed >> 4), 1).ravel()[:more].astype(np.int32)
        deltas = (deltas ^ 8) - 8
        after = at + len(packed)
    else:
        kind = {2: "i1", 3: "<i2", 4: "<i4"}[code]
        deltas = np.frombuffer(payload, kind, more, at)
        after = at + deltas.nbytes
    values = deltas.astype(np.int64) if code == 4 else first + np.cumsum(deltas, dtype=np.int64)
    if more and not -(2**31) <= int(values.min()) <= int(values.max()) < 2**31:
        raise no_sense()
    column[1:] = values
    return after
