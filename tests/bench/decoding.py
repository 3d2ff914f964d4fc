"""Reading a session: numpy straight from the bytes, against construct over the same records, and against copying the bytes."""

import time
from collections.abc import Callable
from typing import Any

from rimward.formats import records
from rimward.sessions import read_session
from rimward_protocol import layout, sessionread

from tests.bench.row import Row
from tests.bench.tracefile import long_trace


def best_of(runs: int, function: Callable[[], Any]) -> float:
    """Least time of `runs` calls, s."""
    times = []
    for _ in range(runs):
        start = time.process_time()
        function()
        times.append(time.process_time() - start)
    return min(times)


def by_construct(data: bytes) -> int:
    """Every block's header, every trace record and every change by construct; compressed payloads are not unpacked. Return the records."""
    _, _, found, _ = sessionread.read_blocks(data)
    count = 0
    for kind, start, stop in found:
        records.BLOCK_HEADER.parse(data[start - 8 : start])
        count += 1
        payload = data[start:stop]
        head = layout.size(layout.TRACE)
        if kind == layout.BLOCK_TRACE:
            size = layout.size(layout.TRACE_RECORD)
            for at in range(head, len(payload), size):
                records.TRACE_RECORD.parse(payload[at : at + size])
                count += 1
    return count


def rows(quick: bool) -> list[Row]:
    """Rows of the table for decoding."""
    data, wanted = long_trace(40 if quick else 400)
    fast = best_of(5, lambda: read_session(data))
    assert len(read_session(data).trace) == wanted
    slow = best_of(1 if quick else 2, lambda: by_construct(data))
    copy = best_of(20, lambda: bytearray(data)) or 1e-9
    about = {
        "bytes": len(data),
        "records": wanted,
        "us_a_record": fast / wanted * 1e6,
        "over_memcpy": fast / copy,
    }
    return [
        Row(
            "session decoding: construct / numpy, the same records",
            [slow / fast],
            [50.0],
            about,
            least=True,
        )
    ]
