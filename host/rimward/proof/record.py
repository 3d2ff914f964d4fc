"""Record of a test on the host: live samples, written as they arrive and later joined with the bench's own record.

A bench writes no flash while a person holds the run control (G8); its stored session has the newest minutes in full and, of what this
computer confirmed to have, every eighth sample. The whole test is that session with all samples as its trace. Both files are kept. The joined
one is chained to the bench key by this computer, so that neither can be edited without it.
"""

import struct
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from rimward_protocol import codes, enumerations, layout, session, sessionread
from rimward_protocol.mac import hmac_sha256

from rimward.base.errors import Refusal

STEP = 10  # ticks between samples: 50 a second
HEAD = struct.Struct(layout.struct_format(layout.TRACE))
RECORD = struct.Struct(layout.struct_format(layout.TRACE_RECORD))
TICK_MS = 2
NEXT_TICKS = (
    2 * STEP
)  # between two live samples without a gap: taken every 10 ticks, late by a turn of the main loop
COVERED = 50  # ticks: a trace without a larger distance between samples has no gap
APART_PA = 3_000  # noise between two samples
Row = tuple[int, tuple[int, ...], tuple[int, ...]]  # tick, limits in hPa, record


class Recorder:
    """Receiver of LIVE pushes; returns times, pressures and vent marks, and TRACE payloads.

    `kept`: first and last tick of the newest stretch without a gap that is on disk, which a bench need not keep in full; (0, 0) none.
    """

    def __init__(self) -> None:
        self.rows: list[Row] = []
        self.journal: Journal | None = None
        self.kept: tuple[int, int] = (0, 0)

    def take(self, payload: bytes) -> None:
        """Take one LIVE push; invalid or repeated samples are dropped."""
        why, _kind, start, stop, _after = sessionread.read_block(payload, 0)
        if why != session.OK or stop - start < HEAD.size:
            return
        new = [
            row for row in _rows(payload, start, stop) if not self.rows or row[0] > self.rows[-1][0]
        ]
        self.rows += new
        if self.journal is not None and new:
            self.journal.add(new)
            self._confirm(new)

    def _confirm(self, new: list[Row]) -> None:
        for tick, _limits, _record in new:
            first, last = self.kept
            self.kept = (first if last and tick - last <= NEXT_TICKS else tick, tick)

    @property
    def last(self) -> dict[str, Any] | None:
        """Newest sample: tick, seconds since the first, lower reading and level in Pa gauge, state; None before the first."""
        if not self.rows:
            return None
        tick, limits, record = self.rows[-1]
        return {
            "tick": tick,
            "t_s": (tick - self.rows[0][0]) * TICK_MS / 1000,
            "low_pa": min(record[0], record[1]) * 100,
            "level_pa": limits[2] * 100,
            "state": codes.word_of(enumerations.FILL_STATES, record[4]),
        }

    def trace(self, samples: int = 0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return the times in ms since the first sample, the lower reading in Pa, where the vent was open; of the newest `samples`, 0 for all."""
        rows = self.rows[-samples:] if samples else self.rows
        first = self.rows[0][0] if self.rows else 0
        t = np.array([(tick - first) * TICK_MS for tick, _limits, _record in rows], dtype=np.int64)
        low = np.array([min(record[0], record[1]) * 100.0 for _tick, _limits, record in rows])
        vent = np.array([record[3] & 4 != 0 for _tick, _limits, record in rows], dtype=bool)
        return t, low, vent

    def payloads(self) -> list[bytes]:
        """TRACE payloads of all samples; a new one wherever rate or limits change."""
        return payloads_of(self.rows)


class Journal:
    """Samples on disk as they arrive: a session file without an end, which every session reader reads up to its last sample."""

    def __init__(self, path: Path, header: dict[str, Any], meta: list[bytes]) -> None:
        head = session.seal_header(header)
        self._file = path.open("wb", buffering=0)
        self._file.write(head + chained(head, [(layout.BLOCK_META, payload) for payload in meta]))
        self._number = len(meta)

    def add(self, rows: list[Row]) -> None:
        """Write new samples."""
        for payload in payloads_of(rows):
            buf = bytearray(session.BLOCK_HEAD_BYTES + len(payload) + session.BLOCK_CRC_BYTES)
            buf[session.BLOCK_HEAD_BYTES : -session.BLOCK_CRC_BYTES] = payload
            session.seal_block(buf, 0, layout.BLOCK_TRACE, self._number, len(payload))
            self._file.write(buf)
            self._number += 1

    def close(self) -> None:
        """Close the file."""
        self._file.close()


def from_journal(data: bytes) -> Recorder:
    """Return the samples of a journal as received; a torn end is left out."""
    live = Recorder()
    live.rows = _stored_rows(data)
    return live


def payloads_of(rows: list[Row]) -> list[bytes]:
    """TRACE payloads of samples in order; a new one wherever rate or limits change."""
    out: list[bytes] = []
    run: list[Row] = []
    for row in rows:
        if run and (
            row[0] - run[-1][0] != STEP or row[1] != run[0][1] or len(run) == session.TRACE_RECORDS
        ):
            out.append(_payload(run))
            run = []
        run.append(row)
    return out + [_payload(run)] if run else out


def _payload(run: list[Row]) -> bytes:
    return HEAD.pack(run[0][0], STEP, len(run), *run[0][1]) + b"".join(
        RECORD.pack(*record) for _tick, _limits, record in run
    )


def compare(stored: bytes, live: Recorder) -> dict[str, Any]:
    """Compare the bench's samples with the nearby live ones: number, number of differing ones, largest difference (Pa), and number of the
    bench's
    samples without a live one near. Both take 50 a second at their own ticks, which alternate.
    """
    ticks = [row[0] for row in live.rows]
    apart, compared, missed = [], 0, 0
    for tick, _limits, values in _stored_rows(stored):
        after = bisect_left(ticks, tick)
        if not 0 < after < len(ticks):
            continue  # before the first or after the last
        near = [live.rows[i] for i in (after - 1, after) if abs(ticks[i] - tick) <= 2 * STEP]
        if len(near) < 2:
            missed += 1
            continue
        compared += 1
        distance = max(_outside(values[i], [row[2][i] for row in near]) for i in (0, 1))
        if distance * 100 > APART_PA:
            apart.append(distance * 100)
    return {
        "samples": compared,
        "differing": len(apart),
        "largest_pa": max(apart, default=0),
        "missed_live": missed,
    }


def _outside(value: int, near: list[int]) -> int:
    return max(min(near) - value, value - max(near), 0)


def whole_session(
    stored: bytes, live: Recorder, key: bytes | None = None, metas: Sequence[bytes] = ()
) -> bytes:
    """Return the bench's stored session with all samples as its trace: its own where available, else the live ones. Chained to `key` like the
    bench's
    own. Refusal if the stored one is damaged.
    """
    why, header, found, _good = sessionread.read_blocks(stored)
    if header is None or why != session.OK:
        raise Refusal(
            f"The bench's own record of the test is incomplete ({why}).",
            "Pull it again with `rimward session pull`.",
        )
    rows = [(kind, stored[start:stop]) for kind, start, stop in found if kind != layout.BLOCK_TRACE]
    at = next(
        (i for i, (kind, _payload_) in enumerate(rows) if kind == layout.BLOCK_END), len(rows)
    )
    traces = [
        (layout.BLOCK_TRACE, payload)
        for payload in payloads_of(_joined(_stored_rows(stored), live.rows))
    ]
    rows[at:at] = [*((layout.BLOCK_META, payload) for payload in metas), *traces]
    head = stored[: header["header_bytes"]]
    return head + chained(head, rows, key)


def chained(head: bytes, rows: list[tuple[int, bytes]], key: bytes | None = None) -> bytes:
    """Blocks of (kind, payload), counted from zero; with `key` each with its MAC."""
    mac_key = hmac_sha256(key, b"session") if key else b""
    previous, out = session.chain_start(mac_key, head) if key else b"", []
    for number, (kind, payload) in enumerate(rows):
        buf = bytearray(
            session.BLOCK_HEAD_BYTES
            + len(payload)
            + session.BLOCK_CRC_BYTES
            + (session.BLOCK_MAC_BYTES if key else 0)
        )
        buf[session.BLOCK_HEAD_BYTES : session.BLOCK_HEAD_BYTES + len(payload)] = payload
        end = session.seal_block(buf, 0, kind, number, len(payload), session.FLAG_MAC if key else 0)
        if key:
            previous = session.add_mac(buf, 0, end, mac_key, previous)
        out.append(bytes(buf))
    return b"".join(out)


def _joined(own: list[Row], live: list[Row]) -> list[Row]:
    """One trace of both: the bench's own if it covers the whole test, else the live samples with the bench's in their gaps."""
    if not own or not live:
        return own or live
    if own[0][0] <= live[0][0] + COVERED and all(
        later[0] - row[0] <= COVERED for row, later in zip(own, own[1:], strict=False)
    ):
        return own
    ticks = [row[0] for row in live]
    missing = []
    for row in own:
        after = bisect_left(ticks, row[0])
        before_tick = ticks[after - 1] if after else -1
        after_tick = ticks[after] if after < len(ticks) else row[0] + 3 * STEP
        if min(row[0] - before_tick, after_tick - row[0]) >= STEP:
            missing.append(row)
    return sorted([*live, *missing])


def _stored_rows(stored: bytes) -> list[Row]:
    """Return the TRACE samples of a session."""
    _why, _header, found, _good = sessionread.read_blocks(stored)
    return [
        row
        for kind, start, stop in found
        if kind == layout.BLOCK_TRACE
        for row in _rows(stored, start, stop)
    ]


def _rows(data: bytes, start: int, stop: int) -> Iterator[Row]:
    tick, step, count, *limits = HEAD.unpack_from(data, start)
    for i in range(min(count, (stop - start - HEAD.size) // RECORD.size)):
        yield (
            tick + i * step,
            tuple(limits),
            RECORD.unpack_from(data, start + HEAD.size + i * RECORD.size),
        )
