"""The workshop key on the inflator, and its clock."""

import hashlib
import hmac
from pathlib import Path

import pytest
from rimward_fw.storage.clock import Clock
from rimward_fw.storage.keys import FREE, Keys
from rimward_fw.storage.store import Store
from rimward_protocol import profile, replies

from tests.unit.test_store_records import profile_of

KEY = bytes(range(32))
OTHER = bytes(range(1, 33))
DAY_MS = 86_400_000


class Board:
    """A board's milliseconds, wrapping as the Pico's do."""

    def __init__(self) -> None:
        self.ms = 0

    def ticks_ms(self) -> int:
        return self.ms & 0x3FFFFFFF


class Bench:
    """Keys over a store."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.board = Board()
        self.locked = False
        self.restart()

    def restart(self) -> None:
        self.board = Board()
        self.store = Store(str(self.folder), lambda: self.locked)
        self.store.boot()
        self.keys = Keys(self.store, self.board)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def wrong(number: int = 0) -> bytes:
    return profile.tag_profile(OTHER, profile_of(revision=1 + number))


def test_a_key_outlives_a_restart_and_is_known_by_its_check(bench: Bench) -> None:
    assert (bench.keys.enrolled(), bench.keys.key(), bench.keys.check()) == (False, None, bytes(8))
    assert bench.keys.enrol(KEY) == replies.OK
    bench.restart()
    assert bench.keys.key() == KEY
    assert bench.keys.check() == hashlib.sha256(KEY).digest()[:8]


@pytest.mark.parametrize("key", [b"", KEY[:31], KEY + b"x", bytes(32)])
def test_not_every_32_bytes_are_a_key(bench: Bench, key: bytes) -> None:
    assert bench.keys.enrol(key) == replies.BAD_VALUE
    assert not bench.keys.enrolled()


def test_a_key_is_refused_during_a_fill(bench: Bench) -> None:
    bench.keys.enrol(KEY)
    bench.locked = True
    assert bench.keys.enrol(OTHER) == replies.BUSY_FILLING
    assert bench.keys.key() == KEY


def test_only_profiles_of_the_held_key_are_accepted(bench: Bench) -> None:
    low, high = profile_of(), profile_of(ceiling_pa=500_001, limit_pa=900_000, rim_class=4)
    assert bench.keys.judge(low) == bench.keys.stands(low) == replies.NO_KEY, (
        "without a key the built-in profile is all there is"
    )
    assert bench.keys.judge(profile.tag_profile(KEY, low)) == replies.NO_KEY
    bench.keys.enrol(KEY)
    assert bench.keys.judge(profile.tag_profile(KEY, high)) == replies.OK
    assert bench.keys.judge(wrong()) == replies.TAG_WRONG
    assert bench.keys.judge(low) == replies.TAG_WRONG, (
        "with a key enrolled, no tag is no longer enough"
    )


def test_every_bit_of_a_tagged_profile_counts(bench: Bench) -> None:
    bench.keys.enrol(KEY)
    good = profile.tag_profile(KEY, profile_of())
    assert good[-16:] == hmac.new(KEY, good[:-16], hashlib.sha256).digest()[:16]
    for at in range(len(good)):
        for bit in range(8):
            bad = bytearray(good)
            bad[at] ^= 1 << bit
            assert bench.keys.stands(bytes(bad)) == replies.TAG_WRONG
            assert not bench.keys.fits(bytes(bad))
    assert bench.keys.stands(good) == replies.OK
    assert bench.keys.wrong == 0, "looking at what is stored counts nothing"


def test_after_a_key_change_the_old_tags_are_wrong(bench: Bench) -> None:
    bench.keys.enrol(OTHER)
    assert bench.keys.fits(wrong())
    bench.keys.enrol(KEY)
    assert not bench.keys.fits(wrong())
    assert bench.keys.stands(wrong()) == replies.TAG_WRONG


def test_wrong_tags_are_counted_and_slowed(bench: Bench) -> None:
    bench.keys.enrol(KEY)
    good = profile.tag_profile(KEY, profile_of())
    for number in range(FREE):
        assert bench.keys.judge(wrong(number)) == replies.TAG_WRONG
        assert bench.keys.wait_ms() == 0
    for wait_s in (1, 2, 4, 8, 16, 32, 64, 64, 64):
        assert bench.keys.judge(wrong()) == replies.TAG_WRONG
        assert bench.keys.wait_ms() == wait_s * 1000
        assert bench.keys.judge(good) == replies.SLOWED_DOWN
        bench.board.ms += wait_s * 1000 - 1
        assert bench.keys.judge(wrong()) == replies.SLOWED_DOWN
        bench.board.ms += 1
    assert bench.keys.wrong == FREE + 9
    assert bench.keys.judge(good) == replies.OK
    assert bench.keys.wait_ms() == 0
    assert bench.keys.wrong == FREE + 9, "a right tag ends the waiting, not the count"
    assert bench.keys.judge(wrong()) == replies.TAG_WRONG
    assert bench.keys.wait_ms() == 0


def test_a_restart_does_not_shorten_the_wait(bench: Bench) -> None:
    bench.keys.enrol(KEY)
    for _ in range(FREE):
        bench.keys.judge(wrong())
    for wait_s in (1, 2, 4):
        assert bench.keys.judge(wrong()) == replies.TAG_WRONG
        bench.restart()
        assert bench.keys.wait_ms() == wait_s * 1000
        assert bench.keys.wrong == bench.store.wrong_tags()[0]
        bench.board.ms += wait_s * 1000


def test_the_wait_ends_although_the_milliseconds_wrap(bench: Bench) -> None:
    bench.keys.enrol(KEY)
    bench.board.ms = 0x3FFFFFFF - 500
    for _ in range(FREE + 2):
        bench.keys.judge(wrong())
        bench.board.ms += 1000
    assert bench.keys.wait_ms() == 1000
    bench.board.ms += 1000
    assert bench.keys.wait_ms() == 0


def test_a_new_key_starts_a_new_count(bench: Bench) -> None:
    bench.keys.enrol(KEY)
    for _ in range(FREE + 1):
        bench.keys.judge(wrong())
    bench.keys.enrol(bytes(32 * [7]))
    assert (bench.keys.wrong, bench.keys.wait_ms()) == (0, 0)
    bench.restart()
    assert (bench.keys.wrong, bench.keys.wait_ms()) == (0, 0)


def test_a_missing_tag_does_not_count_as_a_guess(bench: Bench) -> None:
    bench.keys.enrol(KEY)
    for _ in range(FREE + 3):
        assert bench.keys.judge(profile_of()) == replies.TAG_WRONG
    assert (bench.keys.wrong, bench.keys.wait_ms()) == (0, 0)


def test_the_session_key_is_not_the_key(bench: Bench) -> None:
    assert bench.keys.session_key() is None
    bench.keys.enrol(KEY)
    assert bench.keys.session_key() == hmac.new(KEY, b"session", hashlib.sha256).digest()


def test_a_clock_that_was_never_set(bench: Bench) -> None:
    clock = Clock(bench.board, bench.store)
    bench.board.ms += DAY_MS
    assert (clock.unix_s(), clock.day() < 0) == (0, True)


def test_a_clock_counts_the_seconds_since_it_was_set(bench: Bench) -> None:
    clock = Clock(bench.board, bench.store)
    bench.board.ms = 999
    assert clock.set(1_800_000_000, -210)
    assert (clock.unix_s(), clock.day(), clock.zone_min) == (1_800_000_000, 2571, -210)
    bench.board.ms += 1_999
    assert clock.unix_s() == 1_800_000_001
    bench.board.ms += 1
    assert clock.unix_s() == 1_800_000_002


def test_a_clock_stays_exact_over_queries_and_wraps(bench: Bench) -> None:
    clock = Clock(bench.board, bench.store)
    clock.set(1_800_000_000, 60)
    step = 6 * DAY_MS - 1
    for count in range(1, 30):  # past several wraps of 2**30 ms
        bench.board.ms += step
        assert clock.unix_s() == 1_800_000_000 + count * step // 1000


@pytest.mark.parametrize(
    "unix_s,zone", [(0, 0), (-1, 0), (1 << 32, 0), (1_800_000_000, 841), (1_800_000_000, -841)]
)
def test_an_impossible_time_is_refused(bench: Bench, unix_s: int, zone: int) -> None:
    clock = Clock(bench.board, bench.store)
    assert not clock.set(unix_s, zone)
    assert (clock.unix_s(), clock.zone_min) == (0, 0)
