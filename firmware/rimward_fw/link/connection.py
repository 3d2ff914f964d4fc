"""The serial link: frames in, one reply each, and pushes while somebody watches.

Nothing here can start the air, raise a ceiling or confirm a bead. A turn of `poll` takes a bounded number of bytes, answers
at most one request and never waits for the line; whatever arrives, the tick runs on. A host that falls silent loses what it
subscribed to, so a pulled cable leaves nothing running.
"""

import struct

from rimward_protocol import codes, frame, layout, messages, replies

from rimward_fw.link import requests

READ_AT_ONCE = 128
PIECES = 32  # of a session, one after the other in one turn of the loop
PIECE_TICKS = 2  # and no longer than this
HOLD_MS = 5000  # a host that says nothing for so long holds nothing and watches nothing
STUCK_MS = 2000  # what the line has not taken for so long is thrown away
CLOCK = 0x3FFFFFFF


class Link:
    """One serial line. `poll` and `push` belong to the main loop."""

    def __init__(self, board, app):
        self.board = board
        self.app = app
        self.decoder = frame.Decoder()
        self.encoder = frame.Encoder()
        self._in = bytearray(READ_AT_ONCE)
        self._at = 0
        self._have = 0
        self._out = memoryview(self.encoder.out)
        self._rest_at = 0
        self._rest_end = 0
        self._stuck_ms = 0
        self._cut = False
        self.opened = False
        self.host_id = 0
        self.heard_ms = -HOLD_MS
        self.live_hz = 0
        self.stream = False
        self.pushed = 0
        self.frames = 0
        self.lost = 0  # frames that the line did not take
        self.failures = 0  # requests that ended in an exception: each is a defect, and is answered all the same
        self._sending = None  # (sequence, session, offset, end): a session on its way out
        self._handlers = requests.table(self)

    def poll(self):
        """One turn: sends what is left over, takes what has come, answers one request, sends pieces of a session."""
        now = self.board.ticks_ms()
        if self._sending:
            self.heard_ms = now  # a host that takes a session has nothing to say meanwhile
        elif (self.host_id or self.live_hz or self.stream) and (now - self.heard_ms) & CLOCK > HOLD_MS:
            self.let_go()
        if not self._flush(now):
            return
        self._take(now)
        if self._sending:
            self._send_pieces()

    def let_go(self):
        """Ends what the host holds and watches. The conversation stays open for its next request."""
        self.host_id = 0
        self.app.person = b""
        self.live_hz = 0
        self.stream = False
        self._sending = None
        self.app.recorder.watched(0, False)

    def _take(self, now):
        """Reads and parses up to the next whole frame, and answers that one."""
        if self._at == self._have:
            self._at = 0
            self._have = self.board.read(self._in)
            if not self._have:
                return
        result, self._at = self.decoder.feed(self._in, self._at, self._have)
        if result == frame.FRAME:
            self.frames += 1
            if self._answer() != replies.OTHER_HOST:
                self.heard_ms = now  # one that asks for what another holds does not keep it held
        elif result == frame.OTHER_VERSION:
            self.error(replies.VERSION_DIFFERS, codes.PROTOCOL_VERSION)

    def _answer(self):
        """Answers the frame just read; gives the reply code, 0 where the handler has replied itself."""
        kind = self.decoder.kind
        handler = self._handlers.get(kind)
        detail = 0
        if handler is None:
            code, detail = replies.UNKNOWN_MESSAGE, kind
        elif kind != codes.HELLO and not self.opened:
            code, detail = replies.HELLO_FIRST, kind
        else:
            values = layout.unpack(_payload_of(kind), self.decoder.payload)
            if values is None:
                code, detail = replies.BAD_LENGTH, self.decoder.length
            else:
                code = self._handled(handler, values)
        if code:
            self.error(code, detail)
        return code

    def _handled(self, handler, values):
        """A handler's code. One that fails is answered all the same, and the loop goes on."""
        try:
            return handler(values)
        except Exception:
            self.failures += 1
            return replies.STORE_DAMAGED

    def reply(self, kind, values):
        """Sends one reply under the request's sequence number."""
        self._send(kind, self.decoder.sequence, layout.pack(_payload_of(kind), values))

    def done(self, code=replies.OK):
        """The plain reply."""
        self.reply(codes.DONE, {"asked": self.decoder.kind, "code": code})

    def error(self, code, detail):
        """A refusal with its code."""
        kind = self.decoder.kind if self.decoder.kind < 0x40 else 0
        self.reply(codes.ERROR, {"asked": kind, "code": code, "detail": detail})

    def push(self, kind, block):
        """Sends one session block unasked; lost if the line is not free."""
        self.pushed = (self.pushed + 1) & 0xFFFF
        self._send(kind, self.pushed, block)

    def _send(self, kind, sequence, body):
        self.encoder.payload[: len(body)] = body
        self._put(kind, sequence, len(body))

    def _put(self, kind, sequence, length):
        """Closes the frame and gives it to the line; what the line does not take at once waits for `_flush`."""
        if self._rest_at < self._rest_end:
            self.lost = (self.lost + 1) & CLOCK
            return
        if self._cut:
            if not self._written(b"\0", 1):
                self.lost = (self.lost + 1) & CLOCK
                return
            self._cut = False
        end = self.encoder.finish(kind, sequence, length)
        sent = self._written(self._out[:end], end)
        if sent < end:
            self._rest_at = sent  # it waits where it is: nothing else is made before it has gone
            self._rest_end = end
            self._stuck_ms = self.board.ticks_ms()

    def _written(self, view, length):
        """How many bytes the line took. A board that gives None took all."""
        sent = self.board.write(view)
        return length if sent is None else sent

    def _flush(self, now):
        """True when nothing is left over. A line that takes nothing for too long loses the frame and all subscriptions."""
        if self._rest_at == self._rest_end:
            return True
        left = self._rest_end - self._rest_at
        sent = self._written(self._out[self._rest_at : self._rest_end], left)
        self._rest_at += sent
        if sent == left:
            return True
        if sent:
            self._stuck_ms = now
        elif (now - self._stuck_ms) & CLOCK > STUCK_MS:
            self._rest_at = self._rest_end
            self._cut = True
            self.lost = (self.lost + 1) & CLOCK
            self.let_go()
        return False

    def send_session(self, session, offset, end):
        """Queues a range of a stored session; pieces go out as the line takes them, answers to other requests between them."""
        self._sending = (self.decoder.sequence, session, offset, end)

    def _send_pieces(self):
        head = self.app.engine.head
        pieces = 0
        while self._sending and self._rest_at == self._rest_end and pieces < PIECES:
            self._send_piece()
            pieces += 1
            if (self.app.engine.head - head) & CLOCK >= PIECE_TICKS:
                return

    def _send_piece(self):
        sequence, session, offset, end = self._sending
        head = layout.size(_payload_of(codes.SESSION_DATA))
        try:
            data = self.app.store.session_read(session, offset, min(frame.MAX_PAYLOAD - head, end - offset))
        except Exception:
            self.failures += 1
            data = b""
        if not data:
            self._sending = None
            return
        struct.pack_into("<II", self.encoder.payload, 0, session, offset)
        self.encoder.payload[head : head + len(data)] = data
        self._put(codes.SESSION_DATA, sequence, head + len(data))
        offset += len(data)
        self._sending = (sequence, session, offset, end) if offset < end else None


def _payload_of(kind):
    return messages.payload_of(kind)
