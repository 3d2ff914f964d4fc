"""One session of a campaign as a session file: played again and recorded as by the inflator."""

import struct
from array import array
from pathlib import Path
from typing import Any

import numpy as np
from rimward_protocol import codes, layout, session
from rimward_protocol import kernel_slots as slots
from rimward_protocol.layouthash import LAYOUT_HASH

from rimward.base.errors import Refusal
from rimward.kernels.fingerprint import kernel_hash
from rimward.simulation import engines
from rimward.simulation import faulted as loop
from rimward.simulation.campaign.draw import Draw
from rimward.simulation.campaign.play import LONGEST, Refused, prepared, taken

SPAN_TICKS = 2000  # interval of snapshots
RESET_GAP = 1_000  # gap in the numbers at a reset, so that the ticks on both sides are not taken for one span
FULL_TICKS = 12_000  # longest full-rate record


def keep(d: Draw, path: Path) -> int:
    """Play `d` and write its session. Return the ticks kept at full rate: all, or the last ones up to the end of the session.

    Refusal when arming refuses the job.
    """
    play = engines.compiled()["session"]
    try:
        d, arrays, _ = taken(d)
    except Refused as refused:
        raise Refusal(
            f"Session {d.number} was refused at arming, so there is nothing to record.",
            "Choose another.",
        ) from refused
    last = play(*arrays, 0, LONGEST)
    writer = Writer(d)
    first = int(max(0, min(last + 1 - FULL_TICKS, arrays.r[loop.R_LAST_IN] - FULL_TICKS // 2)))
    if first:
        play(*writer.arrays, 0, first)
        writer.note()
    n = first
    while n <= last and writer.ticks < FULL_TICKS:
        play(*writer.arrays, n, 1)
        writer.after()
        n += 1
    path.write_bytes(writer.end())
    return writer.ticks


class Writer:
    """Writer of one session file, fed after every tick of the loop. Ticks are the processor's: a missed one has no number."""

    def __init__(self, d: Draw) -> None:
        arrays, _ = prepared(d)
        self.words = {name: array("i", getattr(arrays, name).tolist()) for name in "gxfy"}
        self.arrays = arrays._replace(
            **{name: np.frombuffer(words, np.int32) for name, words in self.words.items()}
        )
        x, y = self.words["x"], self.words["y"]
        watches = (
            (x, 2, 3, session.FIELD_X),
            (x, 5, len(x), session.FIELD_X),
            (y, slots.FILL_SLOW, len(y), session.FIELD_Y),
        )
        self.fast = session.FastRecorder(x, watches)
        self.payload = bytearray(session.MAX_PAYLOAD)
        self.block = bytearray(session.MAX_PAYLOAD + 32)
        self.sequence = 0
        self.ticks = 0
        self.peak = 0
        self.shift = 0
        self.due = 0
        self.before = {name: words[:] for name, words in self.words.items()}
        self.resets = 0.0
        self.out = bytearray(header(d, self.words))
        self._conditions(d)

    def _conditions(self, d: Draw) -> None:
        xs, ys = self.arrays.xs, self.arrays.ys
        body = struct.pack(
            "<5i", int(xs[0]), int(ys[13]), int(ys[13]), int(xs[1]), int(xs[1] - xs[2])
        )
        self._meta(layout.META_CONDITIONS, body)
        self._meta(layout.META_BOARD, f"campaign {d.number}".encode())

    def _meta(self, key: int, body: bytes) -> None:
        self._put(layout.BLOCK_META, bytes([key]) + body)

    def _put(self, kind: int, body: bytes | bytearray | memoryview) -> None:
        self.block[8 : 8 + len(body)] = body
        end = session.seal_block(self.block, 0, kind, self.sequence, len(body))
        self.out += self.block[:end]
        self.sequence += 1

    def after(self) -> None:
        """Record the tick just played, if the processor ran in it."""
        h = self.arrays.h
        reset = h[loop.H_RESET] != self.resets
        self.resets = float(h[loop.H_RESET])
        if h[loop.H_GAP_US] == 0.0:
            self.shift += RESET_GAP if reset and self.ticks else 0
            number = int(h[loop.H_BEATS]) + self.shift
            if self.ticks >= self.due or reset:
                self._span(number, reset)
            bits = int(h[loop.H_BITS])
            self.fast.add(number, bits & 255, bits >> 8)
            self.ticks += 1
            self._drain()
            self.peak = max(self.peak, self.words["y"][0])
        self.note()

    def note(self) -> None:
        """Record the state between two ticks."""
        for name, words in self.words.items():
            self.before[name][:] = words

    def _span(self, number: int, reset: bool) -> None:
        """Record a snapshot of the state before this tick."""
        self.fast.turn()
        self._drain()
        if self.ticks == 0 or reset:
            now = {name: words[:] for name, words in self.words.items()}
            self._restore(self.before)
            self.fast.start()
            self._restore(now)
        else:
            self.fast.again()
        for which, name in enumerate("gxfy"):
            first = 0
            while first < len(self.before[name]):
                length, first = session.put_snapshot(
                    self.payload, 0, number, which, self.before[name], first
                )
                self._put(layout.BLOCK_SNAPSHOT, self.payload[:length])
        self.due = self.ticks + SPAN_TICKS

    def _restore(self, kept: dict[str, Any]) -> None:
        for name, words in kept.items():
            self.words[name][:] = words

    def _drain(self) -> None:
        bank = self.fast.ready()
        while bank is not None:
            tick = 0
            while tick < bank.n:
                length, tick = self.fast.write(bank, tick, self.payload, 0)
                self._put(layout.BLOCK_FAST, self.payload[:length])
            self.fast.release(bank)
            bank = self.fast.ready()

    def end(self) -> bytes:
        """Return the complete file."""
        self.fast.turn()
        self._drain()
        g, f, h = self.words["g"], self.words["f"], self.arrays.h
        row = {
            "tick": int(h[loop.H_BEATS]) + self.shift,
            "cause": g[slots.G_CAUSE] or g[slots.G_STOP],
            "state": f[slots.F_STATE],
            "flags": 0,
            "peak_pa": self.peak,
            "tyre_pa": f[slots.F_TYRE_PA],
            "pump_ticks": g[slots.G_TIME],
        }
        self._put(layout.BLOCK_END, layout.pack(layout.END, row))
        return bytes(self.out)


def header(d: Draw, words: dict[str, Any]) -> bytes:
    """Return the sealed header."""
    values = {
        "tick_us": codes.TICK_US, "layout_hash": LAYOUT_HASH, "kernel_hash": kernel_hash(), "device_id": b"campaign", "session": d.number & 0xFFFF, "boot": 0,
        "unix_s": 0,
    }  # fmt: skip
    return bytes(
        session.seal_header(values | {f"words_{name}": len(words[name]) for name in "gxfy"})
    )
