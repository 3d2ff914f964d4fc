"""Session log v1: both readers, plain and numpy, return what was recorded; damage is reported, never guessed over."""

import random
import struct
from array import array
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rimward.base.errors import Refusal
from rimward.formats import records
from rimward_protocol import kernel_slots as slots
from rimward_protocol import layout, session, sessionread

KEY = bytes(range(32))
HEADER = {
    "tick_us": 2000, "layout_hash": layout.layout_hash(), "kernel_hash": bytes(8), "device_id": b"rig-0001", "session": 9, "boot": 2,
    "unix_s": 0, "words_g": 40, "words_x": 24, "words_f": 30, "words_y": 36,
}  # fmt: skip


class Rig:
    """A recorder with its arrays, and what went into it."""

    def __init__(self) -> None:
        self.x, self.y = array("i", [0] * 24), array("i", [0] * 36)
        watches = (
            (self.x, 2, 3, session.FIELD_X),
            (self.x, 5, 24, session.FIELD_X),
            (self.y, 8, 36, session.FIELD_Y),
        )
        self.recorder = session.FastRecorder(self.x, watches)
        self.recorder.start()
        self.begun = (list(self.x), list(self.y))
        self.ticks: list[tuple[list[int], list[int], int, int]] = []
        self.payloads: list[bytes] = []

    def tick(self, out: int = 0, fill: int = 0, first: int = 5000) -> bool:
        self.ticks.append((list(self.x), list(self.y[8:]), out, fill))
        return self.recorder.add(first + len(self.ticks) - 1, out, fill)

    def write(self) -> None:
        buf = bytearray(session.MAX_PAYLOAD)
        while (bank := self.recorder.ready()) is not None:
            first = 0
            while first < bank.n:
                length, first = self.recorder.write(bank, first, buf, 0)
                self.payloads.append(bytes(buf[:length]))
            self.recorder.release(bank)

    def end(self) -> None:
        self.write()
        if self.recorder.turn():
            self.write()

    def replayed(self) -> list[tuple[list[int], list[int], int, int]]:
        """The ticks from the blocks."""
        x, y = list(self.begun[0]), list(self.begun[1])
        out = fill = -1
        found: list[tuple[list[int], list[int], int, int]] = []
        for payload in self.payloads:
            tick, columns, changes = plain(payload)
            assert tick == 5000 + len(found)
            for i in range(len(columns[0])):
                x[slots.X_A], x[slots.X_B], x[slots.X_LOAD], x[slots.X_GAP] = (
                    column[i] for column in columns
                )
                for offset, field, value in changes:
                    if offset != i:
                        continue
                    if field == session.FIELD_OUT:
                        out = value
                    elif field == session.FIELD_FILL:
                        fill = value
                    elif field >= session.FIELD_Y:
                        y[field - session.FIELD_Y] = value
                    else:
                        x[field] = value
                found.append((list(x), list(y[8:]), out, fill))
        return found


def plain(payload: bytes):
    got = sessionread.read_fast(payload, 0, len(payload))
    assert got is not None
    return got


def quiet(rig: Rig, draw: random.Random, i: int) -> None:
    rig.x[slots.X_A] = 30000 + 20 * i + draw.randrange(-3, 4)
    rig.x[slots.X_B] = (30000 + 20 * i >> 2 << 2) + draw.choice((-8, -4, 0, 4, 8))
    rig.x[slots.X_LOAD], rig.x[slots.X_GAP], rig.x[slots.X_SUPPLY] = 1, 15 + i % 2, 78


def busy(rig: Rig, draw: random.Random, i: int) -> None:
    quiet(rig, draw, i)
    for _ in range(draw.randrange(4)):
        rig.x[draw.choice((2, *range(5, 24)))] = draw.randrange(-(2**31), 2**31)
        rig.y[draw.randrange(8, 36)] = draw.choice((0, 1, 2**31 - 1))


def wild(rig: Rig, draw: random.Random, i: int) -> None:
    for k in range(24):
        rig.x[k] = draw.randrange(-(2**31), 2**31)
    for k in range(36):
        rig.y[k] = draw.randrange(-(2**31), 2**31)


def noisy(rig: Rig, draw: random.Random, i: int) -> None:
    """The four columns take every coding's worst; one word changes now and then."""
    for k in (0, 1, 3, 4):
        rig.x[k] = draw.randrange(-(2**31), 2**31)
    rig.y[slots.Y_SEAT_PA] = i // 5


@pytest.mark.parametrize("how", [quiet, busy, wild, noisy])
def test_both_readers_return_what_was_recorded(
    how: Callable[[Rig, random.Random, int], None],
) -> None:
    draw, rig = random.Random(41), Rig()
    for i in range(700):
        how(rig, draw, i)
        rig.tick(draw.choice((0, 3)) if i % 9 == 0 else 3, draw.choice((0, 1)) if i % 7 == 0 else 1)
        rig.write()
    rig.end()
    assert rig.replayed() == rig.ticks
    assert max(map(len, rig.payloads)) <= session.MAX_PAYLOAD
    assert rig.recorder.lost == 0


def test_a_bank_that_compresses_badly_comes_in_parts() -> None:
    draw, rig = random.Random(3), Rig()
    for i in range(64):
        noisy(rig, draw, i)
        rig.tick(i // 16, 1)
    rig.end()
    assert len(rig.payloads) > 2 and rig.replayed() == rig.ticks


def test_a_quiet_fill_takes_less_than_four_bytes_a_tick() -> None:
    draw, rig = random.Random(1), Rig()
    for i in range(6400):
        quiet(rig, draw, i)
        rig.tick(3, 1)
        rig.write()
    rig.end()
    assert sum(len(payload) + 12 for payload in rig.payloads) < 4 * 6400


@given(st.lists(st.tuples(*[st.integers(-(2**31), 2**31 - 1)] * 4), min_size=1, max_size=64))
@settings(max_examples=80, deadline=None)
def test_numpy_reads_what_the_plain_reader_reads(ticks: list[tuple[int, int, int, int]]) -> None:
    rig = Rig()
    for values in ticks:
        rig.x[slots.X_A], rig.x[slots.X_B], rig.x[slots.X_LOAD], rig.x[slots.X_GAP] = values
        rig.tick()
    rig.end()
    for payload in rig.payloads:
        tick, columns, changes = records.fast_columns(payload)
        assert (tick, columns.tolist(), [tuple(c) for c in changes.tolist()]) == plain(payload)
    assert rig.replayed() == rig.ticks


def agree(payload: bytes) -> bool:
    """Both readers give the same, or both refuse; True if they accept."""
    want = sessionread.read_fast(payload, 0, len(payload))
    try:
        tick, columns, changes = records.fast_columns(payload)
    except Refusal:
        assert want is None
        return False
    assert want == (tick, columns.tolist(), [tuple(c) for c in changes.tolist()])
    return True


def test_readers_agree_on_any_bytes() -> None:
    draw, rig = random.Random(77), Rig()
    for i in range(128):
        busy(rig, draw, i)
        rig.tick(i & 3, 0)
        rig.write()
    rig.end()
    accepted = 0
    for _ in range(6000):
        payload = bytearray(draw.choice(rig.payloads))
        for _ in range(draw.randrange(1, 4)):
            payload[draw.randrange(len(payload)) if draw.random() < 0.5 else draw.randrange(24)] = (
                draw.randrange(256)
            )
        if draw.random() < 0.2:
            del payload[draw.randrange(len(payload)) :]
        accepted += agree(bytes(payload))
    assert 100 < accepted < 6000
    assert not agree(b"") and not agree(bytes(24))


def test_values_past_32_bits_are_refused_by_both() -> None:
    head = struct.pack(session.FAST_FORMAT, 0, 2, 0, session.CODE_I8, 2**31 - 1, 0, 0, 0)
    assert not agree(head + b"\1")
    assert agree(head + b"\xff")


def test_a_change_past_the_last_tick_is_refused_by_both() -> None:
    head = struct.pack(session.FAST_FORMAT, 0, 2, 1, 0, 1, 1, 1, 1)
    assert agree(head + struct.pack("<BBi", 1, 2, 7))
    assert not agree(head + struct.pack("<BBi", 2, 2, 7))


def test_both_banks_full_ends_the_span_and_counts() -> None:
    rig = Rig()
    for i in range(128):
        assert rig.tick() == (i in (63, 127))
    assert not rig.tick() and not rig.recorder.running and rig.recorder.lost == 1
    assert not rig.tick() and rig.recorder.lost == 2
    rig.write()
    assert [plain(payload)[0] for payload in rig.payloads] == [5000, 5064]
    rig.recorder.start()
    assert not rig.recorder.add(9000, 0, 0) and rig.recorder.turn()
    rig.payloads.clear()
    rig.write()
    assert plain(rig.payloads[0])[0] == 9000


def test_turn_of_an_empty_recorder_gives_nothing() -> None:
    rig = Rig()
    assert not rig.recorder.turn() and rig.recorder.ready() is None


def test_a_newer_snapshot_in_a_running_span() -> None:
    rig = Rig()
    rig.tick(3, 1)
    rig.recorder.turn()
    rig.recorder.again()
    rig.tick(3, 1)
    rig.end()
    first, second = (plain(payload) for payload in rig.payloads)
    assert first[2] == second[2] == [(0, session.FIELD_OUT, 3), (0, session.FIELD_FILL, 1)]
    assert (first[0], second[0]) == (5000, 5001)


def test_at_most_74_watched_words() -> None:
    words = array("i", [0] * 120)
    session.FastRecorder(words, ((words, 0, 74, 0),))
    with pytest.raises(ValueError, match="74"):
        session.FastRecorder(words, ((words, 0, 75, 0),))


def test_snapshots_of_long_arrays_come_in_pieces() -> None:
    words = array("i", [i * 7919 - 2**30 for i in range(250)])
    buf, first = bytearray(session.MAX_PAYLOAD), 0
    got: dict[int, int] = {}
    while first < len(words):
        length, first = session.put_snapshot(buf, 0, 77, session.ARRAY_F, words, first)
        tick, which, start, total, part = sessionread.read_words(buf, 0, length)
        assert (tick, which, total) == (77, session.ARRAY_F, 250)
        got.update(enumerate(part, start))
    assert [got[i] for i in range(250)] == list(words)
    assert sessionread.read_words(buf, 0, 9) is None and sessionread.read_words(buf, 0, 3) is None
    session.put_snapshot(buf, 0, 77, session.ARRAY_F, words[:3], 0)
    assert sessionread.read_words(buf, 0, 20)[4] == tuple(words[:3])
    buf[7] = 2
    assert sessionread.read_words(buf, 0, 20) is None


def a_log(key: bytes | None = None, blocks: int = 5) -> tuple[bytes, list[int]]:
    """A log of EVENT blocks, and where each block begins."""
    log, starts = bytearray(session.seal_header(HEADER)), []
    mac = session.chain_start(key, bytes(log)) if key else b""
    for number in range(blocks):
        payload = layout.pack(layout.EVENT, {row[0]: number for row in layout.EVENT})
        buf = bytearray(8) + payload + bytes(40)
        end = session.seal_block(
            buf, 0, layout.BLOCK_EVENT, number, len(payload), session.FLAG_MAC if key else 0
        )
        if key:
            mac = session.add_mac(buf, 0, end, key, mac)
            end += 16
        starts.append(len(log))
        log += buf[:end]
    return bytes(log), starts


def test_a_log_is_read_whole() -> None:
    log, starts = a_log()
    why, header, blocks, good = sessionread.read_blocks(log)
    assert (why, len(blocks), good) == (sessionread.OK, 5, len(log))
    assert header["session"] == 9 and header["header_bytes"] == 60
    assert [start - 8 for _kind, start, _stop in blocks] == starts


def test_torn_at_every_byte() -> None:
    log, starts = a_log()
    ends = [*starts[1:], len(log)]
    for cut in range(61, len(log)):
        why, _header, blocks, good = sessionread.read_blocks(log[:cut])
        whole = sum(end <= cut for end in ends)
        assert len(blocks) == whole
        assert (
            why == (sessionread.OK if cut in ends else sessionread.TORN)
            and good == ([60, *ends][whole])
        )
    assert sessionread.read_blocks(log[:60])[0] == sessionread.OK
    assert sessionread.read_blocks(log[:59])[0] == sessionread.TORN


def test_every_bit_error_ends_the_log_before_its_block() -> None:
    log, starts = a_log(blocks=3)
    for bit in range(8 * starts[1], 8 * starts[2]):
        broken = bytearray(log)
        broken[bit // 8] ^= 1 << bit % 8
        why, _header, blocks, good = sessionread.read_blocks(broken)
        assert why != sessionread.OK and len(blocks) == 1 and good == starts[1]
    for bit in range(8 * 60):
        broken = bytearray(log)
        broken[bit // 8] ^= 1 << bit % 8
        assert sessionread.read_blocks(broken)[1] is None


def test_reordered_and_missing_blocks() -> None:
    log, starts = a_log()
    one, two, three = (log[a:b] for a, b in zip(starts, starts[1:4], strict=False))
    assert sessionread.read_blocks(log[:60] + one + three + two)[0::3] == (
        sessionread.OUT_OF_ORDER,
        starts[1],
    )
    assert sessionread.read_blocks(log[:60] + two)[0] == sessionread.OUT_OF_ORDER
    assert sessionread.read_block(log, starts[2])[0] == sessionread.OK


def counted_from(log: bytes, starts: list[int], first: int) -> bytes:
    out = bytearray(log)
    for number, start in enumerate(starts):
        length = int.from_bytes(out[start + 2 : start + 4], "little")
        session.seal_block(out, start, out[start], first + number, length)
    return bytes(out)


def test_blocks_of_another_session_are_not_taken() -> None:
    """The header says session 9: its blocks count from 9 * 65536, or from 0 where a host wrote the log."""
    log, starts = a_log()
    ours, others = (counted_from(log, starts, first) for first in (9 << 16, 10 << 16))
    assert session.first_sequence(9) == 9 << 16
    assert sessionread.read_blocks(ours)[0::3] == (sessionread.OK, len(log))
    assert sessionread.read_blocks(others)[0::3] == (sessionread.OUT_OF_ORDER, 60)
    for at, end in zip(starts, [*starts[1:], len(log)], strict=True):
        mixed = ours[:at] + others[at:end] + ours[end:]
        assert sessionread.read_blocks(mixed)[0::3] == (sessionread.OUT_OF_ORDER, at)
    mixed = ours[: starts[2]] + log[starts[2] :]
    assert sessionread.read_blocks(mixed)[0::3] == (sessionread.OUT_OF_ORDER, starts[2])


@pytest.mark.parametrize(
    ("number", "first"), [(1, 65536), (0x3FFF, 0x3FFF0000), (0x4000, 0), (0x3FFFFFFF, 0x3FFF0000)]
)
def test_the_first_number_stays_within_30_bits(number: int, first: int) -> None:
    assert session.first_sequence(number) == first < 1 << 30


def test_other_files_and_versions() -> None:
    log, _starts = a_log()
    assert sessionread.read_blocks(b"RWP\1" + log[4:])[0] == sessionread.NOT_A_SESSION
    assert sessionread.read_blocks(b"")[0] == sessionread.NOT_A_SESSION
    assert sessionread.read_blocks(b"RWS\2" + log[4:])[0] == sessionread.OTHER_VERSION
    assert sessionread.read_blocks(log[:10] + b"\xff" + log[11:])[0] == sessionread.DAMAGED


def resealed(log: bytes, starts: list[int], keep: list[int]) -> bytes:
    """The chained log with only some blocks, renumbered and with fitting check codes: what an editor without the key can do."""
    out = bytearray(log[:60])
    for number, index in enumerate(keep):
        size = starts[1] - starts[0]
        part = bytearray(log[starts[index] : starts[index] + size])
        struct.pack_into("<I", part, 4, number)
        session.seal_block(
            part, 0, part[0], number, struct.unpack_from("<H", part, 2)[0], session.FLAG_MAC
        )
        out += part
    return bytes(out)


def test_the_chain_shows_what_was_edited() -> None:
    log, starts = a_log(KEY)
    assert sessionread.chain_holds(log, KEY)
    assert resealed(log, starts, [0, 1, 2, 3, 4]) == log
    for keep in ([1, 2, 3, 4], [0, 2, 3, 4], [0, 1, 3, 2, 4], [0, 0, 1, 2, 3]):
        edited = resealed(log, starts, keep)
        assert sessionread.read_blocks(edited)[0] == sessionread.OK
        assert not sessionread.chain_holds(edited, KEY)
    assert not sessionread.chain_holds(log, bytes(32))
    assert not sessionread.chain_holds(a_log()[0], KEY)
    assert not sessionread.chain_holds(log[:-1], KEY)
    moved = session.seal_header({**HEADER, "session": 10}) + log[60:]
    assert not sessionread.chain_holds(moved, KEY)


def test_a_log_cut_at_a_block_still_chains() -> None:
    # a cut tail is not an edit: the missing END block says that it is not whole
    log, starts = a_log(KEY)
    assert sessionread.chain_holds(log[: starts[3]], KEY)
