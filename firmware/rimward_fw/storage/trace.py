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
    """Leave out every second record of the trace that waits in memory. False if that frees nothing."""
    buf = blocks.buf
    at = to = blocks.begin
    while at < blocks.end:
        length = buf[at + 1] | buf[at + 2] << 8
        head = at + 3 + HEAD_BYTES
        stop = at + 3 + length
        step, count = buf[at + _STEP], buf[at + _COUNT]
        leap = 2 if 2 * step <= TRACE_STEP_MAX else 1
        copy(buf, to, buf, at, 3 + HEAD_BYTES)
        kept = (count + leap - 1) // leap
        buf[to + _STEP] = step * leap
        buf[to + _COUNT] = kept
        length = HEAD_BYTES + kept * RECORD_BYTES
        buf[to + 1] = length & 255
        buf[to + 2] = length >> 8
        to += 3 + HEAD_BYTES
        for record in range(head, stop, leap * RECORD_BYTES):
            copy(buf, to, buf, record, RECORD_BYTES)
            to += RECORD_BYTES
        at = stop
    freed = at - to
    blocks.end = to
    return freed > 0


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
