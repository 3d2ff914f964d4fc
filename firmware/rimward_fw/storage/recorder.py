"""The session on the inflator: full-rate spans in a ring of memory, a 50 Hz trace, events; written out after the fill.

The tick leaves raw words in its ring; everything here runs in the main loop. Blocks wait in memory without their
header; they get sequence number, check code and chain when they are written to the store.
"""

import gc
import struct
from array import array

from rimward_protocol import codes, layout, replies, session
from rimward_protocol import kernel_slots as slots

from rimward_fw.storage.blocks import Blocks
from rimward_fw.storage.ticks import WRAP, TickReader

FIRST_BYTES = 14 * 1024  # at least the first 5 s
RING_BYTES = 30 * 1024  # at least the last 10 s before a stop
TRACE_BYTES = 16 * 1024
FIRST_TICKS = 2500 + 700  # 5 s, and what a block may come late: a stall as long as the ring, and a bank
SPAN_TICKS = 1000  # a snapshot this often, so that a span survives when older ones are dropped
TRACE_STEP = 10
TICKS_A_TURN = 50  # drained in one turn of the main loop: what comes in four of its median turns
FLOOR_PA = -1_000_000
HALF = 0x20000000
RETRY_TICKS = 500  # after a piece that the store refused
TRIES = 3
_OPEN, _CLOSED, _ENDED, _SYNCED = range(4)  # stages of `keep` once every block is written

_TRACE = layout.struct_format(layout.TRACE)
_TRACE_BYTES = layout.size(layout.TRACE)
_RECORD = layout.struct_format(layout.TRACE_RECORD)
_RECORD_BYTES = layout.size(layout.TRACE_RECORD)


def due(tick, at):
    """True once `tick` has reached `at`, across the tick counter's wrap."""
    return (tick - at) & WRAP < HALF


class Recorder:
    """One session at a time: `begin`, then `work` each turn of the main loop, `finish`; and `keep` while `writing` and the pump is not enabled."""

    def __init__(self, engine, board):
        self.engine = engine
        self.board = board
        self.ticks = TickReader(engine)
        x, y = self.ticks.x, self.ticks.y
        switches = (x, slots.X_SW, slots.X_SW + 1, session.FIELD_X)
        slow = (x, slots.X_SUPPLY, len(x), session.FIELD_X)
        self.fast = session.FastRecorder(x, (switches, slow, (y, slots.FILL_SLOW, len(y), session.FIELD_Y)))
        self.first = Blocks(FIRST_BYTES, False)
        self.ring = Blocks(RING_BYTES, True)
        self.trace = Blocks(TRACE_BYTES, True)
        self.stores = (self.ring, self.trace, self.first)  # largest first: the order in which memory is taken
        self.push = None  # how a block goes to a watching host: push(message, kind, payload, length)
        self.active = False
        self.writing = False
        self.listed = False  # it holds more than its opening
        self.failed = 0  # the store's code, where a session could not be kept whole
        self.number = 0
        self.sequence = 0
        self.key = None
        self.mac = b""
        self.started = 0
        self.peak = 0
        self.pump_ticks = 0
        self._payload = bytearray(session.MAX_PAYLOAD)
        self._out = bytearray(session.MAX_PAYLOAD + 32)
        self._trace = bytearray(_TRACE_BYTES + session.TRACE_RECORDS * _RECORD_BYTES)
        self._records = 0
        self._limits = (0, 0, 0)
        self._copies = [array("i", words) for words in (engine.g, engine.x, engine.f, engine.y)]
        self._copied_at = -1
        self._next_span = 0
        self._live_step = 0
        self._next_live = 0
        self._stream = False
        self._stage = _OPEN
        self._end = None  # fields of the END block once the session is closed
        self._end_tick = -1
        self._about = None
        self._retry = 0
        self._tries = 0

    def watched(self, live_hz, stream):
        """What a host wants pushed: samples a second (0 none), and the full-rate blocks or not."""
        self._live_step = 500 // live_hz if live_hz else 0
        self._next_live = self.engine.head
        if stream and not self._stream and self.active:
            self._next_span = self.engine.head  # a watcher can replay only from a snapshot
        self._stream = stream

    def begin(self, number, header, metas, key):
        """Opens a session. `header`: sealed header bytes; `metas`: (key, bytes) pairs; `key`: chain key or None."""
        self.number = number
        self.header = header
        self.sequence = session.first_sequence(number)
        self.key = key
        self.mac = session.chain_start(key, header) if key else b""
        self.wrote_header = False
        gc.collect()
        for blocks in self.stores:
            blocks.open()
        self.peak = FLOOR_PA
        self.pump_ticks = 0
        self._records = 0
        self.active = True
        self.writing = True  # the header: from now on a session that ends without an END block is one that was cut off
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
        self._snapshot(True)
        self._span()
        self.fast.lost = 0  # what passed before the session does not count

    def _snapshot(self, fresh):
        """Copy all words between two ticks; the snapshot is put down when the ring has been drained up to there."""
        e = self.engine
        state = self.board.hold()
        for copy, words in zip(self._copies, (e.g, e.x, e.f, e.y)):
            copy[:] = words
        self._copied_at = e.head
        if fresh:
            self.ticks.begin()
        self.board.let_go(state)
        self._next_span = (self._copied_at + SPAN_TICKS) & WRAP

    def _span(self):
        """Begin a span at the snapshot: the ring has been drained up to it."""
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
                length, first = session.put_snapshot(self._payload, 0, tick, which, self._copies[which], first)
                self._keep(layout.BLOCK_SNAPSHOT, length, codes.TICKS)

    def _keep(self, kind, length, message):
        """Puts the payload into memory, and to a watching host."""
        place = self.first
        if (self.engine.head - self.started) & WRAP > FIRST_TICKS or not place.room(length):
            place = self.ring
            place.room(length)
        place.put(kind, self._payload, length)
        if self._stream and self.push:
            self.push(message, kind, self._payload, length)

    def _drain(self, most, limits):
        """Take at most `most` ticks out of the ring."""
        ticks = self.ticks
        if ticks.overrun():
            self.fast.lost += ticks.waiting()
            self.fast.running = False
            self._snapshot(True)
        while most > 0:
            if ticks.tail == self._copied_at:
                self._span()
            if ticks.waiting() == 0 or ticks.tail == self._end_tick:
                return
            tick = ticks.take()
            if self.fast.add(tick, ticks.out & 255, ticks.out >> 8):
                self._compress()
            self.peak = max(self.peak, ticks.fa_pa, ticks.fb_pa)
            if tick % TRACE_STEP == 0:
                self._sample(tick, limits)
            most -= 1

    def _compress(self):
        """Compress finished banks."""
        bank = self.fast.ready()
        while bank is not None:
            tick = 0
            while tick < bank.n:
                length, tick = self.fast.write(bank, tick, self._payload, 0)
                self._keep(layout.BLOCK_FAST, length, codes.TICKS)
            self.fast.release(bank)
            bank = self.fast.ready()

    def note(self, event, cause, value, value2=0):
        """Keep an event and push it to a watching host. False without a session to keep it in."""
        e = self.engine
        row = {"tick": e.head, "event": event, "cause": cause, "state": e.f[slots.F_STATE], "out": e.out & 255, "value": value, "value2": value2}
        body = layout.pack(layout.EVENT, row)
        self._payload[: len(body)] = body
        if self.active and self._end is None:
            self._keep(layout.BLOCK_EVENT, len(body), codes.HAPPENED)
            return True
        if self._stream and self.push:
            self.push(codes.HAPPENED, layout.BLOCK_EVENT, self._payload, len(body))
        return False

    def work(self, sample, limits):
        """Main loop: drains banks, samples the trace. `sample`: (a, b, tyre) Pa and state; `limits`: ceiling, stop, target Pa."""
        head = self.engine.head
        self._limits = limits
        if self.active:
            self._drain(TICKS_A_TURN, limits)
            if self._copied_at < 0 and self._end is None and due(head, self._next_span):
                self._snapshot(False)
        if self._live_step and due(head, self._next_live) and self.push:
            self._next_live = head + self._live_step
            self._live(head, sample, limits)

    def _sample(self, tick, limits):
        ticks = self.ticks
        if self._records == 0:
            layout_trace(self._trace, tick, TRACE_STEP, 0, limits)
        at = _TRACE_BYTES + self._records * _RECORD_BYTES
        put_record(self._trace, at, (ticks.fa_pa, ticks.fb_pa, ticks.tyre_pa, ticks.state), ticks.out)
        self._records += 1
        if self._records == session.TRACE_RECORDS:
            self._close_trace()

    def _close_trace(self):
        if self._records:
            self._trace[5] = self._records
            length = _TRACE_BYTES + self._records * _RECORD_BYTES
            self.trace.room(length)
            self.trace.put(layout.BLOCK_TRACE, self._trace, length)
            self._records = 0

    def _live(self, head, sample, limits):
        layout_trace(self._payload, head, min(255, self._live_step), 1, limits)
        at = _TRACE_BYTES
        put_record(self._payload, at, sample, self.engine.out)
        self.push(codes.LIVE, layout.BLOCK_TRACE, self._payload, at + _RECORD_BYTES)

    def waiting(self):
        """Bytes that are to be written out."""
        return self.first.waiting() + self.ring.waiting() + self.trace.waiting()

    def keep(self, store):
        """Write one piece: a block, or what makes all blocks durable. Only while the pump is not enabled. Return the store's code.

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

    def _piece(self, store):
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
        if self._end_tick >= 0 and self.ticks.tail != self._end_tick:
            return replies.OK  # `work` still takes ticks out of the ring
        if self._stage == _OPEN:
            self._stage = _CLOSED
            if self.fast.turn():
                self._compress()
            self._close_trace()
            return replies.OK
        return self._last_pieces(store)

    def _last_pieces(self, store):
        """All blocks are written: the END block if the session is closed, then sync, then the file's final name."""
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

    def _over(self):
        self.fast.running = False
        self.active = False
        self.writing = False
        for blocks in self.stores:
            blocks.close()

    def _write(self, store, kind, payload):
        length = len(payload)
        self._out[8 : 8 + length] = payload
        end = session.seal_block(self._out, 0, kind, self.sequence, length, session.FLAG_MAC if self.key else 0)
        mac = self.mac
        if self.key:
            mac = session.add_mac(self._out, 0, end, self.key, mac)
            end += len(mac)
        code = store.session_append(self.number, memoryview(self._out)[:end])
        if code == 0:
            self.sequence += 1
            self.mac = mac
        return code

    def finish(self, cause, tyre_pa, about):
        """Close the session: nothing more is recorded, `keep` writes the rest. `about`: what the store's list says of it."""
        if not self.active or self._end is not None:
            return
        e = self.engine
        self._end = {"tick": e.head, "cause": cause, "state": e.f[slots.F_STATE], "tyre_pa": tyre_pa, "pump_ticks": e.g[slots.G_TIME]}
        self._end_tick = self.engine.head
        self._about = about
        self.listed = True
        self._copied_at = -1
        self._stage = _OPEN
        self._tries = 0
        self.writing = True


def layout_trace(buf, tick, step, records, limits):
    """The head of a TRACE payload; limits are rounded down."""
    ceiling, stop, target = limits
    struct.pack_into(_TRACE, buf, 0, tick, step, records, ceiling // 100, stop // 100, target // 100)


def put_record(buf, at, sample, out):
    """One TRACE record: readings in hPa, clipped to what the field holds."""
    a, b, tyre, state = sample
    bits = out & 255 | (codes.OUT_VENT if out & 512 else 0)  # the vent is open, whoever asked for it
    struct.pack_into(_RECORD, buf, at, hpa(a), hpa(b), layout.UNKNOWN_HPA if tyre < 0 else hpa(tyre), bits, state)


def hpa(pa):
    """Pa to whole hPa inside an int16."""
    return min(32767, max(-32767, (pa + 50) // 100))

