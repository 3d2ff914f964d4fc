"""The full-rate record: the first 5 s and the last 10 s of a recording are complete, also when the main loop stalls for half a second."""

import random
from types import SimpleNamespace

import pytest
from rimward_fw.control.engine import Engine
from rimward_fw.storage.recorder import Recorder
from rimward_protocol import kernel_slots as slots
from rimward_protocol import layout, replies, sessionread

from tests.unit.test_recorder_flush import HEADER

SECOND = 500
TURN = 5  # ticks between two turns of the main loop


class Store:
    """Takes everything."""

    def __init__(self) -> None:
        self.data = bytearray()

    def make_way(self, number: int, count: int) -> bool:
        return False

    def session_append(self, number: int, view: bytes) -> int:
        self.data += view
        return replies.OK

    def session_sync(self) -> int:
        return replies.OK

    def session_end(self, number: int, about: object) -> int:
        return replies.OK


def recorded(seconds: int, stall: int, every_s: int) -> tuple[set[int], int, int]:
    """(ticks at full rate, ticks of the recording, ticks lost) of a fill's noise; each `every_s` the loop stalls for `stall` ticks."""
    board = SimpleNamespace(hold=lambda: 0, let_go=lambda state: None, context=list, set_pins=lambda t: None)
    engine = Engine(board)
    recorder = Recorder(engine, board)
    dice = random.Random(12)
    x = engine.x
    busy_until = 0

    def tick(n: int) -> None:
        pa = 300_000 * n / (seconds * SECOND)
        x[slots.X_A] = 6554 + round((pa + dice.gauss(0, 60)) * 512 / 9766)
        x[slots.X_B] = 6554 + round((pa + dice.gauss(0, 250)) * 512 / 9766)
        x[slots.X_SW], x[slots.X_LOAD], x[slots.X_GAP], x[slots.X_SUPPLY] = 2, 1 + dice.randrange(2), 15 + dice.randrange(2), 78
        engine.decide()

    tick(0)
    recorder.begin(7, HEADER, [], None)
    first = engine.head
    for n in range(1, seconds * SECOND + 1):
        tick(n)
        if n % (every_s * SECOND) == 0:
            busy_until = n + stall
        if n % TURN == 0 and n >= busy_until:
            recorder.work((0, 0, -1, 0), (0, 0, 0))
    last = engine.head
    recorder.finish(0, -1, {})
    store = Store()
    while recorder.active:
        recorder.work((0, 0, -1, 0), (0, 0, 0))
        recorder.keep(store)
    why, _header, found, _good = sessionread.read_blocks(bytes(store.data))
    assert why == sessionread.OK
    ticks: set[int] = set()
    for kind, start, _stop in found:
        if kind == layout.BLOCK_FAST:
            at, count = int.from_bytes(store.data[start : start + 4], "little"), store.data[start + 4]
            ticks |= set(range(at, at + count))
    return {t - first for t in ticks}, last - first, recorder.fast.lost


@pytest.mark.parametrize(("stall", "every_s"), [(0, 60), (250, 2)], ids=["never", "half a second, every two"])
def test_first_five_and_last_ten_seconds_are_complete(stall: int, every_s: int) -> None:
    ticks, length, lost = recorded(40, stall, every_s)
    assert length == 40 * SECOND and lost == 0
    assert set(range(5 * SECOND)) <= ticks, "the first 5 s"
    assert set(range(length - 10 * SECOND, length)) <= ticks, "the last 10 s"


def test_a_stall_longer_than_the_ring_is_said_in_the_record() -> None:
    ticks, length, lost = recorded(12, slots.RING_TICKS + 100, 5)
    assert lost > 0 and set(range(length)) - ticks
