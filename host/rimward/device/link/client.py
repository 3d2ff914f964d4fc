"""Conversation with one inflator: requests with replies, pushes to a callback, time limits everywhere."""

import contextlib
import secrets
from collections import deque
from collections.abc import Callable, Iterator
from typing import Any

from rimward_protocol import codes, enumerations, frame, layout, messages, replies

from rimward.base import logs
from rimward.base.errors import Refusal
from rimward.device.link.transport import LineLost, Transport
from rimward.formats import records

REPLY_S = 2.0
TRIES = 3
BYE_S = 0.3
HELD_S = 8.0  # a host that died holds the inflator for 5 s
SPEAK_S = 1.5  # longest silence of a watching host, after which the inflator stops sending
LAPSED_S = 3.0  # samples come at least once a second: after this time without one the inflator has dropped the subscription
MISSES = 6  # consecutive requests for a session's pieces that may return nothing
LEAST_ASKED = 32  # bytes of a session requested at once on a bad line
MOST_WAITING = (
    8192  # answers; more than one read of a line brings, so that no piece of a session is dropped
)
Push = Callable[[int, bytes], None]


class Client:
    """Client of one inflator. `on_push(message, payload)` receives pushes.

    hold: keep other hosts from holding it. reply_s and tries: time and number of attempts for an answer. reconnect_s: time to
    wait for a lost
    line; 0 for none. Raises Refusal for every refusal of the inflator, a lost line or a silent one.
    """

    def __init__(
        self,
        transport: Transport,
        on_push: Push | None = None,
        hold: bool = True,
        reply_s: float = REPLY_S,
        tries: int = TRIES,
        reconnect_s: float = 0.0,
    ) -> None:
        self.transport = transport
        self.on_push = on_push
        self._hold, self._reply_s, self._tries, self.reconnect_s = hold, reply_s, tries, reconnect_s
        self._decoder = frame.Decoder()
        self._sequence = secrets.randbelow(0xFFFF)
        self._host_id = secrets.randbelow(0xFFFFFFFF) + 1
        self._queue: deque[tuple[int, int, bytes]] = deque(maxlen=MOST_WAITING)
        self._watched: dict[str, int] = {}
        self._spoke = self._heard = transport.now_s()
        self.reopened = 0
        self.about = self._hello()

    def __enter__(self) -> "Client":
        return self

    def __exit__(self, *_exc: object) -> None:
        self.close()

    def close(self) -> None:
        """Say BYE if the line is open, and release it."""
        with contextlib.suppress(Refusal):
            self._reply(
                self._send(codes.BYE, b""), BYE_S
            )  # so that the answer is not left for the next conversation
        self.transport.close()

    # Opening and reopening

    def _hello(self) -> dict[str, Any]:
        """Open the conversation: protocol and layouts must be the same on both sides."""
        ours = layout.layout_hash()
        payload = records.pack_message(
            codes.HELLO,
            protocol=codes.PROTOCOL_VERSION,
            layout_hash=ours,
            what=1 if self._hold else 0,
            host_id=self._host_id,
        )
        until = self.transport.now_s() + HELD_S
        while True:
            kind, answer = self._ask(codes.HELLO, payload)
            if not _is_error(kind, answer, replies.OTHER_HOST) or self.transport.now_s() > until:
                break
            self.wait(0.5)
        about = self._check_reply(codes.HELLO, kind, answer)
        if about["layout_hash"] != ours:
            raise other_layouts(about)
        return about

    def wait(self, seconds: float) -> None:
        """Let time pass; data that arrive meanwhile are dropped."""
        until = self.transport.now_s() + seconds
        while self.transport.now_s() < until:
            self.transport.read()

    def _open_again(self) -> None:
        """Reopen the conversation after a restart of the inflator or a lost line, with the same subscriptions."""
        about = self._hello()
        if about["device_id"] != self.about["device_id"]:
            raise Refusal(
                "Another inflator is on this port now.",
                "If it is the right one, run the command again.",
            )
        self.about = about
        self.reopened += 1
        if self._watched:
            self.request(codes.WATCH, **self._watched)

    def _recover(self, lost: LineLost) -> None:
        """Wait for a lost line. Raises `lost` if it does not come back."""
        if not self.reconnect_s or not self.transport.reopen(self.reconnect_s):
            raise lost
        self._decoder = frame.Decoder()
        self._open_again()

    # Bytes

    def _send(self, kind: int, payload: bytes) -> int:
        self._sequence = (self._sequence + 1) & 0xFFFF
        _log("->", kind, self._sequence, payload)
        self.transport.write(b"\0" + frame.encode(kind, self._sequence, payload))
        self._spoke = self.transport.now_s()
        return self._sequence

    def _frames(self) -> Iterator[tuple[int, int, bytes]]:
        """Return the complete frames of the bytes available."""
        data = self.transport.read()
        at = 0
        while at < len(data):
            result, at = self._decoder.feed(data, at, len(data))
            if result == frame.FRAME:
                _log("<-", self._decoder.kind, self._decoder.sequence, self._decoder.payload)
                yield self._decoder.kind, self._decoder.sequence, bytes(self._decoder.payload)
            elif result == frame.OTHER_VERSION:
                raise other_version(self._decoder.version)

    def pump(self) -> None:
        """Read the line: pushes go to the callback, replies wait for their request."""
        try:
            if self._watched and self.transport.now_s() - self._spoke > SPEAK_S:
                self._send(codes.STATUS, b"")
            self._take()
            if (
                self._watched and self.transport.now_s() - self._heard > LAPSED_S
            ):  # this computer slept or was too busy to send
                self._open_again()
        except LineLost as lost:
            self._recover(lost)

    def _take(self) -> None:
        for kind, sequence, payload in self._frames():
            if codes.LIVE <= kind < 0xC0:
                self._heard = self.transport.now_s()
                if self.on_push is not None:
                    self.on_push(kind, payload)
            else:
                self._queue.append((kind, sequence, payload))

    def _reply(self, sequence: int, limit_s: float | None = None) -> tuple[int, bytes] | None:
        """Return the answer to one request, or None after a timeout."""
        until = self.transport.now_s() + (self._reply_s if limit_s is None else limit_s)
        while True:
            for row in self._queue:
                if row[1] == sequence and row[0] >= 0x40:
                    self._queue.remove(row)
                    return row[0], row[2]
            self._queue.clear()  # answers to requests no longer waited for
            if self.transport.now_s() > until:
                return None
            self._take()

    # Requests

    def _ask(self, kind: int, payload: bytes) -> tuple[int, bytes]:
        """Return the answer to a request. What another program asked before may be answered late under our number: it is passed over."""
        other = None
        for _ in range(self._tries):
            sequence = self._send(kind, payload)
            until = self.transport.now_s() + self._reply_s
            while (left_s := until - self.transport.now_s()) > 0:
                answer = self._reply(sequence, left_s)
                if answer is None:
                    break
                if answer[0] == codes.ERROR or answer[0] in messages.replies_to(kind):
                    return answer
                other = answer
        if other is not None:
            return other
        raise Refusal(
            "The inflator does not answer.", "Check cable and port; switch the inflator off and on."
        )

    def request(self, kind: int, /, **values: Any) -> dict[str, Any]:
        """Send a request, repeat it after a timeout, and return its reply's fields. Refusal if the inflator refuses."""
        payload = records.pack_message(kind, **values)
        answer = self._ask_through(kind, payload)
        if kind == codes.WATCH:
            self._watched = dict(values) if values["what"] else {}
            self._heard = self.transport.now_s()
        return self._check_reply(kind, *answer)

    def ask_soon(self, kind: int, /, **values: Any) -> int:
        """Send a request without waiting; `answer_of` returns its answer once `pump` has read it. Return the sequence number."""
        try:
            return self._send(kind, records.pack_message(kind, **values))
        except LineLost as lost:
            self._recover(lost)
            return self._send(kind, records.pack_message(kind, **values))

    def answer_of(self, asked: int, sequence: int) -> dict[str, Any] | None:
        """Return the fields that answer a request of `ask_soon`, None while pending. Refusal if the inflator refuses.

        After a restart there is no answer: the conversation is reopened.
        """
        for row in self._queue:
            if row[1] == sequence and row[0] >= 0x40:
                self._queue.remove(row)
                if _is_error(row[0], row[2], replies.HELLO_FIRST):
                    self._open_again()
                    return None
                return self._check_reply(asked, row[0], row[2])
        return None

    def _ask_through(self, kind: int, payload: bytes) -> tuple[int, bytes]:
        """Send a request; reopen a lost conversation once."""
        try:
            answer = self._ask(kind, payload)
        except LineLost as lost:
            self._recover(lost)
            return self._ask(kind, payload)
        if _is_error(*answer, replies.HELLO_FIRST):
            self._open_again()
            return self._ask(kind, payload)
        return answer

    def _check_reply(self, asked: int, kind: int, payload: bytes) -> dict[str, Any]:
        values = records.unpack_message(kind, payload)
        if kind == codes.ERROR:
            if values["code"] == replies.VERSION_DIFFERS:
                raise other_version(values["detail"])
            raise records.refusal_of(values["code"])
        if kind not in messages.replies_to(asked):
            raise Refusal(
                f"The inflator answered message {asked} with message {kind}.",
                "Update the older of host and inflator.",
            )
        return values

    def pull(self, session: int, offset: int, end: int, sink: Callable[[bytes], None]) -> None:
        """Read bytes `offset` to `end` of a stored session, each piece to `sink` in order; repeats from the first missing piece.

        After a failure it requests less at a time, down to LEAST_ASKED bytes: a small piece passes between two disturbances.
        After a success it
        requests more again.
        """
        misses, most = 0, end
        while offset < end:
            before, goal = offset, min(end, offset + most)
            try:
                for data in self._pieces(session, offset, goal):
                    sink(data)
                    offset += len(data)
            except LineLost as lost:
                self._recover(lost)
            misses = 0 if offset > before else misses + 1
            if misses:
                most = max(LEAST_ASKED, min(most, frame.MAX_PAYLOAD) // 2)
            elif offset == goal:
                most = min(end, 2 * most)
            if misses == MISSES:
                raise Refusal(
                    f"Session {session} stopped at byte {offset} of {end}.",
                    "Check the cable and repeat the pull: it continues there.",
                )

    def _pieces(self, session: int, offset: int, end: int) -> Iterator[bytes]:
        """Yield pieces in order from `offset` on; ends where one is missing."""
        payload = records.pack_message(
            codes.SESSION_READ, session=session, offset=offset, bytes=end - offset
        )
        sequence = self._send(codes.SESSION_READ, payload)
        while offset < end:
            answer = self._reply(sequence)
            if answer is None:
                return
            if _is_error(*answer, replies.HELLO_FIRST):
                self._open_again()
                return
            values = self._check_reply(codes.SESSION_READ, *answer)
            if (
                values["offset"] != offset
                or values["session"] != session
                or not 0 < len(values["data"]) <= end - offset
            ):
                return
            yield values["data"]
            offset += len(values["data"])


SECRET = (codes.KEY_ENROL,)  # messages whose payload is never logged


def _log(way: str, kind: int, sequence: int, payload: bytes | bytearray | memoryview) -> None:
    """Log one frame for `rimward --log`."""
    if logs.LINK.isEnabledFor(logs.FRAME):
        shown = "(not logged)" if kind in SECRET else bytes(payload).hex()
        logs.LINK.log(
            logs.FRAME,
            "%s %s %d: %d bytes %s",
            way,
            codes.word_of(enumerations.MESSAGES, kind),
            sequence,
            len(payload),
            shown,
        )


def _is_error(kind: int, payload: bytes, code: int) -> bool:
    return bool(kind == codes.ERROR and records.unpack_message(kind, payload)["code"] == code)


def other_layouts(about: dict[str, Any]) -> Refusal:
    """Return the Refusal for different record layouts: the hash begins with a number that grows with every change."""
    ours, theirs = layout.layout_hash(), about["layout_hash"]
    text = f"Host layouts {ours.hex()} and inflator layouts {theirs.hex()} (firmware {records.text_of(about['firmware'])}) differ"
    if ours[:2] > theirs[:2]:
        return Refusal(f"{text}: the inflator is older.", "Update it: rimward install.")
    if ours[:2] < theirs[:2]:
        return Refusal(
            f"{text}: this host is older.",
            "Update Rimward on this computer: pip install --upgrade rimward.",
        )
    return Refusal(
        f"{text}: neither is older.", "Bring the inflator to this host's version: rimward install."
    )


def other_version(spoken: int) -> Refusal:
    """Return the Refusal for another protocol version."""
    older = "host" if spoken > codes.PROTOCOL_VERSION else "inflator"
    return Refusal(
        f"The inflator speaks protocol {spoken}, this host {codes.PROTOCOL_VERSION}.",
        f"Update the {older}.",
    )
