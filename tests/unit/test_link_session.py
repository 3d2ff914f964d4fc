"""A workshop with a key: enrolled, profile tagged on its way, the record chained, verified, and every edit of it found. In lockstep."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner
from rimward.base.errors import Refusal
from rimward.cli.main import cli
from rimward.device.link import verbs
from rimward.simulation.person import Person
from rimward.simulation.scenario import Scenario, plant_of
from rimward.simulation.virtual import VirtualInflator
from rimward.wheels import keys
from rimward_protocol import session

from tests.unit.linkbench import profile


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder with this workshop's key."""
    folder = tmp_path_factory.mktemp("workshop")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("RIMWARD_DATA", str(folder / "data"))
        patch.setenv("RIMWARD_KEYSTORE", "file")
        keys.new()
        yield folder


@pytest.fixture(scope="module")
def record(workshop: Path) -> Path:
    """A short fill of a tagged profile on an inflator with the workshop's key."""
    key = keys.load().current.key
    with VirtualInflator(plant_of(Scenario())) as inflator:
        person = Person(inflator)
        with pytest.raises(Refusal, match="no-key"):
            verbs.send_profile(person.client, profile())
        inflator.hands.held.add("workshop")
        inflator.advance(0.3)
        with pytest.raises(
            Refusal, match="declined"
        ):  # held beforehand the button confirms nothing
            verbs.enrol_key(person.client, key)
        inflator.hands.held.clear()
        with pytest.raises(Refusal, match="declined"):
            verbs.enrol_key(person.client, key, lambda _text: inflator.press("down"))
        assert verbs.held_key(person.client) is None
        verbs.enrol_key(person.client, key, person.confirm)
        assert verbs.held_key(person.client) == keys.load().current.check
        with pytest.raises(Refusal, match="tag-wrong"):
            verbs.send_profile(person.client, profile())
        from rimward.wheels import profiles

        verbs.send_profile(person.client, profiles.tagged(profile(), keys.load()))
        assert verbs.list_profiles(person.client)[0]["tag_fits"]
        person.choose(Scenario().wheel_id())
        person.hold(3.0)
        inflator.advance(0.3)
        person.choose(bytes(8))
        path = workshop / "fill.rws"
        assert verbs.pull_session(
            person.client, verbs.list_sessions(person.client)[0]["session"], path
        )["ended"]
    return path


def verdict(path: Path) -> tuple[int, str]:
    """(exit code, verdict) of `rimward session verify`."""
    done = CliRunner().invoke(cli, ["session", "verify", str(path), "--json"])
    return done.exit_code, json.loads(done.stdout)["verdict"]


def test_chained_record_is_verified(record: Path) -> None:
    assert verdict(record) == (0, "holds")
    done = CliRunner().invoke(cli, ["session", "verify", str(record)])
    assert done.stdout.startswith("The chain holds")


def test_blocks_are_counted_from_their_session(record: Path) -> None:
    data = record.read_bytes()
    number = int.from_bytes(data[32:36], "little")
    assert number > 0 and int.from_bytes(data[64:68], "little") == number << 16


def resealed(data: bytes, block: int, change: int) -> bytes:
    """Change one payload byte and correct the block's check code: possible without the key."""
    from rimward_protocol.sessionread import read_blocks

    _why, _header, found, _good = read_blocks(data)
    _kind, start, stop = found[block]
    edited = bytearray(data)
    edited[start + change % (stop - start)] ^= 1
    edited[stop : stop + 4] = session.crc32(bytes(edited[start - 8 : stop])).to_bytes(4, "little")
    return bytes(edited)


def test_every_edited_block_shows(record: Path, tmp_path: Path) -> None:
    from rimward_protocol.sessionread import chain_holds, read_blocks

    data = record.read_bytes()
    key = session_key()
    assert chain_holds(data, key)
    blocks = len(read_blocks(data)[2])
    for block in range(blocks):
        assert not chain_holds(resealed(data, block, 11 * block), key), block
    (tmp_path / "edited.rws").write_bytes(resealed(data, blocks // 2, 3))
    assert verdict(tmp_path / "edited.rws") == (1, "broken")


def session_key() -> bytes:
    from rimward_protocol.mac import hmac_sha256

    return hmac_sha256(keys.load().current.key, b"session")


def test_removed_and_reordered_blocks_show(record: Path, tmp_path: Path) -> None:
    from rimward_protocol.sessionread import read_blocks

    data = record.read_bytes()
    _why, header, found, _good = read_blocks(data)
    ends = [header["header_bytes"], *(stop + 4 + 16 for _kind, _start, stop in found)]
    for name, changed in (
        ("removed", data[: ends[3]] + data[ends[4] :]),
        ("cut", data[: ends[-2]]),
        (
            "swapped",
            data[: ends[3]] + data[ends[4] : ends[5]] + data[ends[3] : ends[4]] + data[ends[5] :],
        ),
    ):
        path = tmp_path / f"{name}.rws"
        path.write_bytes(changed)
        assert verdict(path) == (1, "damaged"), name


def test_record_without_a_key_is_not_called_verified(workshop: Path) -> None:
    """No key: the built-in profile is all there is, and nothing chains the record."""
    with VirtualInflator(plant_of(Scenario())) as inflator:
        person = Person(inflator)
        person.choose(bytes(8))
        person.hold(3.0)
        inflator.advance(0.3)
        person.choose(bytes(8))
        path = workshop / "keyless.rws"
        verbs.pull_session(person.client, verbs.list_sessions(person.client)[0]["session"], path)
    assert inflator.plant.peak_pa > 1000
    assert verdict(path) == (1, "not-chained")


def test_another_workshops_key_does_not_verify_it(
    record: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path / "other"))
    done = CliRunner().invoke(cli, ["session", "verify", str(record)])
    assert isinstance(done.exception, Refusal) and "no workshop key" in str(done.exception)
    keys.new()
    assert verdict(record) == (1, "broken")
    assert (tmp_path / "other").exists()
