"""Whole conversations as state machines: any order of right and wrong requests, noise, two hosts, silence; against a plain model."""

import hashlib
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from rimward_fw.ui import buttons
from rimward_protocol import codes, frame, layout, messages, profile, replies

from tests.fuzz import linkruns

sys.path.insert(0, str(Path(linkruns.__file__).parent))
from device import Board, drain, greeting, profiles_of, running, turn  # type: ignore[import-not-found]  # noqa: E402
from frames import base_profile  # type: ignore[import-not-found]  # noqa: E402

WHEELS = [b"wheel-%02d" % n for n in range(4)]
STALE_MS = 5200
HOSTS = (101, 102)


class Conversation(RuleBasedStateMachine):
    """The firmware on a line, and a model of it written from SPEC.md."""

    @initialize()
    def begin(self) -> None:
        self.board = Board()
        self.app = running(self.board)
        self.decoder = frame.Decoder()
        self.sequence = 0
        self.opened = False
        self.holder = 0
        self.heard = 0
        self.held: dict[bytes, bytes] = {}
        self.highest: dict[bytes, int] = {}
        self.dirty = False  # half a frame may be on the line

    # the line

    def exchange(self, line: bytes, room: int | None = None) -> list[tuple[int, int, bytes]]:
        """Send bytes; return every frame that came back."""
        self.board.room = room
        self.board.incoming += line
        drain(self.app)
        self.board.room = None
        turn(self.app, 3)
        data = self.board.taken()
        found, at = [], 0
        while at < len(data):
            result, at = self.decoder.feed(data, at, len(data))
            assert result != frame.OTHER_VERSION
            if result == frame.FRAME:
                found.append(
                    (self.decoder.kind, self.decoder.sequence, bytes(self.decoder.payload))
                )
        return found

    def ask(
        self, kind: int, payload: bytes = b"", room: int | None = None
    ) -> tuple[int, dict[str, Any]]:
        """One request; exactly one answer must carry its number."""
        self.sequence = (self.sequence + 1) & 0xFFFF
        came = self.exchange(b"\0" + frame.encode(kind, self.sequence, payload), room)
        self.dirty = False
        answers = [
            row for row in came if row[1] == self.sequence and not codes.LIVE <= row[0] < 0xC0
        ]
        assert len(answers) == 1, (kind, came)
        assert answers[0][0] in (*messages.replies_to(kind), codes.ERROR)
        return answers[0][0], layout.unpack(messages.payload_of(answers[0][0]), answers[0][2])

    def expect(self, kind: int, payload: bytes, wanted: int) -> dict[str, Any]:
        """The answer must be an error of this code, or the code HELLO_FIRST where the conversation is not open."""
        came, values = self.ask(kind, payload)
        wanted = wanted if self.opened else replies.HELLO_FIRST
        assert came == codes.ERROR and values["code"] == wanted, (kind, came, values, wanted)
        return values

    # rules

    @rule(host=st.sampled_from(HOSTS), hold=st.booleans(), room=st.sampled_from([None, 1, 7, 60]))
    def hello(self, host: int, hold: bool, room: int | None) -> None:
        stale = self.board.ticks_ms() - self.heard > STALE_MS
        came, values = self.ask(codes.HELLO, greeting(host, int(hold)), room)
        if hold and self.holder not in (0, host) and not stale:
            assert came == codes.ERROR and values["code"] == replies.OTHER_HOST
            return
        assert came == codes.HELLO_IS
        self.opened = True
        if stale:
            self.holder = 0
        if hold:
            self.holder = host
        self.heard = self.board.ticks_ms()
        assert bool(values["flags"] & 8) == (self.holder == host)

    @rule(wrong=st.sampled_from(["layout", "protocol"]))
    def hello_of_another_version(self, wrong: str) -> None:
        if wrong == "layout":
            came, values = self.ask(codes.HELLO, greeting(9, 0, b"\xff\xffother"))
            assert came == codes.HELLO_IS and values["layout_hash"] == layout.layout_hash()
            self.opened = False
        else:
            came, values = self.ask(
                codes.HELLO, greeting(9, 0, protocol=codes.PROTOCOL_VERSION + 1)
            )
            assert came == codes.ERROR and (values["code"], values["detail"]) == (
                replies.VERSION_DIFFERS,
                codes.PROTOCOL_VERSION,
            )
        self.heard = self.board.ticks_ms()

    @rule(
        wheel=st.sampled_from(WHEELS),
        revision=st.integers(1, 9),
        aim=st.sampled_from([380000, 400000]),
    )
    def upload(self, wheel: bytes, revision: int, aim: int) -> None:
        data = base_profile(
            {"wheel_id": wheel, "revision": revision, "issue": revision, "target_pa": aim}
        )
        came, values = self.ask(codes.PROFILE_PUT, data)
        self.heard = self.board.ticks_ms()
        if not self.opened:
            assert values["code"] == replies.HELLO_FIRST
        elif revision > self.highest.get(wheel, 0) or self.held.get(wheel) == data:
            assert (
                came == codes.PROFILE_STORED and values["sha256"] == hashlib.sha256(data).digest()
            )
            self.held[wheel] = data
            self.highest[wheel] = max(revision, self.highest.get(wheel, 0))
        else:
            assert came == codes.ERROR and values["code"] == replies.ISSUE_NOT_NEWER

    @rule(wheel=st.sampled_from(WHEELS), at=st.integers(0, 106), bit=st.integers(0, 7))
    def upload_with_a_bit_flipped(self, wheel: bytes, at: int, bit: int) -> None:
        data = bytearray(base_profile({"wheel_id": wheel, "revision": 500, "issue": 500}))
        at %= len(data) - 16
        data[at] ^= 1 << bit
        came, values = self.ask(codes.PROFILE_PUT, bytes(data))
        self.heard = self.board.ticks_ms()
        assert came == codes.ERROR and values["code"] == (
            profile.check_profile(bytes(data)) if self.opened else replies.HELLO_FIRST
        )

    @rule(
        changed=st.sampled_from(
            [
                (
                    {"ceiling_pa": 900001, "limit_pa": 950000, "rim_class": 5},
                    replies.PROFILE_CEILING_ABOVE_RIG,
                ),
                ({"ceiling_pa": 500001, "limit_pa": 500001}, replies.PROFILE_STRAIGHT_SIDE),
                (
                    {"ceiling_pa": 500001, "limit_pa": 500001, "rim_class": 0},
                    replies.PROFILE_STRAIGHT_SIDE,
                ),
                ({"target_pa": 440001}, replies.PROFILE_TARGET),
                ({"revision": 0}, replies.PROFILE_REVISION),
            ]
        )
    )
    def upload_past_the_limits(self, changed: tuple[dict[str, Any], int]) -> None:
        self.expect(
            codes.PROFILE_PUT,
            base_profile({"wheel_id": WHEELS[0], "revision": 501, "issue": 501, **changed[0]}),
            changed[1],
        )
        self.heard = self.board.ticks_ms()

    @rule()
    def listing(self) -> None:
        came, values = self.ask(codes.PROFILE_LIST, bytes(2))
        self.heard = self.board.ticks_ms()
        if not self.opened:
            return
        found, count = {}, values["count"]
        for index in range(count):
            _came, values = self.ask(codes.PROFILE_LIST, index.to_bytes(2, "little"))
            found[layout.unpack(layout.PROFILE, values["profile"])["wheel_id"]] = values["profile"]
        assert found == self.held
        self.heard = self.board.ticks_ms()

    @rule(
        wheel=st.sampled_from(WHEELS), hand=st.sampled_from(["confirms", "declines", "held before"])
    )
    def delete(self, wheel: bytes, hand: str) -> None:
        self.board.switches = buttons.KEY_LOW | (buttons.WORKSHOP if hand == "held before" else 0)
        turn(self.app, 10)
        came, values = self.ask(codes.PROFILE_DELETE, wheel)
        self.heard = self.board.ticks_ms()
        turn(self.app, 10)
        self.board.switches = buttons.KEY_LOW | (
            buttons.WORKSHOP if hand == "confirms" else buttons.DOWN if hand == "declines" else 0
        )
        turn(self.app, 10)
        self.board.switches = buttons.KEY_LOW
        if self.app.consent.what:
            self.app.consent._end(0)
        turn(self.app, 10)
        if not self.opened:
            assert values["code"] == replies.HELLO_FIRST
        elif wheel not in self.held:
            assert values["code"] == replies.NOT_FOUND
        else:
            assert came == codes.DONE and values["code"] == replies.WAITING_FOR_PERSON
            if hand == "confirms":
                del self.held[wheel]

    @rule(wheel=st.sampled_from([*WHEELS, bytes(8)]))
    def choose(self, wheel: bytes) -> None:
        came, values = self.ask(codes.SELECT, wheel)
        self.heard = self.board.ticks_ms()
        if self.opened:
            assert (came == codes.DONE) == (wheel in self.held or wheel == bytes(8)), values

    @rule(what=st.integers(0, 3), rate=st.integers(0, 255))
    def watch(self, what: int, rate: int) -> None:
        came, _values = self.ask(codes.WATCH, bytes((what, rate)))
        self.heard = self.board.ticks_ms()
        assert came == (codes.DONE if self.opened else codes.ERROR)

    @rule(key=st.binary(min_size=32, max_size=32))
    def enrol_without_a_persons_yes(self, key: bytes) -> None:
        held = self.app.keys.check()
        came, values = self.ask(codes.KEY_ENROL, key)
        self.heard = self.board.ticks_ms()
        if self.opened and any(key):
            assert (
                came == codes.KEY_IS
                and values["code"] == replies.WAITING_FOR_PERSON
                and values["check"] == held
            )
        if self.app.consent.what:
            self.app.consent._end(0)
        assert self.app.keys.check() == held

    @rule(number=st.integers(0, 40), value=st.binary(max_size=20))
    def setting(self, number: int, value: bytes) -> None:
        came, values = self.ask(codes.SETTING_PUT, number.to_bytes(2, "little") + value)
        self.heard = self.board.ticks_ms()
        assert came in (codes.ERROR, codes.SETTING_IS, codes.DONE)
        if self.app.consent.what:
            self.app.consent._end(0)

    @rule(kind=st.integers(0, 255), payload=st.binary(max_size=40))
    def any_message(self, kind: int, payload: bytes) -> None:
        if kind in (
            codes.HELLO,
            codes.BYE,
            codes.SESSION_READ,
            codes.PROFILE_DELETE,
            codes.SELECT,
            codes.WATCH,
            codes.TIME,
        ):
            return
        if codes.LIVE <= kind < 0xC0:
            return  # a reply with a push's number is distinguished by its number only
        self.sequence = (self.sequence + 1) & 0xFFFF
        came = self.exchange(b"\0" + frame.encode(kind, self.sequence, payload))
        self.heard = self.board.ticks_ms()
        self.dirty = False
        assert len([row for row in came if row[1] == self.sequence and row[0] < codes.LIVE]) == 1
        if self.app.consent.what:
            self.app.consent._end(0)

    @rule(
        session=st.integers(0, 3),
        offset=st.integers(0, 2**32 - 1),
        count=st.sampled_from([0, 1, 600, 2**32 - 1]),
    )
    def read_a_session(self, session: int, offset: int, count: int) -> None:
        payload = b"".join(n.to_bytes(4, "little") for n in (session, offset, count))
        self.sequence = (self.sequence + 1) & 0xFFFF
        came = self.exchange(b"\0" + frame.encode(codes.SESSION_READ, self.sequence, payload))
        self.heard = self.board.ticks_ms()
        assert [row[0] for row in came if row[1] == self.sequence and row[0] < codes.LIVE], came

    @rule(noise=st.binary(max_size=700))
    def noise(self, noise: bytes) -> None:
        before = self.app.link.frames
        self.exchange(noise)
        self.dirty = True
        if self.app.link.frames != before:
            self.heard = self.board.ticks_ms()

    @rule(cut=st.integers(1, 60))
    def half_a_frame(self, cut: int) -> None:
        self.exchange(
            b"\0"
            + frame.encode(
                codes.PROFILE_PUT,
                3,
                base_profile({"wheel_id": WHEELS[1], "revision": 900, "issue": 900}),
            )[:cut]
        )
        self.dirty = True

    @precondition(lambda self: self.opened)
    @rule(pieces=st.integers(1, 9))
    def request_in_pieces(self, pieces: int) -> None:
        line = b"\0" + frame.encode(codes.STATUS, 4242)
        came = []
        for at in range(0, len(line), pieces):
            came += self.exchange(line[at : at + pieces])
        self.heard = self.board.ticks_ms()
        assert [row[0] for row in came if row[1] == 4242 and row[0] < codes.LIVE] == [
            codes.STATUS_IS
        ]

    @precondition(lambda self: self.opened)
    @rule(count=st.integers(2, 6))
    def requests_one_behind_the_other(self, count: int) -> None:
        line = b"\0" + b"".join(frame.encode(codes.WAITING, 7000 + n) for n in range(count))
        came = self.exchange(line)
        self.heard = self.board.ticks_ms()
        assert [row[1] for row in came if row[0] == codes.WAITING_IS] == [
            7000 + n for n in range(count)
        ]

    @rule(seconds=st.sampled_from([0.1, 1.0, 6.0]))
    def time_passes(self, seconds: float) -> None:
        turn(self.app, int(seconds * 100))
        self.board.taken()

    @rule(seconds=st.sampled_from([0.5, 3.0]))
    def nobody_reads(self, seconds: float) -> None:
        """The line accepts nothing for a while; the loop continues, and afterwards the link works as before."""
        self.board.room = 0
        self.board.incoming += b"\0" + frame.encode(codes.STATUS, 11)
        before = self.board.ticks
        turn(self.app, int(seconds * 100))
        assert self.board.ticks - before >= seconds * 499
        self.board.room = None
        drain(self.app)
        turn(self.app, 3)
        self.board.taken()
        self.decoder = frame.Decoder()
        self.heard = self.board.ticks_ms()
        if seconds > 2:
            self.holder = 0  # the holder has not read its answer

    @rule()
    def bye(self) -> None:
        came, _values = self.ask(codes.BYE)
        assert came == (codes.DONE if self.opened else codes.ERROR)
        if self.opened:
            self.holder = 0
        self.opened = False
        self.heard = self.board.ticks_ms()

    @invariant()
    def nothing_gave_way(self) -> None:
        if not hasattr(self, "app"):
            return
        assert self.app.link.failures == 0 and self.app.engine.failed == 0
        assert self.board.air_ticks == 0
        assert (
            self.board.most_read <= linkruns.READ_AT_ONCE
            and self.board.most_writes <= linkruns.WRITES
        )
        assert profiles_of(self.app) == self.held


TestConversation = Conversation.TestCase
TestConversation.settings = settings(
    max_examples=20,
    stateful_step_count=20,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)


def test_a_planted_defect_is_found_by_the_state_machine(monkeypatch: pytest.MonkeyPatch) -> None:
    """A firmware that takes an older profile is found by the rules themselves."""
    from rimward_fw.storage.wheels import Wheels

    machine = Conversation()
    machine.begin()
    machine.hello(HOSTS[0], True, None)
    machine.upload(WHEELS[0], 5, 380000)
    machine.upload(WHEELS[0], 3, 380000)  # refused, as the rule expects
    monkeypatch.setattr(Wheels, "least_issue", lambda self, wheel: 0)
    with pytest.raises(AssertionError):
        machine.upload(WHEELS[0], 4, 380000)
