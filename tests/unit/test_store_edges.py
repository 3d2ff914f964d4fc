"""Edges of the store on flash and of its table of wheels: room in blocks, what waits for a lock, numbers at their ends."""

import hashlib
from pathlib import Path

import pytest
from rimward_fw.storage import records
from rimward_fw.storage import store as store_module
from rimward_fw.storage import wheels as wheels_module
from rimward_fw.storage.store import Store
from rimward_fw.storage.wheels import Row, is_row, loosened, wheel_of
from rimward_protocol import codes, replies

from tests.faults.cutactions import issue_of
from tests.unit.test_store_records import TRIP, WHEEL, profile_of
from tests.unit.test_store_sessions import ABOUT


@pytest.fixture
def held(tmp_path: Path) -> Store:
    one = Store(str(tmp_path), lambda: False)
    assert one.boot() == 1
    return one


def flash(monkeypatch: pytest.MonkeyPatch, blocks: int, free: int, size: int = 1000) -> None:
    """statvfs as littlefs gives it, with another number in every other place."""
    row = (7, size, blocks, free, 11, 13, 17, 19, 23, 29)
    monkeypatch.setattr(store_module.os, "statvfs", lambda _folder: row)


def test_constants_of_the_store() -> None:
    assert (store_module.TRIPS_KEPT, store_module.SETTING_MAX, store_module.KEY_BYTES) == (
        16, 64, 32
    )  # fmt: skip
    assert (store_module.RECORD_BLOCKS, store_module.RESERVE_BLOCKS) == (4, 16)
    assert wheels_module.WHEELS_MAX == 200 and (wheels_module.CONFIRMED, wheels_module.FAR) == (
        1,
        2,
    )


@pytest.mark.parametrize(
    ("count", "spare", "free", "fits"),
    [
        (0, 4, 4, True), (0, 4, 3, False), (1, 4, 5, True), (1, 4, 4, False), (1000, 4, 5, True), (1001, 4, 5, False), (1001, 4, 6, True),
        (2000, 0, 2, True), (2001, 0, 2, False), (0, 0, 100, True), (0, 0, 101, True), (0, 1, 101, False),
    ],
)  # fmt: skip
def test_room_goes_in_whole_blocks(
    held: Store, monkeypatch: pytest.MonkeyPatch, count: int, spare: int, free: int, fits: bool
) -> None:
    """A count above the flash's own 100 blocks has wrapped: nothing is free."""
    flash(monkeypatch, 100, free)
    assert held._fits(count, spare) is fits


@pytest.mark.parametrize(
    ("blocks", "reserve"),
    [(0, 4), (20, 4), (39, 4), (40, 5), (127, 15), (128, 16), (129, 16), (1000, 16)],
)
def test_sessions_leave_an_eighth_of_a_small_flash(
    held: Store, monkeypatch: pytest.MonkeyPatch, blocks: int, reserve: int
) -> None:
    flash(monkeypatch, blocks, 0)
    assert held._reserve() == reserve


def test_a_file_system_that_does_not_answer_has_no_room(
    held: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(_folder: str) -> None:
        raise OSError(19)

    monkeypatch.setattr(store_module.os, "statvfs", gone)
    assert not held._fits(0, 0) and held._reserve() == 16
    assert not held.make_room(0, 0) and not held.keeps_records()


def test_a_fill_s_record_needs_two_pieces_and_the_reserve(
    held: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = []
    monkeypatch.setattr(held, "make_room", lambda *what: asked.append(what) or True)
    flash(monkeypatch, 1000, 500)
    assert held.keeps_records() and asked == [(8192, 16)]
    held.failing = replies.STORE_FULL
    monkeypatch.setattr(held, "number_put", lambda *what: replies.STORE_FULL)
    assert not held.keeps_records() and not held.takes_writes()


@pytest.mark.parametrize(
    ("code", "failing", "takes"),
    [
        (replies.OK, 0, True),
        (replies.STORE_FULL, replies.STORE_FULL, False),
        (replies.READ_BACK_DIFFERS, replies.READ_BACK_DIFFERS, False),
        (replies.BAD_VALUE, 0, True),
        (replies.BUSY_FILLING, 99, True),
    ],
)
def test_which_replies_are_a_failing_flash(
    held: Store, monkeypatch: pytest.MonkeyPatch, code: int, failing: int, takes: bool
) -> None:
    held.failing = 99
    assert held._result(code) == code and held.failing == failing
    monkeypatch.setattr(held, "put", lambda *what: code)
    assert held.takes_writes() is takes


def test_flash_that_failed_is_tried_again_with_the_count_of_starts(held: Store) -> None:
    held.failing = replies.STORE_FULL
    assert held.takes_writes() and held.failing == 0 and held.number("boots") == 1


def test_a_trip_that_waited_is_written_with_the_end_of_its_session(tmp_path: Path) -> None:
    """Also where nothing was appended after it, and once only."""
    enabled = [False]
    one = Store(str(tmp_path), lambda: enabled[0])
    one.boot()
    assert one.session_append(1, b"block") == replies.OK
    enabled[0] = True
    assert one.trip_add(TRIP) == replies.BUSY_FILLING
    enabled[0] = False
    assert one.session_end(1, ABOUT) == replies.OK and one._late == []
    again = Store(str(tmp_path), lambda: False)
    again.boot()
    assert again.trips() == [TRIP]


def test_late_trips_are_the_last_sixteen(tmp_path: Path) -> None:
    enabled = [False]
    one = Store(str(tmp_path), lambda: enabled[0])
    one.boot()
    one.trip_add(TRIP | {"tick": 99})
    enabled[0] = True
    for number in range(20):
        assert one.trip_add(TRIP | {"tick": number}) == replies.BUSY_FILLING
    assert len(one._late) == 16
    ticks = [row["tick"] for row in one.trips()]
    assert ticks == [19, *range(14, -1, -1)], "newest first; the first 15 that waited stay"
    enabled[0] = False
    assert one._keep_late() == replies.OK
    revision = one.get("trips")[1]
    assert one._keep_late() == one.session_append(1, b"x") == replies.OK
    assert one.session_end(1, ABOUT) == replies.OK
    assert one.get("trips")[1] == revision, "nothing waits, nothing is written"
    assert [row["tick"] for row in one.trips()] == ticks


@pytest.mark.parametrize("length", [25, 26, 27, 0])
def test_a_damaged_list_of_trips_is_none(held: Store, length: int) -> None:
    """A trip takes 22 bytes."""
    assert store_module._TRIP_BYTES == 22
    held.put("trips", bytes(length))
    assert held.trips() == []


def test_numbers_of_sessions(held: Store) -> None:
    assert held.session_new() == 1
    held.number_put("last", 7)
    assert held.session_new() == 8
    held.session_append(8, b"x")
    held.session_end(8, ABOUT)
    assert held.session_new() == 9
    assert held.session_delete(8) == replies.OK and held.number("last") == 8
    held.session_append(9, b"x")
    held.session_append(10, b"x")
    assert held.session_delete(9) == replies.OK and held.number("last") == 8
    assert held.session_new() == 11


def test_a_number_that_cannot_be_kept_deletes_no_session(
    held: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    held.session_append(1, b"x")
    held.session_end(1, ABOUT)
    monkeypatch.setattr(records, "write", lambda *what: replies.STORE_FULL)
    assert held.session_delete(1) == replies.STORE_FULL and held.session_list() == [1]


def test_settings_and_numbers_of_another_length(held: Store) -> None:
    assert held.setting_put(3, bytes(64)) == replies.OK
    assert held.setting_put(3, bytes(65)) == replies.SETTING_VALUE
    for length in (3, 5):
        held.put("boots", bytes([1] * length))
        assert held.number("boots") == 0
    held.put("key", bytes(31))
    assert held.key() is None
    held.put("wrong", bytes([1] * 11))
    assert held.wrong_tags() == (0, 0)


def test_feeding_goes_on_while_sessions_are_dropped(tmp_path: Path) -> None:
    fed = []
    one = Store(str(tmp_path), lambda: False, lambda: fed.append(1))
    one.boot()
    for number in (1, 2):
        one.session_append(number, b"x")
        one.session_end(number, ABOUT)
    fed.clear()
    room = [False, False, True]
    one._fits = lambda count, spare: room.pop(0)
    one.session_delete = lambda number: replies.OK
    assert one.make_room(1, 1) and len(fed) == 2
    room[:] = [False]
    one.session_delete = lambda number: replies.STORE_FULL
    assert not one.make_room(1, 1) and len(fed) == 2


@pytest.mark.parametrize("left", ["01", "0", "1", "n", "", "0n", "1n", "01n"])
def test_a_start_with_each_set_of_files_left(tmp_path: Path, left: str) -> None:
    """Copies 0 and 1, and what was written aside: any copy is the record, and both are there again."""
    one = Store(str(tmp_path), lambda: False)
    one.boot()
    data = profile_of(revision=3)
    one.profile_put(data, True)
    path = tmp_path / "p" / WHEEL.hex()
    (tmp_path / "p" / (WHEEL.hex() + ".n")).write_bytes(b"half")
    for name in set("01n") - set(left):
        (tmp_path / "p" / f"{WHEEL.hex()}.{name}").unlink()
    again = Store(str(tmp_path), lambda: False)
    again.boot()
    there = bool(set("01") & set(left))
    assert again.damaged == 0
    assert again.profile_list() == ([WHEEL] if there else [])
    names = sorted(one.name for one in path.parent.iterdir())
    assert names == ([f"{WHEEL.hex()}.0", f"{WHEEL.hex()}.1"] if there else [])


def test_while_locked_busy_is_said_before_room_is_looked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full flash is no failing one, as long as nothing may be written."""
    locked = [False]
    one = Store(str(tmp_path), lambda: locked[0])
    one.boot()
    for number in (1, 2):
        one.session_append(number, b"x")
        one.session_end(number, ABOUT)
    monkeypatch.setattr(one, "_fits", lambda count, spare: False)
    locked[0] = True
    for call in (
        lambda: one.session_append(3, b"x"),
        lambda: one.put("n8", b"x"),
        lambda: one.session_delete(2),
        lambda: one.session_delete(9),
    ):
        assert call() == replies.BUSY_FILLING and one.failing == 0
    assert not one.make_way(3, 1) and one.session_list() == [2, 1]
    assert one.number("last") == 0


# The table of wheels


def test_a_stored_profile_s_answer(held: Store) -> None:
    """Reply, copy that holds it, SHA-256 of what was read back."""
    data = profile_of(revision=3)
    for _slot in (0, 1, 0):
        code, at, digest = held.profile_put(data, False)
        assert (code, digest) == (replies.OK, hashlib.sha256(data).digest())
        assert at == held.profile_get(WHEEL)[1]


@pytest.mark.parametrize("slot", [0, 1])
def test_the_copy_that_was_read_back_is_named(
    held: Store, monkeypatch: pytest.MonkeyPatch, slot: int
) -> None:
    data = profile_of(revision=3)
    monkeypatch.setattr(held.wheels, "get", lambda _wheel: (data, slot, False))
    assert held.profile_put(data, False) == (replies.OK, slot, hashlib.sha256(data).digest())


def test_a_locked_store_deletes_no_profile_and_reads_none(tmp_path: Path) -> None:
    """Busy is said before it is looked for: an unknown wheel gets the same answer."""
    locked = [False]
    one = Store(str(tmp_path), lambda: locked[0])
    one.boot()
    one.profile_put(profile_of(), True)
    locked[0] = True
    assert one.profile_delete(WHEEL) == one.profile_delete(b"unknown-") == replies.BUSY_FILLING
    locked[0] = False
    assert one.profile_delete(b"unknown-") == replies.NOT_FOUND
    assert one.profile_delete(WHEEL) == replies.OK


def test_a_locked_store_makes_no_way(
    held: Store, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(wheels_module, "WHEELS_MAX", 1)
    held.profile_put(profile_of(b"wheel000", 4), True)
    held.number_put("floor", 4)
    held.locked = lambda: True
    assert held.profile_put(profile_of(b"wheel009", 9), True) == (replies.BUSY_FILLING, 0, b"")
    held.locked = lambda: False
    assert held.profile_list() == [b"wheel000"] and held.dropped == 0
    monkeypatch.setattr(records, "remove_file", lambda path: not path.endswith(".1"))
    assert held.profile_put(profile_of(b"wheel009", 9), True) == (replies.STORE_FULL, 0, b"")
    monkeypatch.undo()
    monkeypatch.setattr(wheels_module, "WHEELS_MAX", 1)
    assert held.profile_put(profile_of(b"wheel009", 9), True)[0] == replies.OK
    assert held.dropped == 4 and held.profile_list() == [b"wheel009"]
    assert not list((tmp_path / "p").glob(b"wheel000".hex() + "*"))


@pytest.mark.parametrize(
    ("above", "far"), [(0, False), (codes.ISSUE_FAR, False), (codes.ISSUE_FAR + 1, True)]
)
@pytest.mark.parametrize("top", ["floor", "wheel", "deleted wheel"])
def test_from_which_number_on_an_issue_is_far(held: Store, top: str, above: int, far: bool) -> None:
    if top == "floor":
        held.number_put("floor", 500)
    else:
        held.profile_put(profile_of(revision=500), True)
        held.number_put("floor", 20)
    if top == "deleted wheel":
        held.profile_delete(WHEEL)
    assert held.wheels.is_far(500 + above) is far


@pytest.mark.parametrize(
    ("confirmed", "far", "shown", "highest"),
    [
        (True, False, True, 9), (False, False, False, 9), (True, True, False, 0), (False, True, False, 0),
    ],
)  # fmt: skip
def test_a_far_number_counts_once_it_is_confirmed(
    held: Store, confirmed: bool, far: bool, shown: bool, highest: int
) -> None:
    data = profile_of(revision=9)
    assert held.profile_put(data, confirmed, far)[0] == replies.OK
    assert held.profile_get(WHEEL)[2] is shown and issue_of(held, WHEEL) == highest
    assert (held.wheels.row(WHEEL).facts is not None) is confirmed
    assert held.wheels.list() == [WHEEL]
    assert held.profile_confirm(WHEEL) == replies.OK
    assert held.profile_get(WHEEL)[2] and issue_of(held, WHEEL) == 9
    assert held.wheels.row(WHEEL).facts == wheels_module.facts_of(data)


def test_the_first_confirmed_facts_stay_until_a_person_confirms_others(held: Store) -> None:
    first, second = profile_of(revision=1), profile_of(revision=2, ceiling_pa=300_000)
    held.profile_put(first, True)
    for confirmed in (True, False):
        held.profile_put(second, confirmed)
        assert held.wheels.row(WHEEL).facts == wheels_module.facts_of(first)
    held.profile_confirm(WHEEL)
    assert held.wheels.row(WHEEL).facts == wheels_module.facts_of(second)


def test_a_row_of_a_record() -> None:
    """Flags and issue, 5 bytes; facts, 19; then the profile."""
    body = bytes([3, 7, 0, 0, 0]) + bytes(19)
    assert is_row(body) and is_row(body + bytes(108))
    assert not any(is_row(body + bytes(more)) for more in (1, 107, 109)) and not is_row(body[:-1])
    row = Row(body + b"x" * 108)
    assert (row.flags, row.issue, row.facts, row.data) == (3, 7, None, b"x" * 108)
    facts = Row(body[:5] + bytes([1, 0, 0, 0, 2, 0, 0, 0, 3, 0, 4, 0, 5, 6, 7, 8, 0, 9, 0])).facts
    assert facts == tuple(range(1, 10))


@pytest.mark.parametrize(
    ("name", "wheel"),
    [("00" * 8, bytes(8)), ("00" * 8 + ".1", bytes(8)), ("00" * 7, None), ("00" * 9, None), ("zz" * 8, None)],
)  # fmt: skip
def test_file_names_of_wheels(name: str, wheel: bytes | None) -> None:
    assert wheel_of(name) == wheel


@pytest.mark.parametrize(("place", "name"), list(enumerate(wheels_module.FACTS)))
def test_what_loosens(place: int, name: str) -> None:
    """Pressures and volumes when they rise; class, chuck, position and sizes when they change at all."""
    facts = tuple(range(10, 19))
    values = dict(zip(wheels_module.FACTS, facts))
    assert loosened(facts, values) == []
    assert loosened(facts, values | {name: facts[place] + 1}) == [name]
    less = loosened(facts, values | {name: facts[place] - 1})
    assert less == ([] if place < 4 else [name])
