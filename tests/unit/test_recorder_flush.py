"""The recorder's blocks reach the store once each, whatever append is refused on the way."""

from types import SimpleNamespace

import pytest
from rimward_fw.control.engine import Engine
from rimward_fw.storage.recorder import Blocks, Recorder
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

    def session_sync(self) -> int:
        return replies.OK


def recorded(key: bytes | None, refused: set[int]) -> tuple[bytes, int]:
    """A session of a few events and ticks, flushed until it is done: (what the store holds, flushes)."""
    board = SimpleNamespace(hold=lambda: 0, let_go=lambda state: None, simulated=True, context=list, set_pins=lambda t: None)
    recorder = Recorder(Engine(board), board)
    recorder.begin(7, HEADER, [(1, b"meta")], key)
    store = Store(refused)
    flushes = 0
    for part in range(3):
        for n in range(5):
            recorder.note(1, 0, 100 * part + n)
        while recorder.flush(store):
            flushes += 1
            assert flushes < 100
    assert recorder.finish(store, 0, -1) == replies.OK
    return bytes(store.data), flushes


@pytest.mark.parametrize("key", [None, KEY])
def test_a_refused_append_doubles_and_loses_nothing(key: bytes | None) -> None:
    whole, flushes = recorded(key, set())
    why, _header, found, _good = sessionread.read_blocks(whole)
    assert why == sessionread.OK and flushes == 0 and found[-1][0] == layout.BLOCK_END
    assert sum(kind == layout.BLOCK_EVENT for kind, _, _ in found) == 15
    for refused in range(1, len(found) + 1, 2):  # the last one is the END block's, which is not tried again
        for more in (set(), {refused + 1}, {refused + 3}):
            if max({refused} | more) <= len(found):
                got, flushes = recorded(key, {refused} | more)
                assert got == whole and flushes == 1 + len(more), (refused, more)
    assert key is None or sessionread.chain_holds(whole, key)


@pytest.mark.parametrize("sizes", [(0,), (0, 1, 300, 255), (900, 2, 700)])
def test_forgetting_keeps_what_is_left(sizes: tuple[int, ...]) -> None:
    for kept in range(len(sizes) + 1):
        blocks = Blocks(4096, False)
        blocks.open()
        for n, size in enumerate(sizes):
            assert blocks.room(size)
            blocks.put(n + 1, bytes([n]) * size, size)
        at = sum(3 + size for size in sizes[:kept])
        before = bytes(blocks.buf[at : blocks.end])
        blocks.forget(at)
        assert bytes(blocks.buf[: blocks.end]) == before
