"""The store on a plain folder: what rots, what is full, what is nonsense. Power cuts on real littlefs are in tests/faults."""

import hashlib
import random
from pathlib import Path

import pytest
from rimward_fw.control import builtin
from rimward_fw.storage import records, store, wheels
from rimward_fw.storage.store import Store
from rimward_protocol import layout, replies

from tests.faults.cutactions import issue_of

WHEEL = b"wheel001"
TRIP = {
    "cause": 3,
    "state": 6,
    "boot": 2,
    "tick": 500,
    "session": 1,
    "unix_s": 1800000000,
    "value": -430,
}


def profile_of(wheel: bytes = WHEEL, revision: int = 1, **changed: object) -> bytes:
    return layout.seal_profile(
        {**builtin.BUILT_IN, "wheel_id": wheel, "revision": revision, "issue": revision, **changed}
    )


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path


@pytest.fixture
def held(folder: Path) -> Store:
    return opened(folder)


def opened(folder: Path) -> Store:
    """A store as after a restart."""
    made = Store(str(folder), lambda: False)
    made.boot()
    return made


def copies(folder: Path, name: str) -> list[Path]:
    found = sorted(folder.glob(name + ".[01]"))
    assert len(found) == 2
    return found


def flip(path: Path, at: int, bit: int = 1) -> None:
    data = bytearray(path.read_bytes())
    data[at] ^= bit
    path.write_bytes(data)


def test_a_profile_comes_back_as_it_was_stored(held: Store, folder: Path) -> None:
    data = profile_of(revision=7)
    assert held.profile_put(data, False) == (replies.OK, 0, hashlib.sha256(data).digest())
    for one in (held, opened(folder)):
        assert one.profile_get(WHEEL) == (data, 0, False)
        assert one.profile_list() == [WHEEL]
        assert issue_of(one, WHEEL) == 7
    assert held.profile_confirm(WHEEL) == replies.OK
    assert opened(folder).profile_get(WHEEL) == (data, 0, True)


def test_both_copies_say_the_same(held: Store, folder: Path) -> None:
    held.profile_put(profile_of(revision=1), False)
    held.profile_put(profile_of(revision=2), True)
    held.key_put(bytes(range(32)))
    held.setting_put(8, b"\x01")
    held.trip_add(TRIP)
    names = ["p/" + WHEEL.hex(), "s/key", "s/n8", "s/trips", "s/boots"]
    for name in names:
        first, second = copies(folder, name)
        assert first.read_bytes() == second.read_bytes()
    assert sorted(p.name for p in folder.glob("*/*")) == sorted(
        name.split("/")[1] + slot for name in names for slot in (".0", ".1")
    )


def test_any_flipped_bit_leaves_the_other_copy(held: Store, folder: Path) -> None:
    held.profile_put(profile_of(revision=1), True)
    new = profile_of(revision=2, ceiling_pa=400000)
    held.profile_put(new, True)
    for path in copies(folder, "p/" + WHEEL.hex()):
        whole = path.read_bytes()
        for at in range(len(whole)):
            flip(path, at, 1 << at % 8)
            assert opened(folder).profile_get(WHEEL)[0] == new  # never the superseded one
            assert path.read_bytes() == whole, "the restart brings the copy back"


@pytest.mark.parametrize("keep", [0, 1, 11, 12, 40])
def test_a_copy_cut_short_leaves_the_other(held: Store, folder: Path, keep: int) -> None:
    held.setting_put(7, b"Stand 2".ljust(20, b"\0"))
    for path in copies(folder, "s/n7"):
        path.write_bytes(path.read_bytes()[:keep])
        assert held.setting_get(7) == (b"Stand 2".ljust(20, b"\0"), 1)
        assert opened(folder).damaged == 0


def test_two_damaged_copies_give_no_record_and_are_counted(held: Store, folder: Path) -> None:
    held.profile_put(profile_of(), True)
    held.key_put(bytes(range(32)))
    for name in ("p/" + WHEEL.hex(), "s/key"):
        for path in copies(folder, name):
            flip(path, 9)
    again = opened(folder)
    assert (again.damaged, again.profile_get(WHEEL), again.profile_list(), again.key()) == (
        2,
        None,
        [],
        None,
    )
    assert again.profile_put(profile_of(revision=2), False)[0] == replies.OK
    assert again.key_put(bytes(32 * [9])) == replies.OK


def test_the_highest_issue_survives_deletion_and_key_change(held: Store, folder: Path) -> None:
    held.profile_put(profile_of(revision=41), True)
    assert held.profile_delete(WHEEL) == replies.OK
    held.key_put(bytes(range(32)))
    again = opened(folder)
    assert issue_of(again, WHEEL) == 41
    assert (again.profile_get(WHEEL), again.profile_list()) == (None, [])
    assert (again.profile_delete(WHEEL), again.profile_confirm(WHEEL)) == (
        replies.NOT_FOUND,
        replies.NOT_FOUND,
    )
    again.profile_put(
        profile_of(revision=5), False
    )  # the caller refuses this; the store still forgets nothing
    assert issue_of(again, WHEEL) == 41


def test_an_unknown_wheel(held: Store) -> None:
    assert issue_of(held, WHEEL) == 0
    assert held.profile_get(WHEEL) is None
    assert held.setting_get(3) == (b"", 0)
    assert held.trips() == []
    assert held.key() is None
    assert held.wrong_tags() == (0, 0)


def test_settings_count_their_changes(held: Store) -> None:
    for number in range(1, 6):
        assert held.setting_put(8, bytes([number])) == replies.OK
        assert held.setting_get(8) == (bytes([number]), number)
    assert held.setting_put(8, bytes(store.SETTING_MAX + 1)) == replies.SETTING_VALUE
    assert held.setting_get(8) == (b"\x05", 5)


def test_boots_are_counted(folder: Path) -> None:
    assert [Store(str(folder), lambda: False).boot() for _ in range(3)] == [1, 2, 3]


def test_wrong_tags_belong_to_their_key(held: Store, folder: Path) -> None:
    held.wrong_tags_put(4, 1)
    assert held.wrong_tags() == (4, 1)
    held.key_put(bytes(range(32)))
    assert held.wrong_tags() == (0, 0)
    held.wrong_tags_put(9, 2)
    assert opened(folder).wrong_tags() == (9, 2)


@pytest.mark.parametrize("length", [0, 31, 33])
def test_a_key_has_32_bytes(held: Store, length: int) -> None:
    assert held.key_put(bytes(length)) == replies.BAD_VALUE
    assert held.key() is None


def test_the_last_sixteen_trips_stay_newest_first(held: Store, folder: Path) -> None:
    for number in range(40):
        assert held.trip_add({**TRIP, "tick": number}) == replies.OK
    assert [row["tick"] for row in opened(folder).trips()] == list(range(39, 23, -1))
    assert opened(folder).trips()[0] == {**TRIP, "tick": 39}


def test_a_full_table_drops_the_oldest_and_raises_the_floor(
    held: Store, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(wheels, "WHEELS_MAX", 3)
    for number in range(3):
        assert (
            held.profile_put(profile_of(b"wheel00%d" % number, 10 + number), True)[0] == replies.OK
        )
    assert held.wheels.floor() == 0
    assert held.profile_put(profile_of(b"wheel009", 20), True)[0] == replies.OK
    for one in (held, opened(folder)):
        assert (
            one.profile_list() == [b"wheel001", b"wheel002", b"wheel009"]
            and one.wheels.floor() == 10
        )
        assert (
            one.wheels.least_issue(b"wheel000") == 10 and one.wheels.least_issue(b"wheel001") == 11
        )
    held.profile_delete(b"wheel002")
    assert held.profile_put(profile_of(b"wheel008", 21), True)[0] == replies.OK, (
        "a deleted wheel makes way before one in use"
    )
    assert (
        held.profile_list() == [b"wheel001", b"wheel008", b"wheel009"] and held.wheels.floor() == 12
    )
    assert (
        held.profile_put(profile_of(b"wheel001", 30), True)[0] == replies.OK
        and held.wheels.floor() == 12
    ), "a wheel of the table needs no room"


@pytest.mark.parametrize("length", [0, 107, 109])
def test_only_whole_profiles(held: Store, length: int) -> None:
    assert held.profile_put(bytes(length), True) == (replies.PROFILE_SIZE, 0, b"")


def writes(one: Store) -> list[object]:
    """Results of every call that would write."""
    return [
        one.profile_put(profile_of(b"wheel002"), True)[0], one.profile_confirm(WHEEL), one.profile_delete(WHEEL), one.setting_put(8, b"\x02"),
        one.key_put(bytes(range(32))), one.wrong_tags_put(1, 1), one.trip_add(TRIP), one.session_append(2, b"block"), one.session_end(1, {}),
        one.session_delete(1),
    ]  # fmt: skip


def test_nothing_is_written_while_the_pump_is_enabled(held: Store, folder: Path) -> None:
    held.profile_put(profile_of(), False)
    held.session_append(1, b"block")
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    running = Store(str(folder), lambda: True)
    assert writes(running) == [replies.BUSY_FILLING] * 10
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before
    assert running.trips() == [TRIP], "a trip that came too early waits"


def test_a_trip_that_had_to_wait_is_written_before_the_session(folder: Path) -> None:
    opened(folder)
    enabled = [True]
    one = Store(str(folder), lambda: enabled[0])
    assert one.trip_add(TRIP) == replies.BUSY_FILLING
    enabled[0] = False
    assert one.session_append(1, b"block") == replies.OK
    assert opened(folder).trips() == [TRIP]


def test_a_refusing_flash_keeps_the_old_record(
    held: Store, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = profile_of(revision=1)
    held.profile_put(data, True)

    def refuse(*_args: object) -> None:
        raise OSError(28, "full")

    monkeypatch.setattr(records.os, "rename", refuse)
    assert held.profile_put(profile_of(revision=2), True) == (replies.STORE_FULL, 0, b"")
    monkeypatch.undo()
    again = opened(folder)
    assert (again.profile_get(WHEEL)[0], issue_of(again, WHEEL)) == (data, 1)
    assert not list(folder.glob("*/*.n")), "the restart removes files left aside"


def test_what_reads_back_otherwise_never_becomes_current(
    held: Store, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    held.setting_put(8, b"\x01")
    real = records.file_bytes

    def other(path: str) -> bytes | None:
        data = real(path)
        return data[:-1] + b"?" if data and path.endswith(records.ASIDE) else data

    monkeypatch.setattr(records, "file_bytes", other)
    assert held.setting_put(8, b"\x02") == replies.READ_BACK_DIFFERS
    monkeypatch.undo()
    assert opened(folder).setting_get(8) == (b"\x01", 1)


def test_when_the_second_copy_fails_no_older_one_stays(
    held: Store, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    held.setting_put(8, b"\x01")
    real, calls = records._put, []

    def once(path: str, slot: int, data: bytes, feed: object = None) -> int:
        calls.append(slot)
        return real(path, slot, data) if len(calls) == 1 else replies.STORE_FULL

    monkeypatch.setattr(records, "_put", once)
    assert held.setting_put(8, b"\x02") == replies.OK
    assert [path.name for path in folder.glob("s/n8.*")] == ["n8.1"]
    monkeypatch.undo()
    assert held.setting_get(8)[0] == b"\x02"
    assert opened(folder).setting_get(8)[0] == b"\x02"
    copies(folder, "s/n8")


def test_a_record_never_counts_past_its_last_revision(folder: Path) -> None:
    path = str(folder / "x")
    (folder / "x.0").write_bytes(records.frame(records.REVISION_MAX, b"last"))
    assert records.write(path, b"more") == replies.STORE_FULL
    assert records.read(path) == (b"last", records.REVISION_MAX, 0)


def test_any_folder_content_raises_nothing(folder: Path) -> None:
    chance = random.Random(8)
    opened(folder).profile_put(profile_of(), True)
    names = [
        "p/nothex.0",
        "p/00.1",
        "p/" + "zz" * 8 + ".0",
        "p/" + WHEEL.hex() + ".1",
        "p/" + b"wheel003".hex() + ".0",
        "s/n3.0",
        "s/n3.1",
    ]
    names += [
        "s/key.0",
        "s/trips.1",
        "s/wrong.0",
        "s/boots.1",
        "s/last.0",
        "l/00000001",
        "l/zzzzzzzz",
        "l/-0000001",
        "l/00000002.1.2.3.4",
    ]
    names += ["l/00000003.00000001.01.01." + WHEEL.hex(), "l/x", "s/.n", "p/.0"]
    for _ in range(80):
        for name in chance.sample(names, 6):
            data = chance.randbytes(chance.choice((0, 1, 11, 12, 13, 125, 400, 3000)))
            (folder / name).write_bytes(
                records.frame(chance.randrange(9), data[:900]) if chance.random() < 0.5 else data
            )
        one = opened(folder)
        for wheel in [*one.profile_list(), WHEEL, b"wheel003"]:
            one.profile_get(wheel)
            issue_of(one, wheel)
        one.key(), one.trips(), one.wrong_tags(), one.setting_get(3)
        assert all(number > 0 for number in one.session_list())
        for number in one.session_list():
            one.session_about(number)
            one.session_read(number, 0, 9)
        assert one.session_new() > max([0, *one.session_list()])
        assert one.setting_put(3, b"12345678") == replies.OK
    assert one.profile_put(profile_of(revision=9), True)[0] == replies.OK


def test_a_missing_folder_gives_codes(tmp_path: Path) -> None:
    one = Store(str(tmp_path / "gone"), lambda: False)
    assert one.profile_put(profile_of(), True)[0] == replies.STORE_FULL
    assert one.setting_put(8, b"\x01") == replies.STORE_FULL
    assert one.session_append(1, b"block") == replies.STORE_FULL
    assert one.trip_add(TRIP) == replies.STORE_FULL
    assert one.trips() == [TRIP]
    assert (one.profile_list(), one.session_list(), one.session_read(1, 0, 5), one.boot()) == (
        [],
        [],
        b"",
        1,
    )
