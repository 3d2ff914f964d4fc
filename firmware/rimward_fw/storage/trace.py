"""TRACE payloads of a session: head, records, and thinning while they wait in memory. Main loop only."""

import struct

from rimward_protocol import codes, layout
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.storage.blocks import copy

if TYPE_CHECKING:
    from rimward_fw.storage.blocks import Blocks

TRACE_STEP_MAX = 160  # coarsest, 0.32 s: five minutes of a fill

_TRACE = layout.struct_format(layout.TRACE)
HEAD_BYTES = layout.size(layout.TRACE)
_STEP, _COUNT = (
    3 + 4,
    3 + 5,
)  # places of step and number of records behind the head of a block in memory
_RECORD = layout.struct_format(layout.TRACE_RECORD)
RECORD_BYTES = layout.size(layout.TRACE_RECORD)


def put_head(
    buf: bytearray, tick: int, step: int, records: int, limits: tuple[int, int, int]
) -> None:
    """Build the head of a TRACE payload; limits are rounded down."""
    ceiling, stop, target = limits
    struct.pack_into(
        _TRACE, buf, 0, tick, step, records, ceiling // 100, stop // 100, target // 100
    )


def thinned(blocks: "Blocks") -> bool:
    """Leave out every second record of the next block that can spare them, in turns through all that wait. False if none can.

    One block at a time: all of them took the main loop 0.2 s.
    """
    for _ in range(2):  # from the last place on, then from the oldest
        while blocks.next_thin < blocks.end:
            at = blocks.next_thin
            freed = _halved(blocks, at)
            blocks.next_thin += blocks.step(at)
            if freed:
                return True
        blocks.next_thin = blocks.begin
    return False


def _halved(blocks: "Blocks", at: int) -> int:
    """Leave out every second record of the block at a place. Return the bytes that this frees."""
    buf = blocks.buf
    step, count = buf[at + _STEP], buf[at + _COUNT]
    kept = (count + 1) // 2
    if 2 * step > TRACE_STEP_MAX or kept == count:
        return 0
    first = at + 3 + HEAD_BYTES
    for record in range(1, kept):
        to = first + record * RECORD_BYTES
        copy(buf, to, buf, to + record * RECORD_BYTES, RECORD_BYTES)
    buf[at + _STEP] = step * 2
    buf[at + _COUNT] = kept
    length = HEAD_BYTES + kept * RECORD_BYTES
    freed = (count - kept) * RECORD_BYTES
    blocks.cut(at + 3 + length, freed)
    buf[at + 1] = length & 255
    buf[at + 2] = length >> 8
    return freed


def put_record(buf: bytearray, at: int, sample: tuple[int, int, int, int], out: int) -> None:
    """Append one TRACE record: readings in hPa, clipped to the field's range."""
    a, b, tyre, state = sample
    bits = out & 255 | (
        codes.OUT_VENT if out & 512 else 0
    )  # the vent is open, whoever requested it
    struct.pack_into(
        _RECORD, buf, at, hpa(a), hpa(b), layout.UNKNOWN_HPA if tyre < 0 else hpa(tyre), bits, state
    )


def hpa(pa: int) -> int:
    """Convert Pa to whole hPa inside an int16."""
    return min(32767, max(-32767, (pa + 50) // 100))
