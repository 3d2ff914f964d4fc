"""Session recorder: full-rate spans in a ring of memory, a 50 Hz trace, events; stored after the fill.

The tick leaves raw words in its ring; everything here runs in the main loop. Blocks wait in memory without header; they get sequence
number, check code and chain when they are written to the store.
"""

import gc
from array import array

from rimward_protocol import codes, layout, replies, session
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.storage import trace
from rimward_fw.storage.blocks import Blocks, free_bytes
from rimward_fw.storage.ticks import WRAP, TickReader

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from rimward_protocol.shapes import Buffer, Record

    from rimward_fw.control.engine import Engine
    from rimward_fw.shapes import Board
    from rimward_fw.storage.store import Store


FIRST_BYTES = 14 * 1024  # at least the first 5 s
RING_BYTES = 26 * 1024  # at least the last 10 s before a stop
TRACE_BYTES = 8 * 1024  # 20 s at 50 Hz; then thinned, so that the whole fill stays in it
FIRST_TICKS = 2500 + 700  # 5 s, and the largest delay of a block: a stall of the ring, a bank
SPAN_TICKS = 1000  # interval of snapshots, so that a span survives when older ones are dropped
TRACE_STEP = 10
TICKS_A_TURN = (
    20  # at most so many are drained in one turn of the main loop: one takes it 0.8 ms on the chip
)
FLOOR_PA = -1_000_000
HALF = 0x20000000
RETRY_TICKS = 500  # after a piece that the store refused
TRIES = 3
_OPEN, _CLOSED, _ENDED, _SYNCED = range(4)  # stages of `keep` after all blocks are written


def due(tick: int, at: int) -> bool:
    """Return True once `tick` has reached `at`, also across the tick counter's wrap."""
    return (tick - at) & WRAP < HALF


class Recorder:
    """Recorder of one session at a time: `begin`, `work` every turn of the main loop, `finish`; `keep` while `writing` and the pump is
    disabled.
    """

    _out: "Any"  # both are made when a session opens
    _trace: "Any"

    def __init__(self, engine: "Engine", board: "Board") -> None:
        self.engine = engine
        self.board = board
        self.ticks = TickReader(engine)
        self.fast: "Any" = None  # with its buffers 8 KB, so only while a session is open
        self.first = Blocks(FIRST_BYTES, False)
        self.ring = Blocks(RING_BYTES, True)
        self.trace = Blocks(TRACE_BYTES, True, trace.thinned)
        self.stores = (self.ring, self.first, self.trace)  # largest first: order of allocation
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
        self._payload = bytearray(session.MAX_PAYLOAD)
        self._out = self._trace = b""
        self._records = 0
        self._limits = (0, 0, 0)
        self._copies: "Sequence[array[int]]" = ()
        self._copied_at = -1
        self._next_span = 0
        self._live_step = 0
        self._next_live = 0
        self._stream = False
        self._stage = _OPEN
        self._end: "Any" = None  # fields of the END block once the session is closed
        self._end_tick = -1
        self._about: "Any" = None
        self._retry = 0
        self._tries = 0

    def watched(self, live_hz: int, stream: bool) -> None:
        """Set what a host watches: samples a second (0 none), full-rate blocks or not."""
        self._live_step = 500 // live_hz if live_hz else 0
        self._next_live = self.engine.head
        if stream and not self._stream and self.active:
            self._next_span = self.engine.head  # a watcher can replay only from a snapshot
        self._stream = stream

    def begin(
        self, number: int, header: bytes, metas: list[tuple[int, bytes]], key: bytes | None
    ) -> None:
        """Open a session. `header`: sealed header bytes; `metas`: (key, bytes) pairs; `key`: chain key or None."""
        self.number = number
        self.header = header
        self.sequence = session.first_sequence(number)
        self.key = key
        self.mac = session.chain_start(key, header) if key else b""
        self.wrote_header = False
        gc.collect()
        free = free_bytes()
        for blocks in self.stores:
            free -= blocks.open(free)
        self._open()
        self.peak = FLOOR_PA
        self.pump_ticks = 0
        self._records = 0
        self.active = True
        self.writing = True  # the header: a session without an END block was cut off
        self.failed = 0
        self.listed = False
        self._stage = _OPEN
        self._end = None
        self._end_tick = -1
        self._tries = 0
        self.started = self.engine.head
        self._retry = self.started
        for meta, data in metas:
            self._payload[0] = meta
            self._payload[1 : 1 + len(data)] = data
            self._keep(layout.BLOCK_META, 1 + len(data), codes.HAPPENED)
        self._snapshot(True)  # its blocks are written when `work` comes to that tick

    def _open(self) -> None:
        """Allocate what only an open session needs."""
        e, x, y = self.engine, self.ticks.x, self.ticks.y
        switches = (x, slots.X_SW, slots.X_SW + 1, session.FIELD_X)
        slow = (x, slots.X_SUPPLY, len(x), session.FIELD_X)
        self.fast = session.FastRecorder(
            x, (switches, slow, (y, slots.FILL_SLOW, len(y), session.FIELD_Y))
        )
        self._copies = [array("i", words) for words in (e.g, e.x, e.f, e.y)]
        self._out = bytearray(session.MAX_PAYLOAD + 32)
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
            self._compress()
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

    def _drain(self, most: int, limits: tuple[int, int, int]) -> None:
        """Take at most `most` ticks out of the ring."""
        ticks = self.ticks
        if ticks.overrun():
            self.fast.lost += ticks.waiting()
            self.fast.running = False
            self._snapshot(True)
        while most > 0:
            if ticks.tail == self._copied_at:
                self._span()
            if ticks.waiting() == 0 or self._drained():
                return
            tick = ticks.take()
            if self.fast.add(tick, ticks.out & 255, ticks.out >> 8):
                self._compress()
                most = 1  # a bank takes a turn as long as the ticks that filled it
            self.peak = max(self.peak, ticks.fa_pa, ticks.fb_pa)
            if tick % TRACE_STEP == 0:
                self._sample(tick, limits)
            most -= 1

    def _drained(self) -> bool:
        """Return True once a closed session has all its ticks, or a stall has passed over its last ones."""
        return self._end_tick >= 0 and due(self.ticks.tail, self._end_tick)

    def _compress(self) -> None:
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
        if self.active and self._end is None:
            self._keep(layout.BLOCK_EVENT, len(body), codes.HAPPENED)
            return True
        if self._stream and self.push:
            self.push(codes.HAPPENED, layout.BLOCK_EVENT, self._payload, len(body))
        return False

    def work(
        self, sample: tuple[int, int, int, int], limits: tuple[int, int, int], drain: bool = True
    ) -> None:
        """Drain the ring, if asked to, and sample for a watcher. `sample`: (a, b, tyre) Pa and state; `limits`: ceiling, stop, target Pa."""
        head = self.engine.head
        self._limits = limits
        if self.active and drain:
            self._drain(TICKS_A_TURN, limits)
            if self._copied_at < 0 and self._end is None and due(head, self._next_span):
                self._snapshot(False)
        if self._live_step and due(head, self._next_live) and self.push:
            self._next_live = head + self._live_step
            self._live(head, sample, limits)

    def _sample(self, tick: int, limits: tuple[int, int, int]) -> None:
        ticks = self.ticks
        if self._records == 0:
            trace.put_head(self._trace, tick, TRACE_STEP, 0, limits)
        at = trace.HEAD_BYTES + self._records * trace.RECORD_BYTES
        trace.put_record(
            self._trace, at, (ticks.fa_pa, ticks.fb_pa, ticks.tyre_pa, ticks.state), ticks.out
        )
        self._records += 1
        if self._records == session.TRACE_RECORDS:
            self._close_trace()

    def _close_trace(self) -> None:
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
        """Write one piece: a block, or a step that makes all blocks durable. Only while the pump is disabled. Return the store's code.

        A piece is at most one append, sync or rename of the store, so that the main loop goes on between two of them.
        """
        if not due(self.engine.head, self._retry):
            return replies.OK
        code = self._piece(store)
        if code == replies.OK or code == replies.BUSY_FILLING:
            self._tries = 0 if code == replies.OK else self._tries
            return code
        self._retry = (self.engine.head + RETRY_TICKS) & WRAP
        self._tries += 1
        if self._end is None:
            self.writing = False
        elif self._tries >= TRIES:
            self.failed = code
            self._over()
        return code

    def _piece(self, store: "Store") -> int:
        if store.make_way(self.number, session.MAX_PAYLOAD + 32):
            return replies.OK
        if not self.wrote_header:
            code = store.session_append(self.number, self.header)
            self.wrote_header = code == replies.OK
            return code
        for blocks in (self.first, self.ring, self.trace):
            if blocks.waiting():
                kind, payload = blocks.oldest()
                code = self._write(store, kind, payload)
                if code == replies.OK:
                    blocks.written()
                return code
        if self._end_tick >= 0 and not self._drained():
            return replies.OK  # `work` still drains the ring
        if self._stage == _OPEN:
            self._stage = _CLOSED
            if self.fast.turn():
                self._compress()
            self._close_trace()
            return replies.OK
        return self._last_pieces(store)

    def _last_pieces(self, store: "Store") -> int:
        """Finish the file: END block if the session is closed, then sync, then the file's final name."""
        if self._stage == _CLOSED and self._end:
            self._end["flags"] = 1 if self.ring.lost + self.trace.lost + self.fast.lost else 0
            self._end["peak_pa"] = self.peak
            code = self._write(store, layout.BLOCK_END, layout.pack(layout.END, self._end))
            done = _ENDED
        elif self._stage < _SYNCED:
            code = store.session_sync()
            done = _SYNCED if self._end else _OPEN
            self.writing = bool(self._end) or code != replies.OK
        else:
            code = store.session_end(self.number, self._about)
            if code == replies.OK:
                self._over()
            return code
        if code == replies.OK:
            self._stage = done
        return code

    def _over(self) -> None:
        self.fast = None
        self._copies, self._out, self._trace = (), b"", b""
        self.active = False
        self.writing = False
        for blocks in self.stores:
            blocks.close()

    def _write(self, store: "Store", kind: int, payload: "Buffer") -> int:
        length = len(payload)
        self._out[8 : 8 + length] = payload
        end = session.seal_block(
            self._out, 0, kind, self.sequence, length, session.FLAG_MAC if self.key else 0
        )
        mac = self.mac
        if self.key:
            mac = session.add_mac(self._out, 0, end, self.key, mac)
            end += len(mac)
        code = store.session_append(self.number, memoryview(self._out)[:end])
        if code == 0:
            self.sequence += 1
            self.mac = mac
        return code

    def finish(self, cause: int, tyre_pa: int, about: "Record") -> None:
        """Close the session: recording ends, `keep` writes the rest. `about`: fields of the store's list."""
        if not self.active or self._end is not None:
            return
        e = self.engine
        self._end = {
            "tick": e.head,
            "cause": cause,
            "state": e.f[slots.F_STATE],
            "tyre_pa": tyre_pa,
            "pump_ticks": e.g[slots.G_TIME],
        }
        self._end_tick = self.engine.head
        self._about = about
        self.listed = True
        self._copied_at = -1
        self._stage = _OPEN
        self._tries = 0
        self.writing = True
