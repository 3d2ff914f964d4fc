"""The bench's trace in memory, packed: a test lasts ten minutes and more, and nothing is written to flash while a person holds the run control.

Each TRACE payload is packed by itself: its head and first record as they are, then for each record the differences to the one before it,
Rice-coded. About 1.6 bytes a record in place of 8. Where the memory ends, the oldest blocks that the host has confirmed and in which nothing
moves keep every eighth record. What the host lacks, and what moves, stays at the full rate. Main loop only.
"""

import struct

from rimward_protocol import layout, session
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.storage.blocks import LEAST_BYTES, RESERVE_BYTES, Blocks, free_bytes
from rimward_fw.storage.recorder import TRACE_STEP
from rimward_fw.storage.ticks import due

if TYPE_CHECKING:
    from typing import Any


TRACE_BYTES = 144 * 1024  # half an hour in full; less where the heap is smaller
ESCAPE = 12  # ones before a difference that is stored in full
FULL_BITS = 17
K_MOST = 15
CONFIRMED = 128  # bit of a block's kind in memory: the host has samples over all of its time
THIN_STEP = 80  # ticks between the records that are kept of blocks that the host has
GATHERED = (
    4  # blocks that become one: unpacking more at once would keep the main loop from the heartbeats
)
MOVES_K = 3  # width of the tyre's differences from which on a block is not thinned: 23 kPa of movement and more within its second

_RECORD = layout.struct_format(layout.TRACE_RECORD)
_RECORD_BYTES = layout.size(layout.TRACE_RECORD)
_HEAD_BYTES = layout.size(layout.TRACE)
_FIRST = _HEAD_BYTES + _RECORD_BYTES  # stored as they are
_MOST = _HEAD_BYTES + session.TRACE_RECORDS * _RECORD_BYTES
_STEP_AT = 4
_RECORDS_AT = 5  # byte of the head that counts the records
_LIMITS_AT = 6


class Bits:
    """Bits one behind the other in `buf` from byte `at` on, the high one of each byte first; `stop`: where the buffer may be written to."""

    def __init__(self, buf: "Any", at: int, stop: int) -> None:
        self.buf = buf
        self.at = at
        self.stop = stop
        self._word = 0
        self._count = 0

    def put(self, value: int, count: int) -> None:
        """Append the low `count` bits, at most 22. IndexError where the buffer is full."""
        word = self._word << count | value
        count += self._count
        while count >= 8:
            count -= 8
            if self.at >= self.stop:
                raise IndexError
            self.buf[self.at] = word >> count & 255
            self.at += 1
        self._word = word & ((1 << count) - 1)
        self._count = count

    def end(self) -> int:
        """Fill the last byte with zeros. Return the place behind it."""
        if self._count:
            self.put(0, 8 - self._count)
        return self.at

    def take(self, count: int) -> int:
        """Return the next `count` bits, at most 22."""
        while self._count < count:
            self._word = self._word << 8 | self.buf[self.at]
            self._count += 8
            self.at += 1
        self._count -= count
        value = self._word >> self._count
        self._word &= (1 << self._count) - 1
        return value

    def put_rice(self, value: int, k: int) -> None:
        """Append a number >= 0 below 2 ** FULL_BITS."""
        ones = value >> k
        if ones < ESCAPE:
            self.put((1 << ones + 1) - 2, ones + 1)
            self.put(value & ((1 << k) - 1), k)
        else:
            self.put((1 << ESCAPE) - 1, ESCAPE)
            self.put(value, FULL_BITS)

    def take_rice(self, k: int) -> int:
        """Return the next number of `put_rice`."""
        ones = 0
        while ones < ESCAPE and self.take(1):
            ones += 1
        return self.take(FULL_BITS) if ones == ESCAPE else ones << k | self.take(k)


def _widths(payload: bytearray, records: int) -> list[int]:
    """Bits that each of the three readings' differences are stored with: of the mean size, so that the ones before them are few."""
    totals = [0, 0, 0]
    last = struct.unpack_from(_RECORD, payload, _HEAD_BYTES)
    for n in range(1, records):
        row = struct.unpack_from(_RECORD, payload, _HEAD_BYTES + n * _RECORD_BYTES)
        for i in range(3):
            totals[i] += abs(row[i] - last[i])
        last = row
    found = []
    for total in totals:
        mean, k = 2 * total // records, 0
        while mean >> k + 1 and k < K_MOST:
            k += 1
        found.append(k)
    return found


def pack(payload: bytearray, out: bytearray) -> int:
    """Pack a TRACE payload into `out`. Return the length; 0 where it does not get shorter."""
    records = payload[_RECORDS_AT]
    out[:_FIRST] = payload[:_FIRST]
    widths = _widths(payload, records)
    bits = Bits(out, _FIRST, min(len(out), _HEAD_BYTES + records * _RECORD_BYTES - 1))
    last = struct.unpack_from(_RECORD, payload, _HEAD_BYTES)
    try:
        for k in widths:
            bits.put(k, 4)
        for n in range(1, records):
            row = struct.unpack_from(_RECORD, payload, _HEAD_BYTES + n * _RECORD_BYTES)
            for i in range(3):
                difference = row[i] - last[i]
                bits.put_rice(
                    difference << 1 if difference >= 0 else -1 - (difference << 1), widths[i]
                )
            if row[3] == last[3] and row[4] == last[4]:
                bits.put(0, 1)
            else:
                bits.put(1 << 16 | row[3] << 8 | row[4], 17)
            last = row
        return bits.end()
    except IndexError:
        return 0


def unpack(packed: memoryview, out: bytearray) -> int:
    """Restore a payload that `pack` made into `out`. Return its length."""
    records = packed[_RECORDS_AT]
    out[:_FIRST] = packed[:_FIRST]
    bits = Bits(packed, _FIRST, 0)
    widths = [bits.take(4) for _ in range(3)]
    row = list(struct.unpack_from(_RECORD, packed, _HEAD_BYTES))
    for n in range(1, records):
        for i in range(3):
            value = bits.take_rice(widths[i])
            row[i] += -1 - (value >> 1) if value & 1 else value >> 1
        if bits.take(1):
            row[3], row[4] = bits.take(8), bits.take(8)
        struct.pack_into(_RECORD, out, _HEAD_BYTES + n * _RECORD_BYTES, *row)
    return _HEAD_BYTES + records * _RECORD_BYTES


class PackedTrace(Blocks):
    """TRACE blocks that wait to be written out, packed where that is shorter. Where room is needed, confirmed blocks are thinned first;
    the oldest are dropped once that frees nothing more.

    `confirm` takes what the host reports with its heartbeats: it has samples without a gap from one tick to another.
    """

    def __init__(self) -> None:
        Blocks.__init__(self, TRACE_BYTES, True, thinned)
        self._out = bytearray(_MOST)
        self._whole = bytearray(_MOST)
        self._kept = bytearray(_MOST)
        self._forget()

    def _forget(self) -> None:
        self._from = 0
        self._to = -1  # nothing is confirmed
        self._last = -1  # place of the newest block
        self._at = 0  # blocks before this place are thinned, or stay as they are
        self._moved = True  # the block before that place moves, or is not known

    def open(self, free: int = -1) -> int:
        """Take the memory: what the heap has beyond the reserve, at most TRACE_BYTES. Return the size."""
        free = free_bytes() if free < 0 else free
        size = TRACE_BYTES
        while size > LEAST_BYTES and free < size + RESERVE_BYTES:
            size = size * 7 // 8
        self.size = size
        self._forget()
        return Blocks.open(self, free)

    def confirm(self, from_tick: int, to_tick: int) -> None:
        """Note that the host has samples without a gap over these ticks."""
        self._from = from_tick
        self._to = to_tick

    def put(self, kind: int, payload: bytearray, length: int) -> None:
        """Keep payload[:length]; the caller asked `room` first."""
        self._mark()
        packed = pack(payload, self._out)
        self._last = self.end
        if packed:
            Blocks.put(self, kind, self._out, packed)
        else:
            Blocks.put(self, kind, payload, length)

    def _mark(self) -> None:
        """Mark the newest block as confirmed if the host has samples from before it to behind it."""
        if self._last < 0 or self._to < 0:
            return
        head = self._last + 3
        tick = struct.unpack_from("<I", self.buf, head)[0]
        end = tick + (self.buf[head + _RECORDS_AT] - 1) * self.buf[head + _STEP_AT]
        if due(tick, self._from) and due(self._to, end):
            self.buf[self._last] |= CONFIRMED

    def _moves(self, at: int) -> bool:
        """Return True if the tyre moves in this block, or it is stored unpacked, which only a moving one is."""
        at += 3
        if self.step(at - 3) - 3 == _HEAD_BYTES + self.buf[at + _RECORDS_AT] * _RECORD_BYTES:
            return True
        return self.buf[at + _FIRST + 1] >> 4 >= MOVES_K

    def thin(self) -> bool:
        """Replace the next blocks that may be thinned by one. False if there are none."""
        at = max(self._at, self.begin)
        while at < self._last:
            if not self._moved and self._may_thin(at):
                self._gather(at)
                return True
            self._moved = self._moves(at)
            at += self.step(at)
            self._at = at
        return False

    def _may_thin(self, at: int) -> int:
        """Return True if the host has this block's time, and nothing moves in it or in the one behind it."""
        head = at + 3
        return (
            self.buf[at] & CONFIRMED
            and self.buf[head + _STEP_AT] == TRACE_STEP
            and self.buf[head + _RECORDS_AT] == session.TRACE_RECORDS
            and not self._moves(at)
            and not self._moves(at + self.step(at))
        )

    def _gather(self, first: int) -> None:
        """Make one block of every eighth record of the blocks from `first` on."""
        kept, whole = self._kept, self._whole
        at, records, blocks, start = first, 0, 0, 0
        while blocks < GATHERED and at < self._last and self._may_thin(at):
            unpack(memoryview(self.buf)[at + 3 : at + self.step(at)], whole)
            tick = struct.unpack_from("<I", whole, 0)[0]
            skip = -tick % THIN_STEP
            if blocks and (
                whole[_LIMITS_AT:_HEAD_BYTES] != kept[_LIMITS_AT:_HEAD_BYTES]
                or tick + skip != start + records * THIN_STEP
            ):
                break
            if not blocks:
                start = tick + skip
                kept[:_HEAD_BYTES] = whole[:_HEAD_BYTES]
            for n in range(skip // TRACE_STEP, session.TRACE_RECORDS, THIN_STEP // TRACE_STEP):
                to, place = _HEAD_BYTES + records * _RECORD_BYTES, _HEAD_BYTES + n * _RECORD_BYTES
                kept[to : to + _RECORD_BYTES] = whole[place : place + _RECORD_BYTES]
                records += 1
            blocks += 1
            at += self.step(at)
        struct.pack_into("<IBB", kept, 0, start, THIN_STEP, records)
        length = pack(kept, self._out)
        source = self._out if length else kept
        length = length or _HEAD_BYTES + records * _RECORD_BYTES
        self.buf[first + 1] = length & 255
        self.buf[first + 2] = length >> 8
        self.buf[first + 3 : first + 3 + length] = source[:length]
        self._at = first + 3 + length
        self._moved = False
        self._cut(self._at, at)

    def _cut(self, at: int, stop: int) -> None:
        """Remove the bytes from `at` to `stop`."""
        self.cut(at, stop - at)
        self._last -= stop - at

    def _shift(self, count: int) -> None:
        """Move everything after `count` to the front."""
        Blocks._shift(self, count)
        self._last = max(self._last - count, -1)
        if self._at < count:
            self._moved = True
        self._at = max(self._at - count, 0)

    def oldest(self) -> tuple[int, memoryview]:
        """(kind, payload) of the next one to be written out."""
        kind, packed = Blocks.oldest(self)
        kind &= ~CONFIRMED
        if len(packed) == _HEAD_BYTES + packed[_RECORDS_AT] * _RECORD_BYTES:
            return kind, packed
        return kind, memoryview(self._whole)[: unpack(packed, self._whole)]


def thinned(trace: "PackedTrace") -> bool:
    """Thin the next confirmed blocks. False if there are none."""
    return trace.thin()
