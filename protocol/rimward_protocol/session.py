"""Session log v1: blocks on the inflator, and a plain reader for both interpreters.

A log is SESSION_HEADER followed by blocks: BLOCK_HEADER, payload, CRC-32 over both, and with flag bit 0 a 16-byte MAC
over the MAC before it (for the first block: the header's own) and this block. A SNAPSHOT of all four arrays at tick T
and the unbroken FAST blocks from T on are one span, which replays exactly.
"""

import struct
from array import array

from . import layout
from .compat import const, crc32
from .mac import tag16

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


def seal_header(values):
    """The header's bytes from a dict of its fields; magic, version, length, reserved and check code are put in."""
    record = {"magic": layout.SESSION_MAGIC, "version": 1, "reserved": b""}
    record["header_bytes"] = layout.size(layout.SESSION_HEADER)
    record.update(values)
    return layout.pack_sealed(layout.SESSION_HEADER, record)


def first_sequence(number):
    """What the blocks of session `number` are counted from. So a block of another session, which stood where flash forgot
    that it was erased, is no block of this one although its check code is right. 30 bits."""
    return (number & 0x3FFF) << 16


def seal_block(buf, at, kind, sequence, length, flags=0):
    """Put header and check code round a payload that stands at `at + 8`; gives where the block ends."""
    struct.pack_into("<BBHI", buf, at, kind, flags, length, sequence)
    end = at + BLOCK_HEAD_BYTES + length
    struct.pack_into("<I", buf, end, crc32(memoryview(buf)[at:end]))
    return end + BLOCK_CRC_BYTES


def add_mac(buf, at, end, key, previous):
    """Chain a block sealed with FLAG_MAC: write the MAC at `end`; gives the MAC. The first `previous` is `chain_start`."""
    mac = tag16(key, previous, memoryview(buf)[at:end])
    buf[end : end + BLOCK_MAC_BYTES] = mac
    return mac


def chain_start(key, header):
    """What the first block's MAC is chained to: the tag of the header."""
    return tag16(key, header)


def put_snapshot(buf, at, tick, which, words, first):
    """Payload of one SNAPSHOT from word `first` on; gives (bytes, next word). `next word` = len(words) ends it."""
    count = min(len(words) - first, SNAPSHOT_WORDS)
    struct.pack_into("<IBBBB", buf, at, tick, which, first, count, len(words))
    for i in range(count):
        struct.pack_into("<i", buf, at + SNAPSHOT_HEAD + 4 * i, words[first + i])
    return SNAPSHOT_HEAD + 4 * count, first + count


class _Bank:
    """Up to 64 ticks as they came."""

    def __init__(self, changes):
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
    """A run of words whose changes are recorded."""

    def __init__(self, words, first, stop, base):
        self.words = words
        self.first = first
        self.count = stop - first
        self.base = base + first
        self.now = memoryview(words)[first:stop]
        self.copy = array("i", [0] * self.count)
        self.before = memoryview(self.copy)


class FastRecorder:
    """Records every tick into two banks, one filling while the other is being written out.

    x: the guard's input array (A, B, LOAD, GAP at 0, 1, 3, 4). watches: (array, first, stop, FIELD_X or FIELD_Y) for
    every slow word that a replay needs; words the firmware itself computes are left out. At most 74 words.
    `add` takes no memory and may be called from the tick interrupt, as long as ticks and words stay within 30 bits;
    everything else belongs to the main loop, `turn`, `again` and `start` with the tick held off.
    """

    def __init__(self, x, watches):
        self._x = x
        self._watches = tuple([_Watch(*watch) for watch in watches])
        most = 2
        for watch in self._watches:
            most += watch.count
        if FAST_HEAD + CHANGE_BYTES * most > MAX_PAYLOAD:
            raise ValueError("at most 74 watched words")
        self._pairs = tuple([(watch.now, watch.before, watch) for watch in self._watches])
        self._banks = (_Bank(most + SPARE_CHANGES), _Bank(most + SPARE_CHANGES))
        self._which = 0
        self._bank = self._banks[0]
        self._out = -1
        self._fill = -1
        self.lost = 0
        self.running = False

    def start(self):
        """Begin a span with the next tick: the arrays must be as in the snapshot just taken."""
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

    def again(self):
        """A snapshot was taken between two ticks of a running span: restate the output bits with the next tick.

        Call `turn` before it, so that a block begins there and a reader can start from the newer snapshot.
        """
        self._out = -1
        self._fill = -1

    def add(self, tick, out, fill):
        """Record the tick just done: inputs as they stand in the arrays, output bits of guard and fill.

        Gives True when a bank is ready to be written. When both are full the span ends and `lost` counts.
        """
        if not self.running:
            self.lost = (self.lost + 1) & 0x3FFFFFFF
            return False
        bank = self._bank
        if bank.full:
            self.running = False
            self.lost = (self.lost + 1) & 0x3FFFFFFF
            return False
        n = bank.n
        if n == 0:
            bank.tick = tick
        x = self._x
        bank.a[n] = x[0]
        bank.b[n] = x[1]
        bank.load[n] = x[3]
        bank.gap[n] = x[4]
        for now, before, watch in self._pairs:
            if now != before:
                self._changes(bank, n, watch)
        if out != self._out:
            self._out = out
            self._change(bank, n, FIELD_OUT, out)
        if fill != self._fill:
            self._fill = fill
            self._change(bank, n, FIELD_FILL, fill)
        n += 1
        bank.n = n
        if n == FAST_TICKS or bank.changes > SPARE_CHANGES:  # one more tick may change every word
            return self.turn()
        return False

    def turn(self):
        """Close the bank being filled, full or not; gives True if it holds a tick."""
        bank = self._banks[self._which]
        if bank.n == 0 or bank.full:
            return bank.full
        bank.full = True
        self._which ^= 1
        self._bank = self._banks[self._which]
        return True

    def _changes(self, bank, n, watch):
        words = watch.words
        copy = watch.copy
        i = 0
        while i < watch.count:
            value = words[watch.first + i]
            if value != copy[i]:
                copy[i] = value
                self._change(bank, n, watch.base + i, value)
            i += 1

    def _change(self, bank, n, field, value):
        k = bank.changes
        bank.at[k] = n
        bank.field[k] = field
        bank.value[k] = value
        bank.changes = k + 1

    def ready(self):
        """The bank to write next, or None."""
        oldest = self._banks[self._which]
        if oldest.full:
            return oldest
        other = self._banks[self._which ^ 1]
        return other if other.full else None

    def write(self, bank, first, buf, at):
        """Payload of one FAST block from tick `first` of a bank on; gives (bytes, next tick).

        Go on until the next tick is `bank.n`, then call `release`. It takes fewer ticks where they compress badly.
        """
        n = bank.n - first
        while True:
            length, coding, changes = _fast_size(bank, first, n)
            if length <= MAX_PAYLOAD:
                break
            n = n // 2
        _put_fast(bank, first, n, coding, changes, buf, at)
        return length, first + n

    def release(self, bank):
        """The bank may be filled again."""
        bank.n = 0
        bank.changes = 0
        bank.full = False


def _coding(values, first, n):
    """Smallest of the five codings for values[first:first+n]."""
    low = 0
    high = 0
    before = values[first]
    for i in range(first + 1, first + n):
        delta = values[i] - before
        before = values[i]
        low = min(low, delta)
        high = max(high, delta)
    if low == 0 and high == 0:
        return CODE_CONSTANT
    if low >= -8 and high <= 7:
        return CODE_I4
    if low >= -128 and high <= 127:
        return CODE_I8
    return CODE_I16 if low >= -32768 and high <= 32767 else CODE_VALUES


def column_bytes(code, n):
    """Bytes that one column of a FAST block takes for n ticks."""
    if code == CODE_CONSTANT:
        return 0
    if code == CODE_I4:
        return n // 2
    return (n - 1) << (code - CODE_I8)


def _fast_size(bank, first, n):
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


def _put_fast(bank, first, n, coding, changes, buf, at):
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


def _put_column(values, first, n, code, buf, at):
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
