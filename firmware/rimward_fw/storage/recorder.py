"""Session recorder: full-rate spans in a ring of memory, a 50 Hz trace, events; stored after the fill.

The tick leaves raw words in its ring; everything here runs in the main loop. Blocks wait in memory without header; they get sequence
number, check code and chain when they are written to the store.
"""

import gc
from array import array

from rimward_protocol import codes, layout, session
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.storage import pieces, trace
from rimward_fw.storage.blocks import Blocks, free_bytes
from rimward_fw.storage.ticks import WRAP, TickReader, due

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Any

    from rimward_protocol.shapes import Record

    from rimward_fw.control.engine import Engine
    from rimward_fw.shapes import Board
    from rimward_fw.storage.store import Store


FIRST_BYTES = 14 * 1024  # at least the first 5 s
RING_BYTES = 26 * 1024  # at least the last 10 s before a stop
TRACE_BYTES = 8 * 1024  # 20 s at 50 Hz; then thinned, so that the whole fill stays in it
FIRST_TICKS = 2500 + 700  # 5 s, and the largest delay of a block: a stall of the ring, a bank
IDLE_BYTES = 64  # without a session: an event or a live sample
SPAN_TICKS = 1000  # interval of snapshots, so that a span survives when older ones are dropped
TRACE_STEP = 10
TICKS_A_TURN = 20  # drained in one turn of the main loop, at most
FLOOR_PA = -1_000_000


class Recorder:
    """Recorder of one session at a time: `begin`, `work` every turn of the main loop, `finish`; `keep` while `writing` and the pump is
    disabled.
    """

    out: "Any"  # both are made when a session opens
    _trace: "Any"

    def __init__(self, engine: "Engine", board: "Board") -> None:
        self.engine = engine
        self.board = board
        self.ticks = TickReader(engine)
        self.fast: "Any" = None  # with its buffers 8 KB, so only while a session is open
        self.first = Blocks(FIRST_BYTES, False)
        self.ring = Blocks(RING_BYTES, True)
        self.trace = Blocks(TRACE_BYTES, True, trace.thinned)
        self.stores = (self.ring, self.first, self.trace)
        self._free = 0  # bytes of heap that the blocks may still take
        self.push: "Any" = (
            None  # pushes a block to a watching host: push(message, kind, payload, length)
        )
        self.active = False
        self.writing = False
        self.listed = False  # the session holds more than its opening
        self.failed = 0  # reply code of the store, where a session could not be stored completely
        self.number = 0
        self.sequence = 0
        self.key: bytes | None = None
        self.mac = b""
        self.started = 0
        self.peak = 0
        self.pump_ticks = 0
        self._payload = bytearray(IDLE_BYTES)
        self.out = self._trace = b""
        self._records = 0
        self._limits = (0, 0, 0)
        self._copies: "Sequence[array[int]]" = ()
        self._copied_at = -1
        self._next_span = 0
        self._live_step = 0
        self._next_live = 0
        self._stream = False
        self.stage = pieces.OPEN
        self.end: "Any" = None  # fields of the END block once the session is closed
        self.end_tick = -1
        self.about: "Any" = None
        self.retry = 0
        self.tries = 0

    def watched(self, live_hz: int, stream: bool) -> None:
        """Set what a host watches: samples a second (0 none), full-rate blocks or not."""
        self._live_step = 500 // live_hz if live_hz else 0
        self._next_live = self.engine.head
        if stream and not self._stream and self.active:
            self._next_span = self.engine.head  # a watcher can replay only from a snapshot
        self._stream = stream

    def opening(
        self, number: int, header: bytes, metas: list[tuple[int, bytes]], key: bytes | None
    ) -> "list[Callable[[], None]]":
        """Return the steps that open a session, for a turn of the main loop each.

        `header`: sealed header bytes; `metas`: (key, bytes) pairs; `key`: chain key or None.
        """
        return [
            lambda: self._name(number, header, key),
            lambda: self._reserve(self.ring, True),  # the largest first
            lambda: self._reserve(self.first),
            lambda: self._reserve(self.trace),
            self._open,
            lambda: self._start(metas),
        ]

    def _name(self, number: int, header: bytes, key: bytes | None) -> None:
        self.number = number
        self.header = header
        self.sequence = session.first_sequence(number)
        self.key = key
        self.mac = session.chain_start(key, header) if key else b""
        self.wrote_header = False
        self._free = free_bytes()

    def _reserve(self, blocks: Blocks, collect: bool = False) -> None:
        """Allocate the memory of blocks."""
        if collect:
            gc.collect()
        self._free -= blocks.open(self._free)

    def _start(self, metas: list[tuple[int, bytes]]) -> None:
        self.peak = FLOOR_PA
        self.pump_ticks = 0
        self._records = 0
        self.active = True
        self.writing = True  # the header: a session without an END block was cut off
        self.failed = 0
        self.listed = False
        self.stage = pieces.OPEN
        self.end = None
        self.end_tick = -1
        self.tries = 0
        self.started = self.engine.head
        self.retry = self.started
        for meta, data in metas:
            self._payload[0] = meta
            self._payload[1 : 1 + len(data)] = data
            self._keep(layout.BLOCK_META, 1 + len(data), codes.HAPPENED)
        self._snapshot(True)  # its blocks are written when `work` comes to that tick

    def leave(self) -> None:
        """Release the memory of a session that was never started."""
        if not self.active:
            self.over()

    def _open(self) -> None:
        """Allocate what only an open session needs."""
        e, x, y = self.engine, self.ticks.x, self.ticks.y
        switches = (x, slots.X_SW, slots.X_SW + 1, session.FIELD_X)
        slow = (x, slots.X_SUPPLY, len(x), session.FIELD_X)
        self.fast = session.FastRecorder(
            x, (switches, slow, (y, slots.FILL_SLOW, len(y), session.FIELD_Y))
        )
        self._copies = [array("i", words) for words in (e.g, e.x, e.f, e.y)]
        self._payload = bytearray(session.MAX_PAYLOAD)
        self.out = bytearray(session.MAX_PAYLOAD + 32)
        self._trace = bytearray(trace.HEAD_BYTES + session.TRACE_RECORDS * trace.RECORD_BYTES)

    def _snapshot(self, fresh: bool) -> None:
        """Copy all words between two ticks; the snapshot block is written when the ring has been drained up to that tick."""
        e = self.engine
        state = self.board.hold()
        for copy, words in zip(self._copies, (e.g, e.x, e.f, e.y)):
            copy[:] = words
        self._copied_at = e.head
        if fresh:
            self.ticks.begin()
        self.board.let_go(state)
        self._next_span = (self._copied_at + SPAN_TICKS) & WRAP

    def _span(self) -> None:
        """Start a span at the snapshot: the ring has been drained up to it."""
        if self.fast.running:
            self.fast.turn()
            self.compress()
            self.fast.again()
        else:
            self.fast.start()
        tick, self._copied_at = self._copied_at, -1
        for which in range(4):
            first = 0
            while first < len(self._copies[which]):
                length, first = session.put_snapshot(
                    self._payload, 0, tick, which, self._copies[which], first
                )
                self._keep(layout.BLOCK_SNAPSHOT, length, codes.TICKS)

    def _keep(self, kind: int, length: int, message: int) -> None:
        """Store the payload in memory and push it to a watching host."""
        place = self.first
        if (self.engine.head - self.started) & WRAP > FIRST_TICKS or not place.room(length):
            place = self.ring
            place.room(length)
        place.put(kind, self._payload, length)
        if self._stream and self.push:
            self.push(message, kind, self._payload, length)

    def _drain(self, limits: tuple[int, int, int]) -> bool:
        """Take ticks out of the ring. Return True where something that takes as long as draining itself was done instead, or after it."""
        ticks, fast = self.ticks, self.fast
        if fast.ready() is not None:
            self.compress()
            return True
        if ticks.overrun():
            fast.lost += ticks.waiting()
            fast.running = False
            self._snapshot(True)
        for _ in range(TICKS_A_TURN):
            if ticks.tail == self._copied_at:
                self._span()
                return True
            if ticks.waiting() == 0 or self.drained():
                return False
            tick = ticks.take()
            full = fast.add(tick, ticks.out & 255, ticks.out >> 8)
            if ticks.fa_pa > self.peak:  # `max` costs the chip more than both
                self.peak = ticks.fa_pa
            if ticks.fb_pa > self.peak:
                self.peak = ticks.fb_pa
            if tick % TRACE_STEP == 0 and self._sample(limits):
                return True
            if full:
                return False
        return False

    def drained(self) -> bool:
        """Return True once a closed session has all its ticks, or a stall has passed over its last ones."""
        return self.end_tick >= 0 and due(self.ticks.tail, self.end_tick)

    def compress(self) -> None:
        """Compress finished banks."""
        bank = self.fast.ready()
        while bank is not None:
            tick = 0
            while tick < bank.n:
                length, tick = self.fast.write(bank, tick, self._payload, 0)
                self._keep(layout.BLOCK_FAST, length, codes.TICKS)
            self.fast.release(bank)
            bank = self.fast.ready()

    def note(self, event: int, cause: int, value: int, value2: int = 0) -> bool:
        """Record an event and push it to a watching host. False without an open session."""
        e = self.engine
        row = {
            "tick": e.head,
            "event": event,
            "cause": cause,
            "state": e.f[slots.F_STATE],
            "out": e.out & 255,
            "value": value,
            "value2": value2,
        }
        body = layout.pack(layout.EVENT, row)
        self._payload[: len(body)] = body
        if self.active and self.end is None:
            self._keep(layout.BLOCK_EVENT, len(body), codes.HAPPENED)
            return True
        if self._stream and self.push:
            self.push(codes.HAPPENED, layout.BLOCK_EVENT, self._payload, len(body))
        return False

    def work(
        self, sample: tuple[int, int, int, int], limits: tuple[int, int, int], drain: bool = True
    ) -> bool:
        """Drain the ring, if asked to, and sample for a watcher. Return True if that took long.

        `sample`: (a, b, tyre) Pa and state; `limits`: ceiling, stop, target Pa.
        """
        head = self.engine.head
        self._limits = limits
        long = False
        if self.active and drain:
            long = self._drain(limits)
            if self._copied_at < 0 and self.end is None and due(head, self._next_span):
                self._snapshot(False)
        if self._live_step and due(head, self._next_live) and self.push:
            self._next_live = head + self._live_step
            self._live(head, sample, limits)
        return long

    def _sample(self, limits: tuple[int, int, int]) -> bool:
        """Add the tick just taken to the trace. Return True if that closed a block."""
        ticks = self.ticks
        if self._records == 0:
            trace.put_head(self._trace, (ticks.tail - 1) & WRAP, TRACE_STEP, 0, limits)
        at = trace.HEAD_BYTES + self._records * trace.RECORD_BYTES
        trace.put_record(
            self._trace, at, (ticks.fa_pa, ticks.fb_pa, ticks.tyre_pa, ticks.state), ticks.out
        )
        self._records += 1
        if self._records < session.TRACE_RECORDS:
            return False
        self.close_trace()
        return True

    def close_trace(self) -> None:
        """Put the trace's records so far into a block."""
        if self._records:
            self._trace[5] = self._records
            length = trace.HEAD_BYTES + self._records * trace.RECORD_BYTES
            self.trace.room(length)
            self.trace.put(layout.BLOCK_TRACE, self._trace, length)
            self._records = 0

    def _live(
        self, head: int, sample: tuple[int, int, int, int], limits: tuple[int, int, int]
    ) -> None:
        trace.put_head(self._payload, head, min(255, self._live_step), 1, limits)
        at = trace.HEAD_BYTES
        trace.put_record(self._payload, at, sample, self.engine.out)
        self.push(codes.LIVE, layout.BLOCK_TRACE, self._payload, at + trace.RECORD_BYTES)

    def waiting(self) -> int:
        """Bytes still to be written."""
        return self.first.waiting() + self.ring.waiting() + self.trace.waiting()

    def keep(self, store: "Store") -> int:
        """Write one piece. Only while the pump is disabled. Return the store's code. See `pieces`."""
        return pieces.keep(self, store)

    def over(self) -> None:
        """Release what only an open session needs."""
        self.fast = None
        self._copies, self.out, self._trace = (), b"", b""
        self._payload = bytearray(IDLE_BYTES)
        self.active = False
        self.writing = False
        for blocks in self.stores:
            blocks.close()

    def finish(self, cause: int, tyre_pa: int, about: "Record") -> None:
        """Close the session: recording ends, `keep` writes the rest. `about`: fields of the store's list."""
        if not self.active or self.end is not None:
            return
        e = self.engine
        self.end = {
            "tick": e.head,
            "cause": cause,
            "state": e.f[slots.F_STATE],
            "tyre_pa": tyre_pa,
            "pump_ticks": e.g[slots.G_TIME],
        }
        self.end_tick = self.engine.head
        self.about = about
        self.listed = True
        self._copied_at = -1
        self.stage = pieces.OPEN
        self.tries = 0
        self.writing = True
