"""Presets on the inflator: sent as a record, chosen on the display as one entry, two wheels under one run number, the stricter ride, no target above a stop reading."""

import struct
from pathlib import Path

import pytest
from rimward.base.errors import Refusal
from rimward.device.link import screen, verbs
from rimward.formats import records
from rimward.simulation.person import Person
from rimward.simulation.scenario import KEY, Scenario, plant_of, profile_of
from rimward.simulation.virtual import VirtualInflator
from rimward_fw.control.pair import stricter
from rimward_protocol import codes, layout, preset

ID = b"sunday01"


def wheel(label: str, number: int) -> tuple[bytes, bytes]:
    """(wheel id, tagged profile) of a wheel like the invented one."""
    from rimward_protocol.profile import tag_profile

    fields = layout.unpack(layout.PROFILE, profile_of(Scenario()))
    fields |= {
        "wheel_id": b"wheel00" + str(number).encode(),
        "label": label.encode(),
        "position": number,
        "tag": b"",
    }
    for name in ("magic", "version", "crc"):
        del fields[name]
    return fields["wheel_id"], tag_profile(KEY, layout.seal_profile(fields))


def pair_record(key: bytes = KEY, **changed: object) -> bytes:
    """A tagged preset of both wheels."""
    values = {
        "issue": 1, "preset_id": ID, "rider": b"Ida Quill", "flags": 0, "temp_max_ck": 30315, "ambient_min_pa": 90000,
        "front_wheel": b"wheel001", "front_issue": 1, "front_target_pa": 250_000, "rear_wheel": b"wheel002", "rear_issue": 1, "rear_target_pa": 270_000, "made_days": 2500,
    }  # fmt: skip
    return preset.tag_preset(key, records.pack_preset(values | changed))


@pytest.fixture
def person():
    with VirtualInflator(plant_of(Scenario())) as inflator:
        made = Person(inflator)
        made.enrol()
        for label, number in (("Larkspur front", 1), ("Larkspur rear", 2)):
            verbs.send_profile(made.client, wheel(label, number)[1])
        yield made


def shown(person: Person) -> screen.Screen:
    person.inflator.advance(0.5)
    return screen.read_screen(person.client)


def test_the_stricter_ride_applies_and_the_riders_target():
    row = {
        "flags": codes.PRESET_RIDE_STATED,
        "ambient_min_pa": 80_000,
        "temp_max_ck": 31_000,
        "front_target_pa": 1,
        "rear_target_pa": 2,
    }
    values = {
        "flags": codes.FLAG_RIDE_STATED,
        "ambient_min_pa": 90_000,
        "temp_max_ck": 32_000,
        "target_pa": 9,
    }
    assert stricter(values, row, 1) == {
        "flags": codes.FLAG_RIDE_STATED,
        "ambient_min_pa": 80_000,
        "temp_max_ck": 32_000,
        "target_pa": 2,
    }
    plain = {
        "flags": codes.FLAG_RIDE_STATED | codes.FLAG_LIMIT_AT_FILL,
        "ambient_min_pa": 101_325,
        "temp_max_ck": 29_315,
        "target_pa": 9,
    }
    assert stricter(plain, row, 0) == {
        "flags": codes.FLAG_RIDE_STATED,
        "ambient_min_pa": 80_000,
        "temp_max_ck": 31_000,
        "target_pa": 1,
    }
    assert stricter(values, {**row, "flags": 0}, 0) == {**values, "target_pa": 1}
    assert values["target_pa"] == 9, "the stored profile's fields are left alone"


def test_chosen_as_one_entry_and_both_records_carry_one_run(person, tmp_path):
    """The whole firmware: list, both targets and ceilings, front and rear filled, two records of one run; the list is by last use."""
    data = pair_record()
    assert verbs.send_preset(person.client, data)["preset_id"] == ID.hex()
    assert [(row["data"], row["tag_fits"]) for row in verbs.list_presets(person.client)] == [
        (data, True)
    ]
    first = shown(person)
    assert first.name == "choose" and first.lines[1:3] == ("Ida Quill", "front and rear")
    runs = []
    for button, target in (("enter", 250_000), ("down", 270_000)):
        if not runs:
            person.inflator.press("enter")
        pair = shown(person)
        assert (
            pair.name == "pair"
            and pair.lines[0] == "Ida Quill"
            and "front 2.50 bar" in pair.lines
            and "rear 2.70 bar" in pair.lines
        )
        assert sum(line.startswith("ceiling ") for line in pair.lines) == 2
        assert any(line.endswith("front done") for line in pair.lines) == bool(runs)
        person.inflator.press(button)
        for _ in range(3):
            if person.status()["waiting"] not in ("new-wheel", "stood-an-hour"):
                break
            person.inflator.press("enter")
        person.inflator.advance(1.0)
        armed = person.status()
        assert armed["target_pa"] == pytest.approx(target, abs=6_000) and armed["ceiling_pa"] > 0
        assert person.fill()["state"] == "done"
        person.let_settle()
        path = tmp_path / f"{button}.rws"
        verbs.pull_session(person.client, 0, path)
        runs.append(run_of(path))
        person.inflator.press("enter")
    assert [(row[0], row[2]) for row in runs] == [(ID, 1), (ID, 2)] and runs[0][1] == runs[1][1] > 0
    assert all(row[3] == data for row in runs)


def run_of(path: Path) -> tuple[bytes, int, int, bytes]:
    """(preset id, run, side, preset) of a session's record."""
    from rimward.sessions import read_session

    held = read_session(path).meta["preset"]
    return held[:8], struct.unpack_from("<I", held, 8)[0], held[12], held[13:]


def test_a_target_above_a_stop_reading_is_refused_for_both_wheels(person):
    """One end is too high: neither is filled, and the display says why."""
    verbs.send_preset(person.client, pair_record(rear_target_pa=480_000))
    person.inflator.advance(0.3)
    person.inflator.press("enter")
    told = shown(person)
    assert told.name == "refused" and "target" in " ".join(told.lines)
    person.inflator.press("down")
    assert person.status()["state"] == "idle" and person.status()["ceiling_pa"] == 0
    person.inflator.press("enter")
    assert shown(person).name == "choose"


def test_a_ride_of_the_preset_lowers_the_ceiling_in_force(person):
    ceilings = []
    for issue, flags in ((1, 0), (2, codes.PRESET_RIDE_STATED)):
        verbs.send_preset(
            person.client,
            pair_record(issue=issue, flags=flags, temp_max_ck=34_000, ambient_min_pa=60_000),
        )
        person.inflator.advance(0.3)
        person.inflator.press("enter")
        person.inflator.press("enter")
        for _ in range(3):
            if person.status()["waiting"] not in ("new-wheel", "stood-an-hour"):
                break
            person.inflator.press("enter")
        person.inflator.advance(1.0)
        ceilings.append(person.status()["ceiling_pa"])
        verbs.choose_wheel(person.client, bytes(8))
        person.inflator.press("down")
        person.inflator.advance(1.0)
        person.inflator.power_cycle()
        person.inflator.advance(2.0)
        person.client = Person(person.inflator).client
    assert 0 < ceilings[1] < ceilings[0]


def test_a_preset_of_another_key_or_an_older_one_is_refused(person):
    with pytest.raises(Refusal, match="tag"):
        verbs.send_preset(person.client, pair_record(key=bytes(32)))
    verbs.send_preset(person.client, pair_record(issue=5))
    with pytest.raises(Refusal):
        verbs.send_preset(person.client, pair_record(issue=4))


def test_wheels_are_listed_by_last_use(person):
    assert [line for line in shown(person).lines if "Larkspur" in line] == [
        "Larkspur front",
        "Larkspur rear",
    ]
    verbs.choose_wheel(person.client, b"wheel002")
    person.inflator.press("down")
    person.inflator.power_cycle()
    person.inflator.advance(2.0)
    again = Person(person.inflator)
    lines = shown(again).lines
    assert [line for line in lines if "Larkspur" in line] == ["Larkspur rear", "Larkspur front"]
    assert lines[2].startswith("R 28-622 4."), "position, tyre size, ceiling"
