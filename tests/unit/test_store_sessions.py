"""Sessions in the store, on a plain folder."""

from pathlib import Path

import pytest
from rimward_fw.storage import store as store_module
from rimward_fw.storage.sessionfiles import about_of, ended_name
from rimward_fw.storage.store import Store
from rimward_protocol import replies

from tests.unit.test_store_records import TRIP

ABOUT = {"unix_s": 1800000000, "cause": 5, "flags": 1, "wheel_id": b"wheel001"}


class Disk:
    """Answers of statvfs for a flash of so many blocks, of which the session files fill their share."""

    def __init__(self, folder: Path, blocks: int) -> None:
        self.folder = folder
        self.blocks = blocks

    def statvfs(self, _path: str) -> tuple[int, ...]:
        used = sum(-(-path.stat().st_size // 4096) for path in (self.folder / "l").iterdir())
        free = (self.blocks - used) % 2**32  # littlefs wraps when it counts more than there is
        return (4096, 4096, self.blocks, free, free, 0, 0, 0, 0, 255)


@pytest.fixture
def held(tmp_path: Path) -> Store:
    one = Store(str(tmp_path), lambda: False)
    one.boot()
    return one


def fill(store: Store, count: int) -> int:
    """A session of `count` flash blocks."""
    number = store.session_new()
    for _ in range(count * 16):
        assert store.session_append(number, bytes(256)) == replies.OK
    assert store.session_end(number, ABOUT) == replies.OK
    return number


def shrink(monkeypatch: pytest.MonkeyPatch, folder: Path, blocks: int) -> None:
    monkeypatch.setattr(store_module.os, "statvfs", Disk(folder, blocks).statvfs)


def test_a_session_comes_back_as_it_was_appended(held: Store, tmp_path: Path) -> None:
    assert held.session_new() == 1
    parts = [bytes([i]) * (i + 1) for i in range(100)]
    for part in parts:
        assert held.session_append(1, memoryview(part)) == replies.OK
    whole = b"".join(parts)
    assert held.session_about(1) == {
        "session": 1,
        "bytes": len(whole),
        "unix_s": 0,
        "cause": 0,
        "flags": 0,
        "wheel_id": bytes(8),
    }
    assert held.session_end(1, ABOUT) == replies.OK
    again = Store(str(tmp_path), lambda: False)
    again.boot()
    for one in (held, again):
        assert one.session_about(1) == {"session": 1, "bytes": len(whole), **ABOUT}
        assert one.session_read(1, 0, 10**6) == whole
        assert one.session_read(1, 1000, 77) == whole[1000:1077]
        assert one.session_read(1, len(whole), 5) == b""


def test_an_ended_session_takes_nothing_more(held: Store) -> None:
    fill(held, 1)
    assert held.session_append(1, b"more") == replies.SESSION_UNKNOWN
    assert held.session_about(1)["bytes"] == 4096


def test_the_newest_comes_first_and_numbers_are_never_used_twice(
    held: Store, tmp_path: Path
) -> None:
    assert [fill(held, 1) for _ in range(4)] == [1, 2, 3, 4]
    assert held.session_list() == [4, 3, 2, 1]
    for number in (4, 2, 3, 1):
        assert held.session_delete(number) == replies.OK
    again = Store(str(tmp_path), lambda: False)
    again.boot()
    assert again.session_list() == []
    assert again.session_new() == 5


def test_a_session_that_is_not_there(held: Store) -> None:
    assert held.session_about(9) == {
        "session": 9,
        "bytes": 0,
        "unix_s": 0,
        "cause": 0,
        "flags": 0,
        "wheel_id": bytes(8),
    }
    assert held.session_read(9, 0, 5) == b""
    assert held.session_delete(9) == replies.SESSION_UNKNOWN
    assert held.session_end(9, ABOUT) == replies.SESSION_UNKNOWN
    assert held.session_append(0, b"x") == replies.BAD_VALUE
    assert held.session_append(1 << 30, b"x") == replies.BAD_VALUE


def test_an_unfinished_session_of_an_earlier_start_stays_as_it_is(
    held: Store, tmp_path: Path
) -> None:
    held.session_append(1, b"blocks")
    held.session_sync()
    again = Store(str(tmp_path), lambda: False)
    again.boot()
    assert again.session_about(1)["flags"] == 0
    assert again.session_new() == 2
    assert again.session_read(1, 0, 9) == b"blocks"


def test_the_oldest_make_room_and_a_trips_session_goes_last(
    held: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shrink(monkeypatch, tmp_path, 40)
    held.setting_put(8, b"\x01")
    for _ in range(5):
        fill(held, 4)
    held.trip_add({**TRIP, "session": 2})
    fill(held, 15)
    assert held.session_list() == [6, 5, 4, 3, 2]
    fill(held, 12)
    assert held.session_list() == [7, 6, 2]
    assert held.setting_get(8) == (b"\x01", 1)


def test_the_session_being_written_never_makes_room(
    held: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shrink(monkeypatch, tmp_path, 16)
    number = held.session_new()
    codes = [held.session_append(number, bytes(256)) for _ in range(400)]
    assert replies.STORE_FULL in codes
    assert set(codes[codes.index(replies.STORE_FULL) :]) == {replies.STORE_FULL}
    held.session_sync()
    assert held.session_about(number)["bytes"] == 256 * codes.count(replies.OK)
    assert held.session_list() == [number]


def test_sessions_leave_room_for_records_and_make_it(
    held: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for _ in range(6):
        fill(held, 4)
    shrink(monkeypatch, tmp_path, 23)  # more is used than there is: statvfs wraps
    assert held.setting_put(8, b"\x01") == replies.OK
    assert held.session_list() == [6, 5, 4, 3][: len(held.session_list())]
    assert 23 - 4 * len(held.session_list()) >= store_module.RECORD_BLOCKS


def test_names_of_sessions() -> None:
    name = ended_name(77, ABOUT)
    assert name == "0000004d.6b49d200.05.01." + b"wheel001".hex()
    assert about_of(name) == {"session": 77, **ABOUT}
    assert about_of("0000004d") == {
        "session": 77,
        "unix_s": 0,
        "cause": 0,
        "flags": 0,
        "wheel_id": bytes(8),
    }
    for wrong in (
        "",
        "4d",
        "0000004d.1",
        "0000004d.6b49d200.05.01.77",
        "0000004d.6b49d200.05.zz." + "00" * 8,
        "00000000",
        "4000004d",
        "-000004d",
    ):
        assert about_of(wrong) is None, wrong
