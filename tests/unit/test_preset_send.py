"""A preset sent to an inflator: tagged, read back, refused where a wheel is missing or a target lies above where that inflator stops."""

from types import SimpleNamespace

import pytest
from rimward.base.errors import Refusal
from rimward.device.link import Client, LockstepTransport, verbs
from rimward.formats import records
from rimward.simulation.person import Person
from rimward.simulation.scenario import KEY, Scenario, plant_of
from rimward.simulation.virtual import VirtualInflator
from rimward.wheels import keys, preset
from rimward.wheels.preset import record
from rimward_protocol import codes
from rimward_protocol import preset as check

from tests.unit.shopdesk import FRONT, REAR, RIDE

ID = b"sunday01"


def pair_record(key: bytes = KEY, **changed: object) -> bytes:
    """A tagged preset of two wheels."""
    values = {
        "issue": 1, "preset_id": ID, "rider": b"Ida Quill", "flags": 0, "temp_max_ck": 30315, "ambient_min_pa": 90000,
        "front_wheel": b"wheel001", "front_issue": 1, "front_target_pa": 250_000, "rear_wheel": b"wheel002", "rear_issue": 1, "rear_target_pa": 270_000, "made_days": 2500,
    }  # fmt: skip
    return check.tag_preset(key, records.pack_preset(values | changed))


@pytest.fixture(scope="module")
def person():
    with VirtualInflator(plant_of(Scenario())) as inflator:
        made = Person(inflator)
        made.enrol()
        yield made


def test_what_is_sent_is_held_and_listed(person):
    data = pair_record()
    assert verbs.send_preset(person.client, data)["preset_id"] == ID.hex()
    assert [(row["data"], row["tag_fits"]) for row in verbs.list_presets(person.client)] == [
        (data, True)
    ]


def test_another_key_or_an_older_issue_is_refused(person):
    with pytest.raises(Refusal, match="tag"):
        verbs.send_preset(person.client, pair_record(key=bytes(32)))
    verbs.send_preset(person.client, pair_record(issue=5))
    with pytest.raises(Refusal):
        verbs.send_preset(person.client, pair_record(issue=4))


@pytest.fixture
def made(desk, tmp_path):
    """(preset, both ends checked, key ring) of a registered pair with profiles."""
    desk("key", "new")
    desk.json("wheel", "add", *FRONT)
    desk.json("wheel", "add", *REAR)
    words = (
        "--front",
        "aspen front",
        "--rear",
        "aspen rear",
        "--front-target",
        "3.8 bar",
        "--rear-target",
        "3.7 bar",
    )
    desk.json("preset", "make", "Sunday", "--rider", "Ida Quill", *words, *RIDE, "-o", "p.json")
    from rimward.cli.commands.wheel_options import register

    read = preset.read(tmp_path / "p.json")

    def checked():
        with register(None) as held:
            return preset.check(held, read)

    return SimpleNamespace(desk=desk, preset=read, checked=checked)


def test_a_record_needs_both_profiles_and_says_what_was_asked(made):
    with pytest.raises(Refusal, match="has no profile yet"):
        record.record_of(made.preset, made.checked(), keys.load())
    made.desk.json("preset", "profiles", "p.json")
    ring = keys.load()
    data = record.record_of(made.preset, made.checked(), ring)
    fields = records.unpack_preset(data)
    assert (fields["rider"], fields["front_target_pa"], fields["rear_target_pa"]) == (
        "Ida Quill",
        380_000,
        370_000,
    )
    assert fields["flags"] == codes.PRESET_RIDE_STATED and fields["temp_max_ck"] == 31815
    assert check.tag_fits(ring.current.key, data) and not check.tag_fits(bytes(32), data)
    again = records.unpack_preset(record.record_of(made.preset, made.checked(), ring))
    assert again["preset_id"] == fields["preset_id"] and again["issue"] > fields["issue"]


def test_a_target_above_where_the_inflator_stops_is_refused(made):
    ends = made.checked()
    record.refuse_above_stop(ends, 10_000)
    with pytest.raises(Refusal, match="above this inflator.s stop reading"):
        record.refuse_above_stop(ends, 60_000)


def test_the_command_sends_it_with_the_profiles_that_the_inflator_lacks(made, monkeypatch):
    made.desk.json("preset", "profiles", "p.json")
    with VirtualInflator(plant_of(Scenario())) as inflator:
        person = Person(inflator)
        person.enrol(keys.load().current.key)
        monkeypatch.setattr(
            "rimward.device.link.ports.open_client",
            lambda port, **_: Client(LockstepTransport(inflator)),
        )
        first = made.checked()[0].wheel
        verbs.send_profile(person.client, bytes.fromhex(first.values["profile"]["data"]))
        told = made.desk.json("preset", "send", "p.json", "--port", "here")
        (sent,) = told["profiles"]
        assert sent["wheel_id"] != first.wheel_id and sent["waiting_for_person"]
        assert made.desk.json("preset", "send", "p.json", "--port", "here")["profiles"] == []
        made.desk.json("wheel", "edit", first.wheel_id, "--rim-max", "4.8 bar")
        assert (
            made.desk("preset", "send", "p.json", "--port", "here") == 1
            and "no longer counts" in made.desk.err
        )
        assert (
            told["preset"]["rider"] == "Ida Quill"
            and told["preset"]["front"]["target_pa"] == 380_000
        )
        (held,) = verbs.list_presets(Client(LockstepTransport(inflator)))
        assert (
            held["tag_fits"]
            and records.unpack_preset(held["data"])["preset_id"].hex() == told["preset_id"]
        )
