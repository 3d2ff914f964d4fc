"""The record of a test on the host: the live samples, which the bench's own memory is too small to keep for half an hour.

A bench writes no flash while a person holds the run control (G8), so its stored session has the last seconds only. The whole test is
that session with its trace replaced by the samples that came live; both files are kept, and only the bench's own is chained to its key.
"""

import struct
from typing import Any

import numpy as np
from rimward_protocol import codes, layout, session, sessionread

from rimward.errors import Refusal

STEP = 10  # ticks between samples: 50 a second
HEAD = struct.Struct(layout.struct_format(layout.TRACE))
RECORD = struct.Struct(layout.struct_format(layout.TRACE_RECORD))
TICK_MS = 2


class Recorder:
    """Takes LIVE pushes; gives times, pressures and vent marks, and TRACE payloads."""

    def __init__(self) -> None:
        self.rows: list[tuple[int, tuple[int, int, int], tuple[int, int, int, int, int]]] = []

    def take(self, payload: bytes) -> None:
        """One LIVE push; what makes no sense, or comes a second time, is left out."""
        why, _kind, start, stop, _after = sessionread.read_block(payload, 0)
        if why != session.OK or stop - start < HEAD.size:
            return
        tick, step, count, *limits = HEAD.unpack_from(payload, start)
        for i in range(min(count, (stop - start - HEAD.size) // RECORD.size)):
            at = tick + i * step
            if not self.rows or at > self.rows[-1][0]:
                self.rows.append((at, tuple(limits), RECORD.unpack_from(payload, start + HEAD.size + i * RECORD.size)))  # type: ignore[arg-type]

    @property
    def last(self) -> dict[str, Any] | None:
        """The newest sample: tick, seconds since the first, lower reading and level in Pa gauge, state; None before the first."""
        if not self.rows:
            return None
        tick, limits, record = self.rows[-1]
        return {
            "tick": tick,
            "t_s": (tick - self.rows[0][0]) * TICK_MS / 1000,
            "low_pa": min(record[0], record[1]) * 100,
            "level_pa": limits[2] * 100,
            "state": codes.word_of(codes.FILL_STATES, record[4]),
        }

    def trace(self, samples: int = 0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Times in ms since the first sample, the lower reading in Pa, where the vent was open; of the newest `samples`, 0 for all."""
        rows = self.rows[-samples:] if samples else self.rows
        first = self.rows[0][0] if self.rows else 0
        t = np.array([(tick - first) * TICK_MS for tick, _limits, _record in rows], dtype=np.int64)
        low = np.array([min(record[0], record[1]) * 100.0 for _tick, _limits, record in rows])
        vent = np.array([record[3] & 4 != 0 for _tick, _limits, record in rows], dtype=bool)
        return t, low, vent

    def payloads(self) -> list[bytes]:
        """TRACE payloads of all samples; a new one wherever the beat or the limits change."""
        out: list[bytes] = []
        run: list[Any] = []
        for row in self.rows:
            if run and (row[0] - run[-1][0] != STEP or row[1] != run[0][1] or len(run) == session.TRACE_RECORDS):
                out.append(_payload(run))
                run = []
            run.append(row)
        return out + [_payload(run)] if run else out


def _payload(run: list[Any]) -> bytes:
    return HEAD.pack(run[0][0], STEP, len(run), *run[0][1]) + b"".join(RECORD.pack(*record) for _tick, _limits, record in run)


def whole_session(stored: bytes, live: Recorder) -> bytes:
    """The bench's stored session with the live samples as its trace. Refusal if the stored one is damaged."""
    why, header, found, _good = sessionread.read_blocks(stored)
    if header is None or why != session.OK:
        raise Refusal(f"The bench's own record of the test is not whole ({why}).", "Pull it again with `rimward session pull`.")
    rows = [(kind, stored[start:stop]) for kind, start, stop in found if kind != layout.BLOCK_TRACE]
    at = next((i for i, (kind, _payload_) in enumerate(rows) if kind == layout.BLOCK_END), len(rows))
    rows[at:at] = [(layout.BLOCK_TRACE, payload) for payload in live.payloads()]
    return stored[: header["header_bytes"]] + b"".join(_sealed(i, kind, payload) for i, (kind, payload) in enumerate(rows))


def _sealed(number: int, kind: int, payload: bytes) -> bytes:
    buf = bytearray(session.BLOCK_HEAD_BYTES + len(payload) + session.BLOCK_CRC_BYTES)
    buf[session.BLOCK_HEAD_BYTES : -session.BLOCK_CRC_BYTES] = payload
    session.seal_block(buf, 0, kind, number, len(payload))
    return bytes(buf)
