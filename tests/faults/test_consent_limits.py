"""What a person is asked before a limit loosens, an unknown wheel is filled, or a target is raised."""

import struct
from pathlib import Path
from typing import Any

import pytest
from rimward.limits.ceiling.pairs import FACTORS, allows
from rimward_fw.control import builtin, cycle, events
from rimward_fw.ui import buttons
from rimward_fw.ui.display import screen_of
from rimward_protocol import codes, enumerations, layout, replies
from rimward_protocol import kernel_slots as slots

from tests.faults.consentbench import WHEEL, Inflator

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
def test_what_loosens_is_asked_once_with_old_and_new(
    inflator: Inflator, changed: dict[str, Any], text: str, yes: bool
) -> None:
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


@pytest.mark.parametrize(
    "changed",
    [
        {},
        {"ceiling_pa": 430_000},
        {"target_pa": 360_000},
        {"target_pa": 380_000},
        {"limit_pa": 480_000},
        {"time_budget_s": 300},
    ],
)
def test_other_targets_and_tighter_limits_ask_nothing(
    inflator: Inflator, changed: dict[str, Any]
) -> None:
    confirmed(inflator)
    assert inflator.send(11, **changed) == replies.OK
    inflator.ask(codes.SELECT, WHEEL)
    assert inflator.waiting() == "stood-an-hour"


def test_a_day_of_thirty_fills_and_ten_new_wheels(inflator: Inflator) -> None:
    """Ten new wheels are compared once each, as before; the other twenty profiles of known wheels, sent again with other targets, ask nothing more."""
    asked = 0
    for number in range(30):
        wheel = number if number < 10 else number % 10
        changed = {
            "target_pa": 350_000 + 1_000 * number,
            "ceiling_pa": 440_000 - 1_000 * (number // 10),
        }
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
        assert [one for one in (*FACTORS[factor], "unknown") if allows("unknown", factor, one)] == [
            value
        ]


@pytest.mark.parametrize(
    ("ups", "downs", "ceiling"),
    [(10, 0, 420_000), (7, 2, 380_000), (3, 0, 200_000), (19, 0, 420_000), (8, 4, 410_000)],
)
def test_the_ceiling_is_the_smaller_of_the_printed_maximum_and_420_kpa(
    inflator: Inflator, ups: int, downs: int, ceiling: int
) -> None:
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
    assert (values["ceiling_pa"], values["target_pa"]) == (ceiling, 150_000) and values[
        "limit_pa"
    ] == min(printed, 500_000)
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
    assert (
        inflator.app.cycle.phase == cycle.IDLE
        and (events.ANSWER, codes.WAIT_APPROVAL, 0) in inflator.events
    )
    inflator.ask(codes.SELECT, bytes(8))
    assert inflator.waiting() == "printed-maximum" and inflator.app.entry.printed_pa == 0, (
        "what was entered for one wheel is not kept for the next"
    )


def test_an_owner_switches_the_entry_off(inflator: Inflator) -> None:
    inflator.ask(codes.SETTING_PUT, b"\x0c\0\0")
    inflator.wait(0.3)
    inflator.press(buttons.WORKSHOP)
    assert inflator.ask(codes.SELECT, bytes(8))[1]["code"] == replies.ENTRY_OFF


def test_what_was_entered_is_in_the_record(inflator: Inflator) -> None:
    metas: list[tuple[int, bytes]] = []
    opening = inflator.app.recorder.opening

    def opened(number: int, header: bytes, rows: list[tuple[int, bytes]], key: bytes | None) -> Any:
        metas.extend(rows)
        return opening(number, header, rows, key)

    inflator.app.recorder.opening = opened
    inflator.ask(codes.PERSON, "Ida Möller".encode().ljust(24, b"\0"))
    inflator.ask(codes.SELECT, bytes(8))
    inflator.press(buttons.UP, 7)
    inflator.press(buttons.ENTER, 2)
    inflator.press(buttons.UP, 4)
    inflator.press(buttons.ENTER, 2)
    inflator.wait(0.5)
    held = dict(metas)
    assert (
        held[layout.META_UNREGISTERED] == struct.pack("<IB", 400_000, 1)
        and held[layout.META_PERSON] == "Ida Möller".encode()
    )


# Events


def test_answers_before_arming_and_refusals_are_in_the_next_record(inflator: Inflator) -> None:
    inflator.ask(codes.SETTING_PUT, b"\1\0" + bytes(18))
    inflator.send(10)
    inflator.ask(codes.SELECT, WHEEL)
    inflator.press(buttons.ENTER)
    inflator.wait(0.2)
    assert inflator.app.store.get("events"), "they outlast a power cut"
    recorded: list[int] = []
    note = inflator.app.recorder.note

    def kept(event: int, cause: int, value: int, value2: int = 0) -> bool:
        recorded.append(event)
        return bool(note(event, cause, value, value2))

    inflator.app.recorder.note = kept
    inflator.press(buttons.ENTER)
    inflator.wait(0.5)  # the record opens in steps
    assert inflator.app.recorder.active
    for event in (
        events.REFUSED,
        events.PROFILE_STORED,
        events.WHEEL_CHOSEN,
        events.ANSWER,
        events.ARMED,
    ):
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
