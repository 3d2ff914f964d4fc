"""Attacks on a person's consent: what a host sends never loosens anything by itself, and a yes counts for the one request that the display names."""

import struct
from typing import Any

import pytest
from rimward_fw.control import events
from rimward_fw.ui import buttons
from rimward_protocol import codes, enumerations, replies

from tests.faults.consentbench import KEY, WHEEL, Inflator, turn

GOOD_CALIBRATION = struct.pack("<iiIiH", 66_000, -300, 2_500, 100, 7)


REQUESTS = {
    "key": (codes.KEY_ENROL, KEY, "take-key", "take the key"),
    "calibration": (
        codes.SETTING_PUT,
        b"\1\0" + GOOD_CALIBRATION,
        "take-setting",
        "calibration A gain 1.007 offset -300 Pa",
    ),
    "source": (
        codes.SETTING_PUT,
        b"\5\0" + struct.pack("<BII", 1, 0, 800_000),
        "take-setting",
        "air source line 800 kPa",
    ),
    "entry": (codes.SETTING_PUT, b"\x0c\0\0", "take-setting", "unregistered wheels are refused"),
    "deletion": (codes.PROFILE_DELETE, WHEEL, "delete", "delete the profile of Larkspur front"),
}


def state(inflator: Inflator) -> tuple[Any, ...]:
    store = inflator.app.store
    return (
        store.key(),
        store.setting_get(1),
        store.setting_get(5),
        store.setting_get(12),
        store.profile_list(),
    )


@pytest.mark.parametrize("name", REQUESTS)
@pytest.mark.parametrize("hand", ["nothing", "held before", "declines", "enter", "too late"])
def test_nothing_is_taken_without_a_press_that_answers_the_display(
    inflator: Inflator, name: str, hand: str
) -> None:
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
        assert answer == (
            codes.ERROR,
            {"asked": other_kind, "code": replies.PERSON_BUSY, "detail": 0},
        ), "a second request does not slip under the first"
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
    assert (
        events.REFUSED,
        replies.SETTING_VALUE,
        codes.SETTING_PUT,
    ) in inflator.events and inflator.waiting() == "nothing"
