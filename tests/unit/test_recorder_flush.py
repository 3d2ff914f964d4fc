"""The recorder's blocks reach the store once each, whatever append is refused on the way."""

from types import SimpleNamespace

import pytest
from rimward_fw.control.engine import Engine
from rimward_fw.storage import blocks as blocks_module
from rimward_fw.storage.blocks import Blocks
from rimward_fw.storage.recorder import Recorder
from rimward_protocol import kernel_slots as slots
from rimward_protocol import layout, replies, session, sessionread

KEY = bytes(range(32))
HEADER = session.seal_header(
    {
        "tick_us": 2000, "layout_hash": bytes(8), "kernel_hash": bytes(8), "device_id": bytes(8), "session": 7, "boot": 1, "unix_s": 0,
        "words_g": 40, "words_x": 24, "words_f": 60, "words_y": 36,
    }
)  # fmt: skip


class Store:
    """Keeps what is appended; refuses the appends named."""

    def __init__(self, refused: set[int]):
        self.data = bytearray()
        self.refused = refused
        self.asked = 0

    def session_append(self, number: int, view: bytes) -> int:
        self.asked += 1
        if self.asked in self.refused:
            return replies.BUSY_FILLING
        self.data += view
        return replies.OK

    def make_way(self, number: int, count: int) -> bool:
        return False

    def session_sync(self) -> int:
        return replies.OK

    def session_end(self, number: int, about: dict[str, int]) -> int:
        self.ended = about
        return replies.OK


def recorded(key: bytes | None, refused: set[int]) -> tuple[bytes, int]:
    """A session of a few events and ticks, written until it is done: (what the store holds, pieces that were refused)."""
    board = SimpleNamespace(
        hold=lambda: 0,
        let_go=lambda state: None,
        simulated=True,
        context=list,
        set_pins=lambda t: None,
    )
    engine = Engine(board)
    recorder = Recorder(engine, board)
    for step in recorder.opening(7, HEADER, [(1, b"meta")], key):
        step()
    store = Store(refused)
    refusals = 0
    for part in range(4):
        for n in range(5 if part < 3 else 0):
            recorder.note(1, 0, 100 * part + n)
        recorder.writing = True
        if part == 3:
            recorder.finish(0, -1, {"cause": 0})
        for _turn in range(300):
            if not recorder.writing:
                break
            asked = store.asked
            refusals += recorder.keep(store) != replies.OK
            assert store.asked - asked <= 1, "one piece at a time"
        assert not recorder.writing
    assert store.ended == {"cause": 0} and not recorder.active and not recorder.failed
    return bytes(store.data), refusals


@pytest.mark.parametrize("key", [None, KEY])
def test_a_refused_append_is_repeated_without_duplicate_or_loss(key: bytes | None) -> None:
    whole, refusals = recorded(key, set())
    why, _header, found, _good = sessionread.read_blocks(whole)
    assert why == sessionread.OK and refusals == 0 and found[-1][0] == layout.BLOCK_END
    assert sum(kind == layout.BLOCK_EVENT for kind, _, _ in found) == 15
    for refused in range(1, len(found) + 2, 2):
        for more in (set(), {refused + 1}, {refused + 3}):
            if max({refused} | more) <= len(found) + 1:
                got, refusals = recorded(key, {refused} | more)
                assert got == whole and refusals == 1 + len(more), (refused, more)
    assert key is None or sessionread.chain_holds(whole, key)


def test_a_failing_store_ends_the_session_with_its_cause() -> None:
    """Blocks that the store refuses for good: after a few tries, seconds apart, the session ends with that cause."""
    board = SimpleNamespace(
        hold=lambda: 0,
        let_go=lambda state: None,
        simulated=True,
        context=list,
        set_pins=lambda t: None,
    )
    engine = Engine(board)
    recorder = Recorder(engine, board)
    for step in recorder.opening(7, HEADER, [(1, b"meta")], None):
        step()
    recorder.finish(0, -1, {"cause": 0})
    full = SimpleNamespace(
        make_way=lambda number, count: False, session_append=lambda number, view: replies.STORE_FULL
    )
    turns = 0
    while recorder.active and turns < 1000:
        recorder.keep(full)
        engine.t[slots.T_HEAD] += 5
        turns += 1
    assert recorder.failed == replies.STORE_FULL and not recorder.writing and 100 < turns < 400


@pytest.mark.parametrize("sizes", [(0,), (0, 1, 300, 255), (900, 2, 700)])
def test_written_blocks_free_memory_and_the_rest_stays(sizes: tuple[int, ...]) -> None:
    for written in range(len(sizes) + 1):
        blocks = Blocks(2048, False)
        blocks.open()
        for n, size in enumerate(sizes):
            assert blocks.room(size)
            blocks.put(n + 1, bytes([n]) * size, size)
        for _ in range(written):
            blocks.written()
        left = [(n + 1, bytes([n]) * size) for n, size in enumerate(sizes)][written:]
        assert blocks.waiting() == sum(3 + size for size in sizes[written:])
        room = 2048 - blocks.waiting() - 3
        assert not blocks.room(room + 1) and blocks.room(room)
        blocks.put(99, bytes(room), room)
        for kind, payload in [*left, (99, bytes(room))]:
            assert (blocks.oldest()[0], bytes(blocks.oldest()[1])) == (kind, payload)
            blocks.written()
        assert blocks.waiting() == 0


def test_a_ring_of_blocks_drops_its_oldest() -> None:
    blocks = Blocks(2048, True)
    blocks.open()
    for n in range(100):
        assert blocks.room(97)
        blocks.put(n, bytes([n]) * 97, 97)
    held = []
    while blocks.waiting():
        kind, payload = blocks.oldest()
        assert bytes(payload) == bytes([kind]) * 97
        held.append(kind)
        blocks.written()
    assert (
        held == list(range(100 - len(held), 100))
        and len(held) >= 15
        and blocks.lost == 100 - len(held)
    )


@pytest.mark.parametrize(
    ("free", "size"), [(100_000, 30 * 1024), (40_000, 15 * 1024), (30_000, 7_680), (20_000, 2048)]
)
def test_a_record_leaves_the_main_loop_its_reserve(
    monkeypatch: pytest.MonkeyPatch, free: int, size: int
) -> None:
    monkeypatch.setattr(blocks_module, "free_bytes", lambda: free)
    blocks = Blocks(30 * 1024, True)
    blocks.open()
    assert len(blocks.buf) == size
