"""Profiles, presets, keys and settings from the link: each refusal leaves the store as it was and is recorded, and so is each change."""

import struct
from collections.abc import Callable
from typing import Any

import pytest
from rimward_fw.control import cycle, events, intake
from rimward_fw.storage import presets, wheels
from rimward_fw.ui import buttons
from rimward_protocol import codes, layout, preset, profile, replies
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import sha256

from tests.faults.consentbench import Inflator, base_profile
from tests.fuzz.frames import KEY
from tests.unit.test_presets_fw import PRESET

OTHER = bytes(range(90, 122))
WHEEL, SECOND = b"wheel-01", b"wheel-02"


def made(**changed: Any) -> bytes:
    return base_profile({"wheel_id": WHEEL, "revision": 3, "issue": 10, **changed})


def profiles_of(app: Any) -> dict[bytes, bytes]:
    """The stored profiles by wheel."""
    return {wheel: app.store.profile_get(wheel)[0] for wheel in app.store.profile_list()}


def preset_of(key: bytes = KEY, **changed: Any) -> bytes:
    return preset.tag_preset(key, layout.seal_preset({**PRESET, **changed}))


@pytest.fixture
def closed(inflator: Inflator, monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Closings of the list of wheels on the display, which then reads the store again."""
    found: list[int] = []
    monkeypatch.setattr(inflator.app.interface.chooser, "close", lambda: found.append(1))
    return found


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (made()[:-1], replies.PROFILE_SIZE),
        (made(limit_pa=440_000, ceiling_pa=450_000), None),
        (profile.tag_profile(OTHER, made()), replies.TAG_WRONG),
    ],
)
def test_a_profile_that_is_refused_is_not_stored(
    inflator: Inflator, closed: list[int], data: bytes, code: int | None
) -> None:
    found, slot, digest = intake.take_profile(inflator.app, data)
    assert found == code if code else found not in (replies.OK, replies.WAITING_FOR_PERSON)
    assert (slot, digest, profiles_of(inflator.app), closed) == (0, b"", {}, [])
    refused = (events.REFUSED, found, codes.PROFILE_PUT)
    tag = [(events.TAG_REFUSED, 1, 0)] if found == replies.TAG_WRONG else []
    assert inflator.events == [*tag, refused]


def test_a_refusal_is_recorded_without_a_cause(
    inflator: Inflator, monkeypatch: pytest.MonkeyPatch
) -> None:
    noted: list[tuple[int, ...]] = []
    monkeypatch.setattr(inflator.app, "note", lambda *row: noted.append(row))
    assert intake.refused(inflator.app, replies.STORE_FULL, codes.KEY_ENROL) == (
        replies.STORE_FULL,
        0,
        b"",
    )
    assert noted == [(events.REFUSED, 0, replies.STORE_FULL, codes.KEY_ENROL)]


def test_every_wrong_tag_is_counted_in_its_event(inflator: Inflator) -> None:
    wrong = profile.tag_profile(OTHER, made())
    for count in (1, 2, 3):
        assert intake.take_profile(inflator.app, wrong)[0] == replies.TAG_WRONG
        assert (events.TAG_REFUSED, count, 0) in inflator.events


def test_a_stored_profile_is_recorded_and_read_back(inflator: Inflator, closed: list[int]) -> None:
    code, slot, digest = intake.take_profile(inflator.app, made())
    assert (code, digest) == (replies.WAITING_FOR_PERSON, sha256(made()))
    assert inflator.events == [(events.PROFILE_STORED, 3, 10)] and closed == [1]
    assert profiles_of(inflator.app) == {WHEEL: made()}
    assert slot == inflator.app.store.wheels.get(WHEEL)[1]


def test_the_same_profile_again_is_answered_and_not_recorded(inflator: Inflator) -> None:
    app = inflator.app
    first = intake.take_profile(app, made())
    assert intake.take_profile(app, made()) == first
    assert app.store.wheels.confirm(WHEEL) == replies.OK
    code, slot, digest = intake.take_profile(app, made())
    held = app.store.wheels.get(WHEEL)
    assert (code, slot, digest) == (replies.OK, held[1], sha256(made()))
    assert inflator.events == [(events.PROFILE_STORED, 3, 10)]


@pytest.mark.parametrize(
    ("changed", "code"),
    [
        ({"issue": 9}, replies.ISSUE_NOT_NEWER),
        ({"target_pa": 380_000}, replies.ISSUE_NOT_NEWER),
        ({"issue": 11, "target_pa": 380_000}, replies.OK),
        ({"issue": 11, "ceiling_pa": 450_000}, replies.WAITING_FOR_PERSON),
        ({"issue": 11, "volume_ml": 1_700}, replies.WAITING_FOR_PERSON),
        ({"issue": 11, "bead_seat_mm": 584}, replies.WAITING_FOR_PERSON),
        ({"issue": 11 + codes.ISSUE_FAR}, replies.WAITING_FOR_PERSON),
    ],
)
def test_what_follows_a_confirmed_profile(
    inflator: Inflator, changed: dict[str, int], code: int
) -> None:
    """A newer one that loosens nothing is taken at once; a looser one, or a number far above, waits for a person."""
    app = inflator.app
    intake.take_profile(app, made())
    app.store.wheels.confirm(WHEEL)
    inflator.events.clear()
    assert intake.take_profile(app, made(**changed))[0] == code
    stored = code != replies.ISSUE_NOT_NEWER
    assert profiles_of(app)[WHEEL] == made(**(changed if stored else {}))
    event = (
        (events.PROFILE_STORED, 3, changed["issue"])
        if stored
        else (events.REFUSED, code, codes.PROFILE_PUT)
    )
    assert inflator.events == [event]


def test_a_wheel_that_makes_way_is_recorded_once(
    inflator: Inflator, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(wheels, "WHEELS_MAX", 1)
    intake.take_profile(inflator.app, made())
    intake.take_profile(inflator.app, made(wheel_id=SECOND, issue=20))
    intake.take_profile(inflator.app, made(wheel_id=SECOND, issue=21))
    assert inflator.events == [
        (events.PROFILE_STORED, 3, 10),
        (events.PROFILE_STORED, 3, 20),
        (events.PROFILE_DROPPED, 10, 0),
        (events.PROFILE_STORED, 3, 21),
    ]
    assert inflator.app.store.dropped == 0


def test_a_profile_that_cannot_be_written_is_refused(
    inflator: Inflator, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(inflator.app.store, "write", lambda *_: replies.STORE_FULL)
    assert intake.take_profile(inflator.app, made()) == (replies.STORE_FULL, 0, b"")
    assert inflator.events == [(events.REFUSED, replies.STORE_FULL, codes.PROFILE_PUT)]


def test_a_stored_preset_and_its_deletion_are_recorded(
    inflator: Inflator, closed: list[int]
) -> None:
    app, data = inflator.app, preset_of()
    assert intake.take_preset(app, data) == (replies.OK, sha256(data))
    assert inflator.events == [(events.PRESET_STORED, 10, 0)] and closed == [1]
    assert intake.delete_preset(app, b"preset01") == replies.OK
    assert inflator.events[1:] == [(events.PRESET_DELETED, 10, 0)] and closed == [1, 1]
    assert intake.delete_preset(app, b"preset01") == replies.NOT_FOUND
    assert app.store.presets.list() == [] and len(inflator.events) == 2


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (preset_of()[:-1], replies.PRESET_RECORD),
        (preset_of(rear_wheel=b"wheel001"), replies.PRESET_WHEELS),
        (preset_of(OTHER), replies.TAG_WRONG),
    ],
)
def test_a_preset_that_is_refused_is_not_stored(
    inflator: Inflator, closed: list[int], data: bytes, code: int
) -> None:
    assert intake.take_preset(inflator.app, data) == (code, b"")
    assert inflator.events == [(events.REFUSED, code, codes.PRESET_PUT)]
    assert (inflator.app.store.presets.list(), closed) == ([], [])


def test_a_preset_without_a_key_or_without_room_is_refused(
    inflator: Inflator, monkeypatch: pytest.MonkeyPatch
) -> None:
    app = inflator.app
    monkeypatch.setattr(app.keys, "_key", None)
    assert intake.take_preset(app, preset_of()) == (replies.NO_KEY, b"")
    monkeypatch.undo()
    monkeypatch.setattr(presets, "PRESETS_MAX", 0)
    assert intake.take_preset(app, preset_of()) == (replies.STORE_FULL, b"")
    assert inflator.events == [
        (events.REFUSED, replies.NO_KEY, codes.PRESET_PUT),
        (events.REFUSED, replies.STORE_FULL, codes.PRESET_PUT),
    ]


@pytest.mark.parametrize("key", [b"", OTHER[:-1], OTHER + b"\1", bytes(32)])
def test_a_key_without_sense_is_refused_before_a_person_is_asked(
    inflator: Inflator, key: bytes
) -> None:
    assert intake.ask_to_enrol(inflator.app, key) == replies.BAD_VALUE
    assert inflator.events == [(events.REFUSED, replies.BAD_VALUE, codes.KEY_ENROL)]
    assert inflator.waiting() == "nothing" and inflator.app.keys.key() == KEY


def test_the_key_that_is_enrolled_needs_no_answer_and_another_shows_its_fingerprint(
    inflator: Inflator,
) -> None:
    app = inflator.app
    assert intake.ask_to_enrol(app, KEY) == replies.OK and inflator.waiting() == "nothing"
    assert intake.ask_to_enrol(app, OTHER) == replies.WAITING_FOR_PERSON
    text = "take the key " + sha256(OTHER)[:4].hex()
    assert text in inflator.shown() and app.consent.text == text
    inflator.wait(0.3)
    inflator.press(buttons.WORKSHOP)
    assert app.keys.key() == OTHER
    assert (events.KEY_ENROLLED, int.from_bytes(sha256(OTHER)[:3], "big"), 0) in inflator.events


def test_a_key_that_cannot_be_stored_is_recorded_as_refused(
    inflator: Inflator, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(inflator.app.keys, "enrol", lambda _key: replies.STORE_FULL)
    assert intake.enrol(inflator.app, OTHER) == replies.STORE_FULL
    assert inflator.events == [(events.REFUSED, replies.STORE_FULL, codes.KEY_ENROL)]


@pytest.mark.parametrize("wheel", [WHEEL, SECOND])
def test_the_deletion_of_the_selected_wheel_ends_its_visit(
    inflator: Inflator, closed: list[int], wheel: bytes
) -> None:
    app = inflator.app
    intake.take_profile(app, made())
    intake.take_profile(app, made(wheel_id=SECOND, issue=20))
    inflator.ask(codes.SELECT, WHEEL)
    assert app.cycle.wheel == WHEEL and app.cycle.phase != cycle.IDLE
    closed.clear()
    assert intake.delete_profile(app, wheel) == replies.OK
    assert (app.cycle.phase == cycle.IDLE) is (wheel == WHEEL)
    assert inflator.events[-1] == (events.PROFILE_DELETED, 3, 10 if wheel == WHEEL else 20)
    assert list(profiles_of(app)) == [SECOND if wheel == WHEEL else WHEEL] and closed == [1]


def test_a_deletion_of_nothing_is_not_recorded(inflator: Inflator, closed: list[int]) -> None:
    app = inflator.app
    assert intake.ask_to_delete(app, WHEEL) == replies.NOT_FOUND
    assert intake.delete_profile(app, WHEEL) == replies.NOT_FOUND
    assert (inflator.events, closed, inflator.waiting()) == ([], [], "nothing")


def test_a_deletion_shows_the_wheel_and_its_name(inflator: Inflator) -> None:
    app = inflator.app
    intake.take_profile(app, made(label="Ålder\N{RIGHT SINGLE QUOTATION MARK}s".encode()))
    assert intake.ask_to_delete(app, WHEEL) == replies.WAITING_FOR_PERSON
    assert app.consent.wheel == WHEEL and app.consent.value == 0
    assert app.consent.text == "delete the profile of " + intake.label_of(
        layout.unpack(layout.PROFILE, made(label="Ålder\N{RIGHT SINGLE QUOTATION MARK}s".encode()))
    )


CALIBRATION = struct.pack("<iiIiH", 66_000, -300, 2_500, 100, 7)
BAND = struct.pack("<iI", 12_000, 2_600)


def confirm(inflator: Inflator) -> None:
    inflator.wait(0.3)
    inflator.press(buttons.WORKSHOP)


def test_a_setting_from_a_host_is_taken_at_once_and_recorded_with_its_revision(
    inflator: Inflator,
) -> None:
    app = inflator.app
    for revision in (1, 2):
        assert intake.take_setting(app, 8, bytes((revision - 1,))) == replies.OK
        assert inflator.events[-1] == (events.SETTING_STORED, 8, revision)
    assert inflator.waiting() == "nothing"


@pytest.mark.parametrize(
    ("number", "value", "code"),
    [
        (22, struct.pack("<BIiH", 0, 2_500, -1, 0), replies.SETTING_LOCKED),
        (8, b"\2", replies.SETTING_VALUE),
        (99, b"", replies.SETTING_UNKNOWN),
    ],
)
def test_a_setting_that_is_refused_is_recorded(
    inflator: Inflator, number: int, value: bytes, code: int
) -> None:
    assert intake.take_setting(inflator.app, number, value) == code
    assert inflator.events == [(events.REFUSED, code, codes.SETTING_PUT)]
    assert (
        inflator.app.store.setting_get(number)[0] == b"" or number == 22
    ) and inflator.waiting() == "nothing"


def test_a_setting_that_loosens_waits_for_a_person_and_the_same_again_does_not(
    inflator: Inflator,
) -> None:
    app = inflator.app
    assert intake.take_setting(app, 3, BAND) == replies.WAITING_FOR_PERSON
    assert inflator.events == [] and app.consent.value == 3
    assert intake.take_setting(app, 3, BAND) == replies.PERSON_BUSY
    assert inflator.events == [(events.REFUSED, replies.PERSON_BUSY, codes.SETTING_PUT)]
    confirm(inflator)
    assert (events.SETTING_STORED, 3, 1) in inflator.events and app.guard_pa() == 12_000
    assert intake.take_setting(app, 3, BAND) == replies.OK
    assert inflator.events[-1] == (events.SETTING_STORED, 3, 2)


def test_a_setting_that_cannot_be_stored_changes_nothing(
    inflator: Inflator, monkeypatch: pytest.MonkeyPatch
) -> None:
    app, before = inflator.app, inflator.app.guard_pa()
    monkeypatch.setattr(app.store, "setting_put", lambda *_: replies.STORE_FULL)
    assert intake.store_setting(app, 3, BAND) == replies.STORE_FULL
    assert inflator.events == [(events.REFUSED, replies.STORE_FULL, codes.SETTING_PUT)]
    assert app.guard_pa() == before and app.day != 2_600


def test_the_day_of_the_guard_band_is_kept_and_of_nothing_else(inflator: Inflator) -> None:
    app = inflator.app
    assert intake.store_setting(app, 1, CALIBRATION) == replies.OK and app.day != 2_500
    assert intake.store_setting(app, 3, BAND) == replies.OK and app.day == 2_600


@pytest.mark.parametrize("number", [1, 2])
def test_each_transducer_s_coefficients_reach_the_guard(inflator: Inflator, number: int) -> None:
    """Gain 66,000 / 65,536 of 9,766, and the offset of its type by the same gain, less 300 Pa; the other transducer's stay."""
    app, x = inflator.app, inflator.app.engine.x
    assert intake.store_setting(app, number, CALIBRATION) == replies.OK
    inflator.wait(0.2)
    off = round({1: -125_012 + 101_325, 2: -125_012}[number] * 66_000 / 65_536) - 300
    mine, other = ((17, 18), (19, 20))[:: 1 if number == 1 else -1]
    assert (x[mine[0]], x[mine[1]]) == (9_835, off)
    assert x[other[0]] in (0, 9_766) and x[other[1]] != off


def test_new_coefficients_end_a_visit(inflator: Inflator) -> None:
    left: list[Callable[..., Any] | int] = []
    inflator.app.cycle.leave = left.append
    assert intake.store_setting(inflator.app, 1, CALIBRATION) == replies.OK
    assert left == [] and inflator.app.settings_stale
    inflator.wait(0.05)
    assert (
        len(left) == 1
        and not inflator.app.settings_stale
        and inflator.app.engine.x[slots.X_CEIL_PA] == 0
    )
