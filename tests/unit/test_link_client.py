"""The host's client against a far end that sends wrong, random or no data: one refusal in bounded time, nothing else."""

import contextlib
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rimward.base.errors import Refusal
from rimward.device.link import Client, LockstepTransport, verbs
from rimward.device.link.client import LAPSED_S, MOST_WAITING
from rimward.device.link.live import live_rows
from rimward.device.link.transport import LineLost, lost
from rimward.simulation.plant import compressor
from rimward.simulation.virtual import VirtualInflator
from rimward_protocol import codes, frame, layout, messages, replies

from tests.fuzz.frames import Maker
from tests.unit.linkbench import profile

Answer = Callable[[int, int, bytes], bytes]


class FarEnd:
    """A line with `answer(kind, sequence, payload)` at its other end, and a clock that moves 20 ms a read."""

    def __init__(self, answer: Answer) -> None:
        self.answer = answer
        self.decoder = frame.Decoder()
        self.clock = 0.0
        self.waiting = b""
        self.reopens = 0

    def write(self, data: bytes) -> None:
        for byte in data:
            if self.decoder.put(byte) == frame.FRAME:
                self.waiting += self.answer(
                    self.decoder.kind, self.decoder.sequence, bytes(self.decoder.payload)
                )

    def read(self) -> bytes:
        self.clock += 0.02
        data, self.waiting = self.waiting, b""
        return data

    def now_s(self) -> float:
        return self.clock

    def reopen(self, wait_s: float) -> bool:
        self.reopens += 1
        return True

    def close(self) -> None:
        pass


def hello_is(**changed: Any) -> bytes:
    """A correct answer to HELLO, except for `changed`."""
    row = {
        "protocol": codes.PROTOCOL_VERSION, "profile": codes.PROFILE_VERSION, "session": 1, "flags": 0, "layout_hash": layout.layout_hash(), "device_id": b"far end0", "board": b"paper",
        "firmware": b"0", "interpreter": b"none", "boot": 1, "max_payload": 512, **changed,
    }  # fmt: skip
    return layout.pack(messages.payload_of(codes.HELLO_IS), row)


def polite(then: Answer) -> Answer:
    """Answer HELLO rightly and everything else with `then`."""
    return lambda kind, sequence, payload: (
        frame.encode(codes.HELLO_IS, sequence, hello_is())
        if kind == codes.HELLO
        else then(kind, sequence, payload)
    )


def silent(_kind: int, _sequence: int, _payload: bytes) -> bytes:
    return b""


def test_silence_is_reported_after_three_tries() -> None:
    far = FarEnd(silent)
    with pytest.raises(Refusal, match="does not answer. Check cable"):
        Client(far)
    assert 6.0 <= far.clock < 6.5


def test_an_answer_lost_twice_is_asked_for_again() -> None:
    asked = []

    def third_time(kind: int, sequence: int, payload: bytes) -> bytes:
        asked.append(sequence)
        return frame.encode(codes.WAITING_IS, sequence, bytes(13)) if len(asked) == 3 else b""

    client = Client(FarEnd(polite(third_time)))
    assert client.request(codes.WAITING)["waiting"] == 0
    assert len(set(asked)) == 3


def test_answers_to_other_questions_are_not_taken() -> None:
    def late(kind: int, sequence: int, payload: bytes) -> bytes:
        stale = frame.encode(codes.WAITING_IS, sequence - 1 & 0xFFFF, b"\x07" + bytes(12))
        echo = frame.encode(kind, sequence, payload)
        same_number = frame.encode(codes.SETTING_IS, sequence, bytes(3))  # another program's
        return (
            stale * (MOST_WAITING * 2)
            + echo
            + same_number
            + frame.encode(codes.WAITING_IS, sequence, b"\x02" + bytes(12))
        )

    assert Client(FarEnd(polite(late))).request(codes.WAITING)["waiting"] == 2


def test_an_answer_of_another_kind_without_end_is_reported_and_ends() -> None:
    class Chatty(FarEnd):
        def read(self) -> bytes:
            self.clock += 0.02
            return self.waiting  # again and again

    def other(_kind: int, sequence: int, _payload: bytes) -> bytes:
        return frame.encode(codes.WAITING_IS, sequence, bytes(13))

    far = Chatty(other)
    with pytest.raises(Refusal, match="answered message 1 with message"):
        Client(far)
    assert far.clock < 10.0


@pytest.mark.parametrize(
    ("answer", "told"),
    [
        ({"layout_hash": b"\0\0other!"}, "inflator is older.*rimward install"),
        ({"layout_hash": b"\xff\xffother!"}, "this host is older"),
        ({"layout_hash": layout.layout_hash()[:2] + b"other!"}, "neither is older"),
    ],
)
def test_other_layouts_are_refused_naming_both(answer: dict[str, Any], told: str) -> None:
    with pytest.raises(Refusal, match=told) as refused:
        Client(
            FarEnd(
                lambda kind, sequence, payload: frame.encode(
                    codes.HELLO_IS, sequence, hello_is(**answer)
                )
            )
        )
    assert layout.layout_hash().hex() in str(refused.value) and answer["layout_hash"].hex() in str(
        refused.value
    )


@pytest.mark.parametrize(
    ("version", "older"), [(0, "inflator"), (1, "inflator"), (3, "host"), (255, "host")]
)
def test_other_protocol_names_the_side_to_update(version: int, older: str) -> None:
    error = {"asked": codes.HELLO, "code": replies.VERSION_DIFFERS, "detail": version}

    def by_frame(kind: int, sequence: int, payload: bytes) -> bytes:
        return frame.encode(codes.STATUS_IS, sequence, b"", version)

    def by_error(kind: int, sequence: int, payload: bytes) -> bytes:
        packed = layout.pack(messages.payload_of(codes.ERROR), error)
        return frame.encode(codes.ERROR, sequence, packed)

    for answer in (by_frame, by_error):
        with pytest.raises(Refusal, match=f"protocol {version}, this host 2. Update the {older}"):
            Client(FarEnd(answer))


def test_restarted_inflator_is_greeted_again_and_watched_again() -> None:
    said: list[int] = []
    state = {"open": False}

    def forgetful(kind: int, sequence: int, payload: bytes) -> bytes:
        said.append(kind)
        if kind == codes.HELLO:
            state["open"] = True
            return frame.encode(codes.HELLO_IS, sequence, hello_is())
        if not state["open"]:
            return frame.encode(
                codes.ERROR, sequence, bytes((kind, replies.HELLO_FIRST, 0, 0, 0, 0))
            )
        if kind == codes.WATCH:
            return frame.encode(codes.DONE, sequence, bytes((kind, 0)))
        return frame.encode(codes.WAITING_IS, sequence, bytes(13))

    client = Client(FarEnd(forgetful))
    client.request(codes.WATCH, what=1, rate_hz=10)
    state["open"] = False
    client.request(codes.WAITING)
    assert (
        said == [codes.HELLO, codes.WATCH, codes.WAITING, codes.HELLO, codes.WATCH, codes.WAITING]
        and client.reopened == 1
    )


def test_another_inflator_on_the_same_port_ends_the_conversation() -> None:
    ids = iter((b"one-0000", b"two-0000"))

    class Broken(FarEnd):
        failing = False

        def write(self, data: bytes) -> None:
            if self.failing:
                self.failing = False
                raise lost("here")
            super().write(data)

    far = Broken(
        lambda kind, sequence, payload: frame.encode(
            codes.HELLO_IS, sequence, hello_is(device_id=next(ids))
        )
    )
    client = Client(far, reconnect_s=1.0)
    far.failing = True
    with pytest.raises(Refusal, match="Another inflator is on this port now"):
        client.request(codes.WAITING)
    assert far.reopens == 1


def test_watching_polls_often_enough_to_keep_the_subscription() -> None:
    said: list[tuple[float, int]] = []

    def note(kind: int, sequence: int, payload: bytes) -> bytes:
        said.append((far.clock, kind))
        return frame.encode(codes.DONE, sequence, bytes((kind, 0)))

    far = FarEnd(polite(note))
    client = Client(far)
    client.request(codes.WATCH, what=1, rate_hz=10)
    while far.clock < 20:
        client.pump()
    times = [when for when, _kind in said]
    assert max(b - a for a, b in zip(times, times[1:])) < 2.5
    assert len(client._queue) <= MOST_WAITING


def test_a_host_that_slept_watches_and_holds_again() -> None:
    """The inflator drops a silent host after 5 s; the host has to notice the missing data."""
    rows: list[dict[str, Any]] = []
    with VirtualInflator(compressor(), compiled=False) as inflator:
        client = Client(
            LockstepTransport(inflator),
            lambda kind, payload: rows.extend(live_rows(payload) if kind == codes.LIVE else []),
        )
        client.request(codes.WATCH, what=codes.WATCH_LIVE, rate_hz=50)
        inflator.advance(7.0)
        asleep = inflator.ticks
        until = client.transport.now_s() + LAPSED_S + 2.0
        while client.transport.now_s() < until:
            client.pump()
        assert rows[-1]["tick"] > asleep + LAPSED_S * 500 and client.reopened == 1
        assert client.about["flags"] & 8, "and it holds the inflator again"
        client.close()


def test_digest_that_differs_is_no_success() -> None:
    def wrong(kind: int, sequence: int, payload: bytes) -> bytes:
        return frame.encode(codes.PROFILE_STORED, sequence, bytes((0, 0)) + bytes(32))

    with pytest.raises(Refusal, match="other bytes than were sent; the old profile stays in force"):
        verbs.send_profile(Client(FarEnd(polite(wrong))), profile())


def test_session_longer_than_it_said_is_not_taken() -> None:
    def more(kind: int, sequence: int, payload: bytes) -> bytes:
        return frame.encode(
            codes.SESSION_DATA, sequence, bytes((1, 0, 0, 0, 0, 0, 0, 0)) + bytes(200)
        )

    taken: list[bytes] = []
    with pytest.raises(Refusal, match="stopped at byte 0 of 100"):
        Client(FarEnd(polite(more))).pull(1, 0, 100, taken.append)
    assert not taken


ASK = (
    lambda client: verbs.status(client),
    lambda client: verbs.list_profiles(client),
    lambda client: verbs.list_sessions(client),
    lambda client: verbs.send_profile(client, profile()),
    lambda client: verbs.choose_wheel(client),
    lambda client: client.pull(1, 0, 3000, lambda data: None),
)


@given(st.integers(0, 2**30), st.sampled_from(range(len(ASK))), st.booleans())
@settings(max_examples=120, deadline=None)
def test_random_bytes_end_in_a_refusal_or_an_answer(
    seed: int, which: int, right_number: bool
) -> None:
    """Damaged frames and random payloads under the right sequence number; nothing but Refusal comes out, in bounded time."""
    maker = Maker(seed)
    budget = {"left": 400}

    def babble(kind: int, sequence: int, payload: bytes) -> bytes:
        budget["left"] -= 1
        if budget["left"] < 0:
            return b""
        noise = maker.next() + b"\0"
        if right_number:
            table = messages.payload_of(kind + 0x40) or messages.payload_of(codes.DONE)
            size = layout.size(table)
            noise += frame.encode(
                kind + 0x40, sequence, bytes(maker.draw.bytes(size + maker.draw.below(3)))
            )
        return noise

    far = FarEnd(polite(babble))
    with contextlib.suppress(Refusal):
        ASK[which](Client(far))
    assert far.clock < 200


@given(st.binary(max_size=600))
@settings(max_examples=100, deadline=None)
def test_live_rows_of_any_bytes(payload: bytes) -> None:
    assert isinstance(live_rows(payload), list)


def test_live_rows_of_a_block_that_promises_too_much() -> None:
    from rimward_protocol import session

    body = layout.pack(
        layout.TRACE,
        {
            "tick": 1,
            "step": 5,
            "n": 9,
            "ceiling_hpa": 0,
            "stop_hpa": 0,
            "target_hpa": 0,
            "records": bytes(8),
        },
    )
    block = bytearray(8 + len(body) + 4)
    block[8 : 8 + len(body)] = body
    session.seal_block(block, 0, layout.BLOCK_TRACE, 0, len(body))
    assert live_rows(bytes(block)) == []


def test_lost_line_is_its_own_kind_of_refusal() -> None:
    assert isinstance(lost("here"), LineLost) and isinstance(lost("here"), Refusal)
