"""Attacks on a person's consent: what a host sends never loosens anything by itself, and a yes counts for the one request that the display names."""

import struct
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from rimward.ceiling.pairs import FACTORS, allows
from rimward_fw.control import builtin, cycle, events
from rimward_fw.ui import buttons
from rimward_fw.ui.display import filled, screen_of
from rimward_fw.ui.screens import turns
from rimward_protocol import codes, enumerations, frame, layout, messages, replies
from rimward_protocol import kernel_slots as slots

from tests.fuzz import linkruns

sys.path.insert(0, str(Path(linkruns.__file__).parent))
from device import Board, drain, greeting, running, turn  # type: ignore[import-not-found]  # noqa: E402
from frames import base_profile  # type: ignore[import-not-found]  # noqa: E402

KEY = bytes(range(40, 72))
GOOD_CALIBRATION = struct.pack("<iiIiH", 66_000, -300, 2_500, 100, 7)
WHEEL = b"wheel-01"


class Inflator:
    """The firmware on a simulated board, a host on its line, a person's fingers."""

    def __init__(self) -> None:
        self.board = Board()
        self.app = running(self.board)
        self.decoder = frame.Decoder()
        self.number = 0
        self.events: list[tuple[int, int, int]] = []
        plain = self.app.note

        def note(event: int, cause: int, value: int, value2: int = 0) -> None:
            self.events.append((event, value, value2))
            plain(event, cause, value, value2)

        self.app.note = note
        self.ask(codes.HELLO, greeting())

    def ask(self, kind: int, payload: bytes = b"") -> tuple[int, dict[str, Any]]:
        """One request and its answer."""
        self.number += 1
        self.board.incoming += b"\0" + frame.encode(kind, self.number, payload)
        drain(self.app)
        turn(self.app, 3)
        data, at = self.board.taken(), 0
        while at < len(data):
            result, at = self.decoder.feed(data, at, len(data))
            if result == frame.FRAME and self.decoder.sequence == self.number and self.decoder.kind < codes.LIVE:
                return self.decoder.kind, layout.unpack(messages.payload_of(self.decoder.kind), bytes(self.decoder.payload))
        raise AssertionError("no answer")

    def press(self, button: int, times: int = 1) -> None:
        """A button down for a tenth of a second, and up again."""
        for _ in range(times):
            for word in (buttons.KEY_LOW | button, buttons.KEY_LOW):
                self.board.switches = word
                turn(self.app, 12)

    def wait(self, seconds: float) -> None:
        turn(self.app, round(seconds * 100))

    def shown(self) -> str:
        """All texts of the screen that is due."""
        more = self.app.interface.view._more(screen_of(self.app))
        return " ".join(filled(text, self.app, more) for table in turns(screen_of(self.app)) for _place, _style, text in table)

    def waiting(self) -> str:
        return str(codes.word_of(enumerations.WAITINGS, self.ask(codes.WAITING)[1]["waiting"]))

    def send(self, issue: int, **changed: Any) -> int:
        kind, values = self.ask(codes.PROFILE_PUT, base_profile({"wheel_id": WHEEL, "revision": issue, "issue": issue, **changed}))
        return int(values["code"])


@pytest.fixture
def inflator() -> Iterator[Inflator]:
    yield Inflator()


REQUESTS = {
    "key": (codes.KEY_ENROL, KEY, "take-key", "take the key"),
    "calibration": (codes.SETTING_PUT, b"\1\0" + GOOD_CALIBRATION, "take-setting", "calibration A gain 1.007 offset -300 Pa"),
    "source": (codes.SETTING_PUT, b"\5\0" + struct.pack("<BII", 1, 0, 800_000), "take-setting", "air source line 800 kPa"),
    "entry": (codes.SETTING_PUT, b"\x0c\0\0", "take-setting", "unregistered wheels are refused"),
    "deletion": (codes.PROFILE_DELETE, WHEEL, "delete", "delete the profile of Larkspur front"),
}


def state(inflator: Inflator) -> tuple[Any, ...]:
    store = inflator.app.store
    return store.key(), store.setting_get(1), store.setting_get(5), store.setting_get(12), store.profile_list()


@pytest.mark.parametrize("name", REQUESTS)
@pytest.mark.parametrize("hand", ["nothing", "held before", "declines", "enter", "too late"])
def test_nothing_is_taken_without_a_press_that_answers_the_display(inflator: Inflator, name: str, hand: str) -> None:
    kind, payload, word, text = REQUESTS[name]
    inflator.send(10)
    before = state(inflator)
    if hand == "held before":
        inflator.board.switches = buttons.KEY_LOW | buttons.WORKSHOP
        turn(inflator.app, 20)
    _kind, values = inflator.ask(kind, payload)
    assert values["code"] == replies.WAITING_FOR_PERSON and inflator.waiting() == word
    assert text in inflator.shown()
    inflator.wait(0.5)
    if hand == "declines":
        inflator.press(buttons.DOWN)
    elif hand == "enter":
        inflator.press(buttons.ENTER)
    elif hand == "too late":
        inflator.app.consent._since -= 61_000
        inflator.wait(0.1)
        inflator.press(buttons.WORKSHOP)
    assert state(inflator) == before
    assert (inflator.waiting() == word) == (hand in ("nothing", "held before", "enter"))


@pytest.mark.parametrize("name", REQUESTS)
def test_the_button_confirms_that_one_request_and_no_other(inflator: Inflator, name: str) -> None:
    kind, payload, word, _text = REQUESTS[name]
    inflator.send(10)
    inflator.ask(kind, payload)
    inflator.wait(0.3)
    for other_kind, other, _word, _text in REQUESTS.values():
        answer = inflator.ask(other_kind, other)
        assert answer == (codes.ERROR, {"asked": other_kind, "code": replies.PERSON_BUSY, "detail": 0}), "a second request does not slip under the first"
    before = state(inflator)
    inflator.press(buttons.WORKSHOP)
    after = state(inflator)
    assert sum(one != two for one, two in zip(before, after, strict=True)) == 1
    inflator.press(buttons.WORKSHOP)
    assert state(inflator) == after and inflator.waiting() == "nothing"
    number = codes.number_of(enumerations.WAITINGS, word)
    assert (events.ANSWER, number, 1) in inflator.events


def test_which_key_it_holds_can_be_asked(inflator: Inflator) -> None:
    held = inflator.ask(codes.KEY_ASK)[1]["check"]
    inflator.ask(codes.KEY_ENROL, KEY)
    inflator.wait(0.3)
    inflator.press(buttons.WORKSHOP)
    now = inflator.ask(codes.KEY_ASK)[1]["check"]
    assert held != now and any(event[0] == events.KEY_ENROLLED for event in inflator.events)


def test_name_unit_and_buzzer_are_recorded_only(inflator: Inflator) -> None:
    for number, value in ((7, b"Stand 2".ljust(24, b"\0")), (8, b"\0"), (9, b"\1")):
        assert inflator.ask(codes.SETTING_PUT, bytes((number, 0)) + value)[0] == codes.SETTING_IS
        assert (events.SETTING_STORED, number, 1) in inflator.events


def test_18_zero_bytes_are_no_calibration(inflator: Inflator) -> None:
    assert inflator.ask(codes.SETTING_PUT, b"\1\0" + bytes(18))[1]["code"] == replies.SETTING_VALUE
    assert (events.REFUSED, replies.SETTING_VALUE, codes.SETTING_PUT) in inflator.events and inflator.waiting() == "nothing"


# Limits that loosen

LOOSER = [
    ({"ceiling_pa": 450_000}, "ceil. 4.40 4.50"), ({"volume_ml": 1_700}, "litre 1.60 1.70"),
    ({"rim_class": codes.RIM_TC}, "rim TSS>TC"), ({"chuck": 1}, "chuck press>pin"), ({"position": 2}, "front>rear"),
    ({"tyre_width_dmm": 300}, "tyre 28>30"), ({"number": 0x3FFFFFFF}, "number far ahead"),
]  # fmt: skip


def confirmed(inflator: Inflator) -> None:
    """A wheel that a person has confirmed once."""
    inflator.send(10)
    inflator.ask(codes.SELECT, WHEEL)
    assert inflator.waiting() == "new-wheel"
    inflator.press(buttons.ENTER)
    inflator.ask(codes.SELECT, WHEEL)
    assert inflator.waiting() == "stood-an-hour"
    inflator.app.cycle.leave(0)
    inflator.app.cycle.phase = cycle.IDLE


@pytest.mark.parametrize(("changed", "text"), LOOSER)
@pytest.mark.parametrize("yes", [True, False])
def test_what_loosens_is_asked_once_with_old_and_new(inflator: Inflator, changed: dict[str, Any], text: str, yes: bool) -> None:
    confirmed(inflator)
    data = {**changed}
    assert inflator.send(data.pop("number", 11), **data) == replies.WAITING_FOR_PERSON
    inflator.ask(codes.SELECT, WHEEL)
    assert inflator.waiting() == "looser-limits" and text in inflator.shown()
    inflator.press(buttons.ENTER if yes else buttons.DOWN)
    assert inflator.app.cycle.phase == (cycle.ASK_STOOD if yes else cycle.IDLE)
    inflator.app.cycle.phase = cycle.IDLE
    inflator.ask(codes.SELECT, WHEEL)
    assert inflator.waiting() == ("stood-an-hour" if yes else "looser-limits")
    assert (events.ANSWER, codes.WAIT_LIMITS, int(yes)) in inflator.events


@pytest.mark.parametrize("changed", [{}, {"ceiling_pa": 430_000}, {"target_pa": 360_000}, {"target_pa": 380_000}, {"limit_pa": 480_000}, {"time_budget_s": 300}])
def test_other_targets_and_tighter_limits_ask_nothing(inflator: Inflator, changed: dict[str, Any]) -> None:
    confirmed(inflator)
    assert inflator.send(11, **changed) == replies.OK
    inflator.ask(codes.SELECT, WHEEL)
    assert inflator.waiting() == "stood-an-hour"


def test_a_day_of_thirty_fills_and_ten_new_wheels(inflator: Inflator) -> None:
    """Ten new wheels are compared once each, as before; the other twenty profiles of known wheels, sent again with other targets, ask nothing more."""
    asked = 0
    for number in range(30):
        wheel = number if number < 10 else number % 10
        changed = {"target_pa": 350_000 + 1_000 * number, "ceiling_pa": 440_000 - 1_000 * (number // 10)}
        code = inflator.send(100 + number, **{**changed, "wheel_id": b"wheel-%02d" % wheel})
        asked += code == replies.WAITING_FOR_PERSON
        inflator.ask(codes.SELECT, b"wheel-%02d" % wheel)
        while inflator.waiting() != "stood-an-hour":
            inflator.press(buttons.ENTER)
        inflator.app.cycle.phase = cycle.IDLE
    assert asked <= 10 + 2 and asked == 10


# The unregistered wheel


def test_what_a_person_confirms_is_what_a_rim_of_unknown_type_takes() -> None:
    assert set(builtin.CONFIRMED) == set(FACTORS)
    for factor, value in builtin.CONFIRMED.items():
        assert [one for one in (*FACTORS[factor], "unknown") if allows("unknown", factor, one)] == [value]


@pytest.mark.parametrize(("ups", "downs", "ceiling"), [(10, 0, 420_000), (7, 2, 380_000), (3, 0, 200_000), (19, 0, 420_000), (8, 4, 410_000)])
def test_the_ceiling_is_the_smaller_of_the_printed_maximum_and_420_kpa(inflator: Inflator, ups: int, downs: int, ceiling: int) -> None:
    inflator.ask(codes.SELECT, bytes(8))
    assert inflator.waiting() == "printed-maximum" and "--" in inflator.shown()
    inflator.press(buttons.ENTER)
    assert inflator.waiting() == "printed-maximum", "nothing is taken before something is entered"
    inflator.press(buttons.UP, ups)
    inflator.press(buttons.DOWN, downs)
    inflator.press(buttons.ENTER)
    assert inflator.waiting() == "approval" and "hookless" in inflator.shown()
    inflator.press(buttons.ENTER)
    assert inflator.waiting() == "target" and "--" in inflator.shown(), "no target is built in"
    inflator.press(buttons.ENTER)
    assert inflator.waiting() == "target"
    inflator.press(buttons.UP, 3)
    inflator.press(buttons.ENTER)
    values, printed = inflator.app.cycle.values, 100_000 + 50_000 * (ups - 1) - 10_000 * downs
    assert (values["ceiling_pa"], values["target_pa"]) == (ceiling, 150_000) and values["limit_pa"] == min(printed, 500_000)
    assert inflator.app.cycle.phase == cycle.ASK_STOOD
    assert (events.ANSWER, codes.WAIT_PRINTED_MAXIMUM, printed) in inflator.events
    assert (events.ANSWER, codes.WAIT_APPROVAL, 1) in inflator.events


def test_presses_alone_never_raise_a_target_to_the_ceiling(inflator: Inflator) -> None:
    """UP as often as one likes: the target stays under the stop reading."""
    inflator.ask(codes.SELECT, bytes(8))
    inflator.press(buttons.UP, 10)
    inflator.press(buttons.ENTER, 2)
    inflator.press(buttons.UP, 40)
    inflator.press(buttons.ENTER)
    assert inflator.app.cycle.values["target_pa"] <= 420_000 - inflator.app.guard_pa()


def test_without_approval_there_is_no_air(inflator: Inflator) -> None:
    inflator.ask(codes.SELECT, bytes(8))
    inflator.press(buttons.UP, 8)
    inflator.press(buttons.ENTER)
    inflator.press(buttons.DOWN)
    assert inflator.app.cycle.phase == cycle.IDLE and (events.ANSWER, codes.WAIT_APPROVAL, 0) in inflator.events
    inflator.ask(codes.SELECT, bytes(8))
    assert inflator.waiting() == "printed-maximum" and inflator.app.entry.printed_pa == 0, "what was entered for one wheel is not kept for the next"


def test_an_owner_switches_the_entry_off(inflator: Inflator) -> None:
    inflator.ask(codes.SETTING_PUT, b"\x0c\0\0")
    inflator.wait(0.3)
    inflator.press(buttons.WORKSHOP)
    assert inflator.ask(codes.SELECT, bytes(8))[1]["code"] == replies.ENTRY_OFF


def test_what_was_entered_is_in_the_record(inflator: Inflator) -> None:
    metas: list[tuple[int, bytes]] = []
    begin = inflator.app.recorder.begin
    inflator.app.recorder.begin = lambda number, header, rows, key: (metas.extend(rows), begin(number, header, rows, key))
    inflator.ask(codes.PERSON, "Ida Möller".encode().ljust(24, b"\0"))
    inflator.ask(codes.SELECT, bytes(8))
    inflator.press(buttons.UP, 7)
    inflator.press(buttons.ENTER, 2)
    inflator.press(buttons.UP, 4)
    inflator.press(buttons.ENTER, 2)
    held = dict(metas)
    assert held[layout.META_UNREGISTERED] == struct.pack("<IB", 400_000, 1) and held[layout.META_PERSON] == "Ida Möller".encode()


# Events


def test_answers_before_arming_and_refusals_are_in_the_next_record(inflator: Inflator) -> None:
    inflator.ask(codes.SETTING_PUT, b"\1\0" + bytes(18))
    inflator.send(10)
    inflator.ask(codes.SELECT, WHEEL)
    inflator.press(buttons.ENTER)
    inflator.wait(0.2)
    assert inflator.app.store.get("told"), "they outlast a power cut"
    recorded: list[int] = []
    note = inflator.app.recorder.note

    def kept(event: int, cause: int, value: int, value2: int = 0) -> bool:
        recorded.append(event)
        return bool(note(event, cause, value, value2))

    inflator.app.recorder.note = kept
    inflator.press(buttons.ENTER)
    assert inflator.app.recorder.active
    for event in (events.REFUSED, events.PROFILE_STORED, events.WHEEL_CHOSEN, events.ANSWER, events.ARMED):
        assert event in recorded
    assert inflator.app.unrecorded.take() == []


def test_every_event_of_the_protocol_is_recorded_somewhere() -> None:
    numbers = {value for name, value in vars(events).items() if name.isupper()}
    assert numbers == {row[0] for row in enumerations.EVENTS}
    folder = Path(events.__file__).parents[1]
    text = "\n".join(path.read_text() for path in folder.rglob("*.py") if path.name != "events.py")
    for name in vars(events):
        assert not name.isupper() or f"events.{name}" in text, name


def test_a_raised_target_is_an_event_of_its_own_with_both_values(inflator: Inflator) -> None:
    inflator.send(10)
    inflator.ask(codes.SELECT, WHEEL)
    inflator.press(buttons.ENTER, 2)
    inflator.wait(1.0)
    assert inflator.app.cycle.phase == cycle.ARMED, screen_of(inflator.app)
    before = inflator.app.engine.y[slots.Y_TARGET_PA]
    inflator.press(buttons.UP)
    chosen = [event for event in inflator.events if event[0] == events.TARGET_CHOSEN]
    assert chosen and chosen[0][2] == before and chosen[0][1] > before
