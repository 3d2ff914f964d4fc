"""Serial link: one reply to each request, and pushes while a host watches.

Nothing here can start the air, raise a ceiling or confirm a bead. One call of `poll` takes a bounded number of bytes, answers at most one
request and never waits for the line; the tick runs on whatever arrives. Subscriptions and holds expire when the host is silent, so a
pulled cable leaves nothing running.
"""

import struct

from rimward_protocol import codes, frame, layout, messages, replies
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw import rooms
from rimward_fw.link import requests, store_requests

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from rimward_protocol.shapes import Buffer, Record

    from rimward_fw.shapes import App, Board


READ_AT_ONCE = 48
PIECES = 32  # pieces of a session in one turn of the loop
PIECE_TICKS = 2  # and their time limit
HOLD_MS = 5000  # silence after which a host's hold and subscriptions expire
STUCK_MS = 2000  # a frame that the line has not taken for so long is dropped
CLOCK = 0x3FFFFFFF
# requests answered by `store_requests`
STORED = bytes(
    (
        codes.PROFILE_PUT,
        codes.PROFILE_LIST,
        codes.PROFILE_GET,
        codes.PROFILE_DELETE,
        codes.SELECT,
        codes.SESSION_LIST,
        codes.SESSION_READ,
        codes.SETTING_PUT,
        codes.FAULTS,
        codes.KEY_ENROL,
        codes.PRESET_PUT,
        codes.PRESET_LIST,
        codes.PRESET_DELETE,
        codes.KEY_ASK,
        codes.PERSON,
    )
)
# and what they need besides, loaded in a turn of the main loop each
ALSO = {
    codes.PROFILE_PUT: (rooms.INTAKE,),
    codes.SETTING_PUT: (rooms.SENSE, rooms.INTAKE),
    codes.KEY_ENROL: (rooms.INTAKE,),
    codes.PRESET_PUT: (rooms.PRESET, rooms.INTAKE),
}


class Link:
    """One serial line. `poll` and `push` belong to the main loop."""

    def __init__(self, board: "Board", app: "App") -> None:
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
        self._unready = False  # the frame just read waits for another turn
        self.opened = False
        self.host_id = 0
        self.heard_ms = -HOLD_MS
        self.live_hz = 0
        self.stream = False
        self.pushed = 0
        self.frames = 0
        self.lost = 0  # dropped frames
        self.failures = (
            0  # requests that ended in an exception: each is a defect, but still answered
        )
        self._sending: "Any" = None  # (sequence, session, offset, end): session being sent

    def poll(self) -> bool:
        """Run one turn: send pending bytes, read, answer one request, send pieces of a session. Return True if that took its time."""
        now = self.board.ticks_ms()
        if self._sending:
            self.heard_ms = now  # a host that reads a session sends nothing meanwhile
        elif (self.host_id or self.live_hz or self.stream) and (
            now - self.heard_ms
        ) & CLOCK > HOLD_MS:
            self.let_go()
        if not self._flush(now):
            return False
        took = self._take(now)
        if self._sending:
            self._send_pieces()
        return took or self._sending is not None

    def let_go(self) -> None:
        """End the host's hold and subscriptions. The conversation stays open for its next request."""
        self.host_id = 0
        self.app.person = b""
        self.live_hz = 0
        self.stream = False
        self._sending = None
        self.app.recorder.watched(0, False)

    def _take(self, now: int) -> bool:
        """Read and parse up to the next complete frame, and answer it. Return True if there was one."""
        if not self._unready:
            if self._at == self._have:
                self._at = 0
                self._have = self.board.read(self._in)
                if not self._have:
                    return False
            result, self._at = self.decoder.feed(self._in, self._at, self._have)
            if result == frame.OTHER_VERSION:
                self.error(replies.VERSION_DIFFERS, codes.PROTOCOL_VERSION)
            if result != frame.FRAME:
                return result != frame.NOTHING
            self.frames += 1
            if self.decoder.kind in STORED:  # reading and answering it take a turn each
                self._unready = True
                return True
        self._unready = not self._ready(self.decoder.kind)
        if not self._unready and self._answer() != replies.OTHER_HOST:
            self.heard_ms = (
                now  # a request for a hold owned by another host does not extend that hold
            )
        return True

    def _ready(self, kind: int) -> bool:
        """Return False where a module that answers this request had to be loaded first: another turn goes on."""
        if kind not in STORED or not self.opened or self.app.enabled():
            return True
        return rooms.ready(rooms.STORE_REQUESTS, *ALSO.get(kind, ()))

    def _answer(self) -> int:
        """Answer the frame just read. Return the reply code, 0 where the handler has replied itself."""
        kind = self.decoder.kind
        stored = kind in STORED
        detail = 0
        if kind not in requests.HANDLERS and not stored:
            code, detail = replies.UNKNOWN_MESSAGE, kind
        elif kind != codes.HELLO and not self.opened:
            code, detail = replies.HELLO_FIRST, kind
        elif stored and self.app.enabled():
            code = replies.BUSY_FILLING
        else:
            values = layout.unpack(_payload_of(kind), self.decoder.payload)
            if values is None:
                code, detail = replies.BAD_LENGTH, self.decoder.length
            else:
                handlers = store_requests.HANDLERS if stored else requests.HANDLERS
                code = self._handled(handlers[kind], values)
        if code:
            self.error(code, detail)
        return code

    def _handled(self, handler: "Callable[..., int]", values: "Record") -> int:
        """Call a handler and return its code; an exception is answered as well, and the loop goes on."""
        try:
            return handler(self, values)
        except Exception:
            self.failures += 1
            return replies.STORE_DAMAGED

    def reply(self, kind: int, values: "Record") -> None:
        """Send one reply under the request's sequence number."""
        self._send(kind, self.decoder.sequence, layout.pack(_payload_of(kind), values))

    def done(self, code: int = replies.OK) -> None:
        """Send the plain reply."""
        self.reply(codes.DONE, {"asked": self.decoder.kind, "code": code})

    def error(self, code: int, detail: int) -> None:
        """Send a refusal with its code."""
        kind = self.decoder.kind if self.decoder.kind < 0x40 else 0
        self.reply(codes.ERROR, {"asked": kind, "code": code, "detail": detail})

    def push(self, kind: int, block: "Buffer") -> None:
        """Send one session block as a push; dropped if the line is busy."""
        self.pushed = (self.pushed + 1) & 0xFFFF
        self._send(kind, self.pushed, block)

    def _send(self, kind: int, sequence: int, body: "Buffer") -> None:
        self.encoder.payload[: len(body)] = body
        self._put(kind, sequence, len(body))

    def _put(self, kind: int, sequence: int, length: int) -> None:
        """Close the frame and write it; what the line does not take at once waits for `_flush`."""
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
            self._rest_at = sent  # it waits in place: no other frame is made before it is sent
            self._rest_end = end
            self._stuck_ms = self.board.ticks_ms()

    def _written(self, view: "Buffer", length: int) -> int:
        """Write and return the number of bytes taken. A board that returns None took all."""
        sent = self.board.write(view)
        return length if sent is None else sent

    def _flush(self, now: int) -> bool:
        """Send pending bytes; true when none remain. A line blocked for too long loses the frame and all subscriptions."""
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

    def send_session(self, session: int, offset: int, end: int) -> None:
        """Queue a range of a stored session; its pieces are sent as the line takes them, between answers to other requests."""
        self._sending = (self.decoder.sequence, session, offset, end)

    def _send_pieces(self) -> None:
        head = self.app.engine.head
        pieces = 0
        while self._sending and self._rest_at == self._rest_end and pieces < PIECES:
            self._send_piece()
            pieces += 1
            if (self.app.engine.head - head) & CLOCK >= PIECE_TICKS:
                return

    def _send_piece(self) -> None:
        sequence, session, offset, end = self._sending
        head = layout.size(_payload_of(codes.SESSION_DATA))
        try:
            data = self.app.store.session_read(
                session, offset, min(frame.MAX_PAYLOAD - head, end - offset)
            )
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


def _payload_of(kind: int) -> "Any":
    return messages.payload_of(kind)
