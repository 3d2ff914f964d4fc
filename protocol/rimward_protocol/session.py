"""Session log v1: its blocks, for recording on the inflator; `sessionread` reads them.

A log is SESSION_HEADER followed by blocks: BLOCK_HEADER, payload, CRC-32 over both, and with flag bit 0 a 16-byte MAC over the previous MAC
(for the first block: the header's tag) and this block. A SNAPSHOT of all four arrays at tick T and the unbroken FAST blocks from T on
form one span, which replays exactly.
"""

import struct
from array import array

from . import layout
from .compat import TYPE_CHECKING, const, crc32
from .mac import tag16

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .shapes import Buffer, Record, Words, Writable


BLOCK_HEAD_BYTES = const(8)
BLOCK_CRC_BYTES = const(4)
BLOCK_MAC_BYTES = const(16)
MAX_PAYLOAD = const(480)
FLAG_MAC = const(1)

FAST_TICKS = const(64)
FAST_HEAD = const(24)
FAST_FORMAT = "<IBBHiiii"
CHANGE_BYTES = const(6)
SPARE_CHANGES = const(32)
FIELD_X = const(0)
FIELD_Y = const(64)
FIELD_OUT = const(128)
FIELD_FILL = const(129)

CODE_CONSTANT = const(0)
CODE_I4 = const(1)
CODE_I8 = const(2)
CODE_I16 = const(3)
CODE_VALUES = const(4)

ARRAY_G = const(0)
ARRAY_X = const(1)
ARRAY_F = const(2)
ARRAY_Y = const(3)
SNAPSHOT_HEAD = const(8)
SNAPSHOT_WORDS = const(118)
TRACE_RECORDS = const(58)

OK = "ok"
TORN = "torn"
DAMAGED = "damaged"
OUT_OF_ORDER = "out-of-order"
NOT_A_SESSION = "not-a-session"
OTHER_VERSION = "other-version"


def seal_header(values: "Record") -> bytes:
    """Build the header's bytes from a dict of its fields; magic, version, length, reserved and check code are filled in."""
    record = {"magic": layout.SESSION_MAGIC, "version": 1, "reserved": b""}
    record["header_bytes"] = layout.size(layout.SESSION_HEADER)
    record.update(values)
    return layout.pack_sealed(layout.SESSION_HEADER, record)


def first_sequence(number: int) -> int:
    """Sequence number of the first block of session `number`, 30 bits.

    It differs between sessions, so that an old block left in flash with a valid check code is not taken for one of this session.
    """
    return (number & 0x3FFF) << 16


def seal_block(
    buf: "Writable", at: int, kind: int, sequence: int, length: int, flags: int = 0
) -> int:
    """Add header and check code to the payload at `at + 8`. Return the end of the block."""
    struct.pack_into("<BBHI", buf, at, kind, flags, length, sequence)
    end = at + BLOCK_HEAD_BYTES + length
    struct.pack_into("<I", buf, end, crc32(memoryview(buf)[at:end]))
    return end + BLOCK_CRC_BYTES


def add_mac(buf: "Writable", at: int, end: int, key: "Buffer", previous: "Buffer") -> bytes:
    """Chain a block sealed with FLAG_MAC: write the MAC at `end` and return it. The first `previous` is `chain_start`."""
    mac = tag16(key, previous, memoryview(buf)[at:end])
    buf[end : end + BLOCK_MAC_BYTES] = mac
    return mac


def chain_start(key: "Buffer", header: "Buffer") -> bytes:
    """Start of the MAC chain: the tag of the header."""
    return tag16(key, header)


def put_snapshot(
    buf: "Writable", at: int, tick: int, which: int, words: "Words", first: int
) -> tuple[int, int]:
    """Write the payload of one SNAPSHOT from word `first` on. Return (bytes, next word); `next word` = len(words) is the end."""
    count = min(len(words) - first, SNAPSHOT_WORDS)
    struct.pack_into("<IBBBB", buf, at, tick, which, first, count, len(words))
    for i in range(count):
        struct.pack_into("<i", buf, at + SNAPSHOT_HEAD + 4 * i, words[first + i])
    return SNAPSHOT_HEAD + 4 * count, first + count


class _Bank:
    """Up to 64 ticks, uncompressed."""

    def __init__(self, changes: int) -> None:
        self.a = array("i", [0] * FAST_TICKS)
        self.b = array("i", [0] * FAST_TICKS)
        self.load = array("i", [0] * FAST_TICKS)
        self.gap = array("i", [0] * FAST_TICKS)
        self.columns = (self.a, self.b, self.load, self.gap)
        self.at = bytearray(changes)
        self.field = bytearray(changes)
        self.value = array("i", [0] * changes)
        self.tick = 0
        self.n = 0
        self.changes = 0
        self.full = False


class _Watch:
    """Range of words whose changes are recorded."""

    def __init__(self, words: "array[int]", first: int, stop: int, base: int) -> None:
        self.words = words
        self.first = first
        self.count = stop - first
        self.base = base + first
        self.now = memoryview(words)[first:stop]
        self.copy = array("i", [0] * self.count)
        self.before = memoryview(self.copy)


class FastRecorder:
    """Recorder of every tick into two banks: one fills while the other is written.

    x: the guard's input array (A, B, LOAD, GAP at 0, 1, 3, 4). watches: (array, first, stop, FIELD_X or FIELD_Y) for every slow word that a
    replay needs; words computed by the firmware are left out. At most 74 words. `add` allocates nothing and may be called from the tick
    interrupt, as long as ticks and words fit 30 bits; everything else belongs to the main loop, `turn`, `again` and `start` with the tick
    held off.
    """

    def __init__(self, x: "Words", watches: "Sequence[tuple[array[int], int, int, int]]") -> None:
        self._x = x
        self._watches = tuple([_Watch(*watch) for watch in watches])
        most = 2
        for watch in self._watches:
            most += watch.count
        if FAST_HEAD + CHANGE_BYTES * most > MAX_PAYLOAD:
            raise ValueError("at most 74 watched words")
        self._banks = (_Bank(most + SPARE_CHANGES), _Bank(most + SPARE_CHANGES))
        self._which = 0
        self._bank = self._banks[0]
        self._out = -1
        self._fill = -1
        self.lost = 0
        self.running = False

    def start(self) -> None:
        """Begin a span with the next tick; the arrays must be as in the snapshot just taken."""
        self.running = False
        for watch in self._watches:
            watch.copy[:] = watch.words[watch.first : watch.first + watch.count]
        self._out = -1
        self._fill = -1
        for bank in self._banks:
            bank.n = 0
            bank.changes = 0
            bank.full = False
        self.running = True

    def again(self) -> None:
        """Restate the output bits with the next tick after a snapshot between two ticks of a running span.

        Call `turn` first, so that a block begins there and a reader can start from the newer snapshot.
        """
        self._out = -1
        self._fill = -1

    def add(self, tick: int, out: int, fill: int) -> bool:
        """Record the finished tick: inputs as in the arrays, output bits of guard and fill controller.

        Return True when a bank is ready to be written. When both are full the span ends and `lost` counts.
        """
        if not self.running:
            self.lost = (self.lost + 1) & 0x3FFFFFFF
            return False
        if self._bank.full:
            self.running = False
            self.lost = (self.lost + 1) & 0x3FFFFFFF
            return False
        bank = self._bank  # few names: MicroPython puts a frame of more than 11 words on the heap
        n = bank.n
        if n == 0:
            bank.tick = tick
        bank.a[n] = self._x[0]
        bank.b[n] = self._x[1]
        bank.load[n] = self._x[3]
        bank.gap[n] = self._x[4]
        self._watched()
        if out != self._out:
            self._out = out
            self._change(FIELD_OUT, out)
        if fill != self._fill:
            self._fill = fill
            self._change(FIELD_FILL, fill)
        bank.n = n + 1
        # one more tick could change every word
        return self.turn() if n + 1 == FAST_TICKS or bank.changes > SPARE_CHANGES else False

    def turn(self) -> bool:
        """Close the bank being filled, full or not. Return True if it holds a tick."""
        bank = self._banks[self._which]
        if bank.n == 0 or bank.full:
            return bank.full
        bank.full = True
        self._which ^= 1
        self._bank = self._banks[self._which]
        return True

    def _watched(self) -> None:
        for watch in self._watches:
            if watch.now != watch.before:
                self._changes(watch)

    def _changes(self, watch: _Watch) -> None:
        i = 0
        while i < watch.count:
            value = watch.words[watch.first + i]
            if value != watch.copy[i]:
                watch.copy[i] = value
                self._change(watch.base + i, value)
            i += 1

    def _change(self, field: int, value: int) -> None:
        bank = self._bank
        k = bank.changes
        bank.at[k] = bank.n
        bank.field[k] = field
        bank.value[k] = value
        bank.changes = k + 1

    def ready(self) -> _Bank | None:
        """Bank to write next, or None."""
        oldest = self._banks[self._which]
        if oldest.full:
            return oldest
        other = self._banks[self._which ^ 1]
        return other if other.full else None

    def write(self, bank: _Bank, first: int, buf: "Writable", at: int) -> tuple[int, int]:
        """Write the payload of one FAST block from tick `first` of a bank on. Return (bytes, next tick).

        Repeat until the next tick is `bank.n`, then call `release`. Ticks that compress badly make smaller blocks.
        """
        n = bank.n - first
        while True:
            length, coding, changes = _fast_size(bank, first, n)
            if length <= MAX_PAYLOAD:
                break
            n = n // 2
        _put_fast(bank, first, n, coding, changes, buf, at)
        return length, first + n

    def release(self, bank: _Bank) -> None:
        """Mark the bank as free."""
        bank.n = 0
        bank.changes = 0
        bank.full = False


def _coding(values: "Words", first: int, n: int) -> int:
    """Smallest of the five codings for values[first:first+n]."""
    low = 0
    high = 0
    before = values[first]
    for i in range(first + 1, first + n):
        delta = values[i] - before
        before = values[i]
        if delta < low:  # a call of `min` costs the chip more than all the rest of this loop
            low = delta
        elif delta > high:
            high = delta
    if low == 0 and high == 0:
        return CODE_CONSTANT
    if low >= -8 and high <= 7:
        return CODE_I4
    if low >= -128 and high <= 127:
        return CODE_I8
    return CODE_I16 if low >= -32768 and high <= 32767 else CODE_VALUES


def column_bytes(code: int, n: int) -> int:
    """Bytes of one column of a FAST block for n ticks."""
    if code == CODE_CONSTANT:
        return 0
    if code == CODE_I4:
        return n // 2
    return (n - 1) << (code - CODE_I8)


def _fast_size(bank: _Bank, first: int, n: int) -> tuple[int, int, int]:
    length = FAST_HEAD
    coding = 0
    for i in range(4):
        code = _coding(bank.columns[i], first, n)
        coding |= code << 4 * i
        length += column_bytes(code, n)
    changes = 0
    for k in range(bank.changes):
        if first <= bank.at[k] < first + n:
            changes += 1
    return length + CHANGE_BYTES * changes, coding, changes


def _put_fast(
    bank: _Bank, first: int, n: int, coding: int, changes: int, buf: "Writable", at: int
) -> None:
    columns = bank.columns
    head = [columns[i][first] for i in range(4)]
    struct.pack_into(FAST_FORMAT, buf, at, bank.tick + first, n, changes, coding, *head)
    at += FAST_HEAD
    for i in range(4):
        at = _put_column(columns[i], first, n, coding >> 4 * i & 15, buf, at)
    for k in range(bank.changes):
        if first <= bank.at[k] < first + n:
            struct.pack_into("<BBi", buf, at, bank.at[k] - first, bank.field[k], bank.value[k])
            at += CHANGE_BYTES


def _put_column(values: "Words", first: int, n: int, code: int, buf: "Writable", at: int) -> int:
    for i in range(1, n):
        value = values[first + i]
        delta = value - values[first + i - 1]
        j = i - 1
        if code == CODE_I4:
            if j & 1:
                buf[at + (j >> 1)] |= (delta & 15) << 4
            else:
                buf[at + (j >> 1)] = delta & 15
        elif code == CODE_I8:
            buf[at + j] = delta & 255
        elif code == CODE_I16:
            struct.pack_into("<h", buf, at + 2 * j, delta)
        elif code == CODE_VALUES:
            struct.pack_into("<i", buf, at + 4 * j, value)
    return at + column_bytes(code, n)
