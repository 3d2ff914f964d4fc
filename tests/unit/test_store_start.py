"""What a start of the store repairs, and which room each write asks for before it touches flash."""

from pathlib import Path
from typing import Any

import pytest
from rimward_fw.storage.store import Store
from rimward_protocol import codes, replies

from tests.unit.test_presets_fw import made
from tests.unit.test_store_records import WHEEL, profile_of
from tests.unit.test_store_sessions import ABOUT

RECORDS = {"s": "n3", "r": b"preset01".hex(), "p": WHEEL.hex()}  # one record of each folder


def opened(folder: Path) -> Store:
    store = Store(str(folder), lambda: False)
    store.boot()
    return store


def filled(folder: Path) -> Store:
    """A store with one setting, one preset and one profile of its own."""
    store = opened(folder)
    assert store.setting_put(3, b"value") == replies.OK
    assert store.presets.put(made())[0] == replies.OK
    assert store.profile_put(profile_of(), True)[0] == replies.OK
    return store


def kept(store: Store) -> dict[str, bool]:
    """Whether the record of each folder can be read."""
    profile, preset = store.profile_get(WHEEL), store.presets.get(b"preset01")
    return {
        "s": store.setting_get(3)[0] == b"value",
        "r": preset is not None,
        "p": profile is not None,
    }


def test_a_new_store_has_nothing_wrong_yet(tmp_path: Path) -> None:
    store = Store(str(tmp_path), lambda: False)
    for _time in range(2):
        assert (store.damaged, store.failing, store.dropped, store.trips()) == (0, 0, 0, [])
        store.boot()


@pytest.mark.parametrize("part", RECORDS)
@pytest.mark.parametrize("lost", [0, 1])
def test_a_start_makes_the_second_copy_of_each_folder_again(
    tmp_path: Path, part: str, lost: int
) -> None:
    """A lost, a cut and a decayed copy alike; what was written aside goes."""
    filled(tmp_path)
    place = tmp_path / part / RECORDS[part]
    copies = [place.with_name(f"{place.name}.{slot}") for slot in (0, 1)]
    whole = copies[1 - lost].read_bytes()
    for left in (None, whole[:-1], b"", whole[:12] + b"?" + whole[13:]):
        if left is None:
            copies[lost].unlink()
        else:
            copies[lost].write_bytes(left)
        aside = place.with_name(f"{place.name}.n")
        aside.write_bytes(whole)
        store = opened(tmp_path)
        assert [copy.read_bytes() for copy in copies] == [whole, whole] and not aside.exists()
        assert store.damaged == 0 and all(kept(store).values())


@pytest.mark.parametrize("parts", ["", "s", "r", "p", "sr", "srp"])
def test_a_start_counts_the_records_without_a_valid_copy(tmp_path: Path, parts: str) -> None:
    filled(tmp_path)
    for part in parts:
        for slot in (0, 1):
            (tmp_path / part / f"{RECORDS[part]}.{slot}").write_bytes(b"decayed")
    store = opened(tmp_path)
    assert store.damaged == len(parts)
    assert kept(store) == {part: part not in parts for part in RECORDS}


def test_which_room_each_write_asks_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Four blocks for a record; a piece of 4,096 bytes beside its own, and the reserve, for a session's blocks, which that session never gives."""
    store, asked = opened(tmp_path), []
    monkeypatch.setattr(store, "_reserve", lambda: 9)
    monkeypatch.setattr(store, "make_room", lambda *what: asked.append(what) or True)
    for write in (
        lambda: store.put("n8", b"x"),
        lambda: store.session_append(5, bytes(100)),  # opens the session
        lambda: store.session_append(5, bytes(3_895)),  # 3,995 wait
        lambda: store.session_append(5, bytes(101)),  # 4,096: all is written
    ):
        assert write() == replies.OK
    assert asked == [(0, 4), (4_196, 9, 5), (4_197, 9, 5)]


@pytest.mark.parametrize(
    ("locked", "grows", "fits", "other", "reply", "way"),
    [
        (False, True, False, 1, replies.OK, True), (True, True, False, 1, replies.OK, False),
        (False, False, False, 1, replies.OK, False), (False, True, True, 1, replies.OK, False),
        (False, True, False, 0, replies.OK, False), (False, True, False, 1, replies.STORE_FULL, False),
    ],
)  # fmt: skip
def test_one_old_session_makes_way_where_the_next_piece_needs_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    locked: bool, grows: bool, fits: bool, other: int, reply: int, way: bool,
) -> None:  # fmt: skip
    store, asked = opened(tmp_path), []

    def say(what: str, answer: Any) -> Any:
        return lambda *words: asked.append((what, *words)) or answer

    store.locked = lambda: locked
    monkeypatch.setattr(store, "_reserve", lambda: 9)
    monkeypatch.setattr(store, "_fits", say("fits", fits))
    monkeypatch.setattr(store, "session_delete", say("delete", reply))
    monkeypatch.setattr(store.sessions, "grows", say("grows", grows))
    monkeypatch.setattr(store.sessions, "expendable", say("expendable", other))
    assert store.make_way(5, 100) is way
    all_asked = [("grows", 5, 100), ("fits", 4_196, 9), ("expendable", 5), ("delete", 1)]
    reached = 0 if locked else 1 if not grows else 2 if fits else 3 if not other else 4
    assert asked == all_asked[:reached]


def test_sessions_make_way_one_a_call_the_oldest_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = opened(tmp_path)
    for number in (1, 2, 3):
        store.session_append(number, b"x")
        store.session_end(number, ABOUT)
    monkeypatch.setattr(store, "_fits", lambda count, spare: False)
    left = []
    while store.make_way(4, 1):
        left.append(store.session_list())
    assert left == [[3, 2], [3], []]  # 4, being written, is the newest


def test_a_number_is_kept_only_where_the_newest_session_goes(tmp_path: Path) -> None:
    """Not for one that is not there, nor a second time."""
    store = opened(tmp_path)
    for unknown in (1, 2):
        assert store.session_delete(unknown) != replies.OK
        assert store.get("last") is None and store.session_new() == 1
    store.session_append(1, b"x")
    store.session_end(1, ABOUT)
    store.number_put("last", 1)
    revision = store.get("last")[1]
    assert store.session_delete(1) == replies.OK and store.get("last")[1] == revision
    assert store.session_new() == 2


@pytest.mark.parametrize("back", [None, "another", "shorter"])
def test_a_profile_that_does_not_read_back_as_sent_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, back: str | None
) -> None:
    store, data = opened(tmp_path), profile_of(revision=3)
    read = {"another": profile_of(revision=4), "shorter": data[:-1]}.get(back or "")
    monkeypatch.setattr(
        store.wheels, "get", lambda _wheel: None if read is None else (read, 0, True)
    )
    assert store.profile_put(data, True) == (replies.READ_BACK_DIFFERS, 0, b"")


def test_a_floor_that_cannot_be_raised_keeps_the_wheel_that_would_make_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = opened(tmp_path)
    monkeypatch.setattr("rimward_fw.storage.wheels.WHEELS_MAX", 1)
    store.profile_put(profile_of(b"wheel000", 4), True)
    monkeypatch.setattr(store, "number_put", lambda *_: replies.STORE_FULL)
    assert store.profile_put(profile_of(b"wheel009", 9), True) == (replies.STORE_FULL, 0, b"")
    assert store.profile_list() == [b"wheel000"] and store.dropped == 0
    assert store.wheels.floor() == 0 and list((tmp_path / "p").glob(b"wheel000".hex() + "*"))


@pytest.mark.parametrize(("floor", "after", "writes"), [(3, 4, 1), (4, 4, 0), (5, 5, 0)])
def test_a_floor_is_written_only_where_it_rises(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, floor: int, after: int, writes: int
) -> None:
    store = opened(tmp_path)
    monkeypatch.setattr("rimward_fw.storage.wheels.WHEELS_MAX", 1)
    store.profile_put(profile_of(b"wheel000", 4), True)
    store.number_put("floor", floor)
    before = store.get("floor")[1]
    assert store.profile_put(profile_of(b"wheel009", 9), True)[0] == replies.OK
    assert (store.wheels.floor(), store.get("floor")[1] - before) == (after, writes)
    assert store.profile_list() == [b"wheel009"] and store.dropped == 4


def test_wheels_are_known_before_the_start_has_looked_through_them(tmp_path: Path) -> None:
    """By their file names: others and damaged records are left out, a deleted profile is no profile."""
    store = filled(tmp_path)
    store.profile_put(profile_of(b"wheel000", 4), True)
    store.profile_put(profile_of(b"wheel009", 9), True)
    store.profile_delete(b"wheel009")
    gone = store.wheels.row(b"wheel009")
    assert (gone.flags, gone.issue, gone.facts, gone.data) == (0, 9, None, b"")
    for name in ("00" * 7 + ".0", "other", b"wheel008".hex() + ".0"):
        (tmp_path / "p" / name).write_bytes(b"decayed")
    early = Store(str(tmp_path), lambda: False)
    assert early.profile_list() == sorted([b"wheel000", WHEEL])
    assert early.wheels.is_far(9 + codes.ISSUE_FAR + 1) and not early.wheels.is_far(
        9 + codes.ISSUE_FAR
    )
    early.boot()
    assert early.profile_list() == sorted([b"wheel000", WHEEL])


@pytest.mark.parametrize("how", ["written", "looked up", "after a start"])
@pytest.mark.parametrize(("issue", "top"), [(500, 500), (2, 2), (1, 1)])
@pytest.mark.parametrize("deleted", [False, True])
@pytest.mark.parametrize("far", [False, True])
def test_the_highest_number_of_the_table_is_the_wheel_s_own(
    tmp_path: Path, how: str, issue: int, top: int, deleted: bool, far: bool
) -> None:
    """Whatever way the table came by it. A number that waits for its confirmation counts as the lowest there is, 1."""
    store = opened(tmp_path)
    assert store.profile_put(profile_of(revision=issue), False, far)[0] == replies.OK
    if deleted:
        store.profile_delete(WHEEL)
    if how != "written":
        store = Store(str(tmp_path), lambda: False)
    if how == "after a start":
        store.boot()
    top = 1 if far else top
    assert [store.wheels.is_far(top + codes.ISSUE_FAR + more) for more in (0, 1)] == [False, True]


def test_a_wheel_without_a_profile_makes_way_before_the_oldest_with_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = opened(tmp_path)
    monkeypatch.setattr("rimward_fw.storage.wheels.WHEELS_MAX", 3)
    for name, issue in ((b"wheel001", 1), (b"wheel002", 2), (b"wheel005", 5)):
        store.profile_put(profile_of(name, issue), True)
    store.profile_delete(b"wheel005")
    for name, issue, left, dropped in (
        (b"wheel009", 9, [b"wheel001", b"wheel002", b"wheel009"], 5),
        (b"wheel010", 10, [b"wheel002", b"wheel009", b"wheel010"], 1),
    ):
        assert store.profile_put(profile_of(name, issue), True)[0] == replies.OK
        assert (store.profile_list(), store.dropped) == (left, dropped)
