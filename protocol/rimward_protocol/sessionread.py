"""Reader of session log v1 for both interpreters; the host reads large logs with numpy instead."""

import struct

from . import layout, tables
from .compat import TYPE_CHECKING, crc32
from .mac import same, tag16
from .session import (
    BLOCK_CRC_BYTES,
    BLOCK_HEAD_BYTES,
    BLOCK_MAC_BYTES,
    CHANGE_BYTES,
    CODE_CONSTANT,
    CODE_I4,
    CODE_I8,
    CODE_I16,
    CODE_VALUES,
    DAMAGED,
    FAST_FORMAT,
    FAST_HEAD,
    FAST_TICKS,
    FLAG_MAC,
    NOT_A_SESSION,
    OK,
    OTHER_VERSION,
    OUT_OF_ORDER,
    TORN,
    chain_start,
    column_bytes,
    first_sequence,
)

if TYPE_CHECKING:
    from typing import Any

    from .shapes import Buffer, Record


def read_header(buf: "Buffer") -> "tuple[str, Record | None]":
    """Return (OK, dict of header fields), or (reason, None)."""
    need = layout.size(layout.SESSION_HEADER)
    if len(buf) < 4 or bytes(buf[:3]) != layout.SESSION_MAGIC:
        return NOT_A_SESSION, None
    if buf[3] != 1:
        return OTHER_VERSION, None
    if len(buf) < need:
        return TORN, None
    header: Any = layout.unpack(layout.SESSION_HEADER, buf, 0, need)
    if header["crc"] != crc32(bytes(buf[: need - 4])) or header["header_bytes"] != need:
        return DAMAGED, None
    return OK, header


def read_block(buf: "Buffer", at: int, sequence: int = -1) -> tuple[str, int, int, int, int]:
    """Return (OK, kind, payload start, payload stop, next) of the block at `at`, or (reason, 0, at, at, at).

    `sequence`: the number it must carry, or -1 for any.
    """
    start = at + BLOCK_HEAD_BYTES
    if len(buf) < start:
        return TORN, 0, at, at, at
    kind, flags, length, number = struct.unpack_from("<BBHI", buf, at)
    stop = start + length
    end = stop + BLOCK_CRC_BYTES + (BLOCK_MAC_BYTES if flags & FLAG_MAC else 0)
    if len(buf) < end:
        return TORN, 0, at, at, at
    if crc32(bytes(buf[at:stop])) != struct.unpack_from("<I", buf, stop)[0]:
        return DAMAGED, 0, at, at, at
    if sequence >= 0 and number != sequence:
        return OUT_OF_ORDER, 0, at, at, at
    return OK, kind, start, stop, end


def read_blocks(buf: "Buffer") -> "tuple[str, Any, list[tuple[int, int, int]], int]":
    """Return (reason of the end, header or None, list of (kind, payload start, payload stop), end of the last valid block).

    OK only when every byte belongs to a valid block.
    """
    why, header = read_header(buf)
    if header is None:
        return why, None, [], 0
    at = header["header_bytes"]
    found: list[tuple[int, int, int]] = []
    first = _first_sequence(buf, at, header["session"])
    while at < len(buf):
        why, kind, start, stop, after = read_block(buf, at, first + len(found))
        if why != OK:
            return why, header, found, at
        found.append((kind, start, stop))
        at = after
    return OK, header, found, at


def _first_sequence(buf: "Buffer", at: int, number: int) -> int:
    """Return the number that the first block must carry: this session's, or 0 in a log written by a host."""
    if len(buf) >= at + BLOCK_HEAD_BYTES and struct.unpack_from("<I", buf, at + 4)[0] == 0:
        return 0
    return first_sequence(number)


def chain_holds(buf: "Buffer", key: "Buffer") -> bool:
    """Return True if every block carries the MAC that this key and the previous blocks give."""
    why, header, found, _ = read_blocks(buf)
    if why != OK:
        return False
    at = header["header_bytes"]
    previous = chain_start(key, bytes(buf[:at]))
    for _kind, _start, stop in found:
        end = stop + BLOCK_CRC_BYTES
        if not buf[at + 1] & FLAG_MAC:
            return False
        previous = tag16(key, previous, bytes(buf[at:end]))
        if not same(previous, bytes(buf[end : end + BLOCK_MAC_BYTES])):
            return False
        at = end + BLOCK_MAC_BYTES
    return True


def read_fast(
    buf: "Buffer", start: int, stop: int
) -> tuple[int, list[list[int]], list[tuple[int, int, int]]] | None:
    """Return (tick, [A, B, LOAD, GAP] each a list of n, [(offset, field, value)]) of a FAST payload, or None if invalid."""
    if stop - start < FAST_HEAD:
        return None
    head = struct.unpack_from(FAST_FORMAT, buf, start)
    n, changes, coding = head[1], head[2], head[3]
    if not 1 <= n <= FAST_TICKS or not fast_length_fits(stop - start, n, changes, coding):
        return None
    at = start + FAST_HEAD
    columns = []
    for i in range(4):
        code = coding >> 4 * i & 15
        column = _column(buf, at, head[4 + i], n, code)
        if not -0x80000000 <= min(column) <= max(column) <= 0x7FFFFFFF:
            return None
        columns.append(column)
        at += column_bytes(code, n)
    records = []
    for k in range(changes):
        record = struct.unpack_from("<BBi", buf, at + CHANGE_BYTES * k)
        if record[0] >= n:
            return None
        records.append(record)
    return head[0], columns, records


def fast_length_fits(length: int, n: int, changes: int, coding: int) -> bool:
    """Return True if a FAST payload of this coding has exactly this length."""
    need = FAST_HEAD + CHANGE_BYTES * changes
    for i in range(4):
        code = coding >> 4 * i & 15
        if code > CODE_VALUES:
            return False
        need += column_bytes(code, n)
    return need == length


def _column(buf: "Buffer", at: int, value: int, n: int, code: int) -> list[int]:
    column = [value]
    for j in range(n - 1):
        if code == CODE_VALUES:
            value = struct.unpack_from("<i", buf, at + 4 * j)[0]
        elif code != CODE_CONSTANT:
            value += _delta(buf, at, j, code)
        column.append(value)
    return column


def _delta(buf: "Buffer", at: int, j: int, code: int) -> int:
    if code == CODE_I4:
        nibble = buf[at + (j >> 1)] >> 4 * (j & 1) & 15
        return nibble - 16 if nibble > 7 else nibble
    if code == CODE_I8:
        byte = buf[at + j]
        return byte - 256 if byte > 127 else byte
    return struct.unpack_from("<h", buf, at + 2 * j)[0] if code == CODE_I16 else 0


def read_words(
    buf: "Buffer", start: int, stop: int
) -> tuple[int, int, int, int, tuple[int, ...]] | None:
    """Return (tick, array number, first, total, words) of a SNAPSHOT payload, or None."""
    record = layout.unpack(tables.SNAPSHOT, buf, start, stop)
    if record is None or len(record["words"]) != 4 * record["count"]:
        return None
    if record["first"] + record["count"] > record["total"]:
        return None
    words = struct.unpack("<" + str(record["count"]) + "i", record["words"])
    return record["tick"], record["array"], record["first"], record["total"], words
