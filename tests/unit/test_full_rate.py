"""The full-rate record: the first 5 s and the last 10 s of a recording are complete, also when the main loop stalls for half a second."""

import random
from types import SimpleNamespace

import pytest
from rimward_fw.control.engine import Engine
from rimward_fw.storage import recorder, trace
from rimward_fw.storage.blocks import Blocks
from rimward_fw.storage.recorder import Recorder
from rimward_protocol import kernel_slots as slots
from rimward_protocol import layout, replies, session, sessionread

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
    board = SimpleNamespace(
        hold=lambda: 0, let_go=lambda state: None, context=list, set_pins=lambda t: None
    )
    engine = Engine(board)
    log = Recorder(engine, board)
    dice = random.Random(12)
    x = engine.x
    busy_until = 0

    def tick(n: int) -> None:
        pa = 300_000 * n / (seconds * SECOND)
        x[slots.X_A] = 6554 + round((pa + dice.gauss(0, 60)) * 512 / 9766)
        x[slots.X_B] = 6554 + round((pa + dice.gauss(0, 250)) * 512 / 9766)
        x[slots.X_SW], x[slots.X_LOAD], x[slots.X_GAP], x[slots.X_SUPPLY] = (
            2,
            1 + dice.randrange(2),
            15 + dice.randrange(2),
            78,
        )
        engine.decide()

    tick(0)
    for step in log.opening(7, HEADER, [], None):
        step()
    first = engine.head
    for n in range(1, seconds * SECOND + 1):
        tick(n)
        if n % (every_s * SECOND) == 0:
            busy_until = n + stall
        if n % TURN == 0 and n >= busy_until:
            log.work((0, 0, -1, 0), (0, 0, 0))
    last = engine.head
    fast = log.fast  # gone once the record is written
    log.finish(0, -1, {})
    store = Store()
    while log.active:
        log.work((0, 0, -1, 0), (0, 0, 0))
        log.keep(store)
    why, _header, found, _good = sessionread.read_blocks(bytes(store.data))
    assert why == sessionread.OK
    ticks: set[int] = set()
    for kind, start, _stop in found:
        if kind == layout.BLOCK_FAST:
            at, count = (
                int.from_bytes(store.data[start : start + 4], "little"),
                store.data[start + 4],
            )
            ticks |= set(range(at, at + count))
    return {t - first for t in ticks}, last - first, fast.lost


@pytest.mark.parametrize(
    ("stall", "every_s"), [(0, 60), (250, 2)], ids=["never", "half a second, every two"]
)
def test_first_five_and_last_ten_seconds_are_complete(stall: int, every_s: int) -> None:
    ticks, length, lost = recorded(40, stall, every_s)
    assert length == 40 * SECOND and lost == 0
    assert set(range(5 * SECOND)) <= ticks, "the first 5 s"
    assert set(range(length - 10 * SECOND, length)) <= ticks, "the last 10 s"


def test_a_stall_longer_than_the_ring_is_said_in_the_record() -> None:
    ticks, length, lost = recorded(12, slots.RING_TICKS + 100, 5)
    assert lost > 0 and set(range(length)) - ticks


def test_the_trace_of_a_long_fill_is_thinned_and_keeps_its_beginning() -> None:
    """Its memory holds 20 s at 50 Hz; of two minutes nothing is left out, only more coarsely kept."""
    blocks = Blocks(recorder.TRACE_BYTES, True, trace.thinned)
    blocks.open()
    full = layout.size(layout.TRACE), layout.size(layout.TRACE_RECORD)
    payload = bytearray(full[0] + session.TRACE_RECORDS * full[1])
    for tick in range(0, 120 * SECOND, recorder.TRACE_STEP * session.TRACE_RECORDS):
        trace.put_head(payload, tick, recorder.TRACE_STEP, session.TRACE_RECORDS, (0, 0, 0))
        for i in range(session.TRACE_RECORDS):
            trace.put_record(
                payload, full[0] + i * full[1], (100 * ((tick + 10 * i) % 3000), 0, 0, 0), 0
            )
        assert blocks.room(len(payload))
        blocks.put(layout.BLOCK_TRACE, payload, len(payload))
    seen = []
    while blocks.waiting():
        _, held = blocks.oldest()
        head = layout.unpack(layout.TRACE, bytes(held))
        assert head["step"] <= trace.TRACE_STEP_MAX and len(held) == full[0] + head["n"] * full[1]
        for i in range(head["n"]):
            row = layout.unpack(
                layout.TRACE_RECORD, bytes(held[full[0] + i * full[1] :][: full[1]])
            )
            seen.append(head["tick"] + i * head["step"])
            assert row["a_hpa"] == seen[-1] % 3000, "each record is that of its tick"
        blocks.written()
    assert seen == sorted(seen) and seen[0] == 0 and seen[-1] > 119 * SECOND and blocks.lost == 0
    assert max(b - a for a, b in zip(seen, seen[1:], strict=False)) <= 2 * trace.TRACE_STEP_MAX


def test_one_block_of_the_trace_is_thinned_at_a_time() -> None:
    blocks = Blocks(recorder.TRACE_BYTES, True, trace.thinned)
    blocks.open()
    size = layout.size(layout.TRACE), layout.size(layout.TRACE_RECORD)
    payload = bytearray(size[0] + session.TRACE_RECORDS * size[1])
    trace.put_head(payload, 0, recorder.TRACE_STEP, session.TRACE_RECORDS, (0, 0, 0))
    for _ in range(3):
        blocks.put(layout.BLOCK_TRACE, payload, len(payload))
    spared = []
    for _ in range(4):
        before = blocks.end
        assert trace.thinned(blocks)
        spared.append(before - blocks.end)
    half = session.TRACE_RECORDS // 2 * size[1]
    assert spared == [half, half, half, session.TRACE_RECORDS // 4 * size[1]]


def test_a_trace_that_cannot_be_thinned_any_more_drops_its_oldest() -> None:
    blocks = Blocks(2048, True, trace.thinned)
    blocks.open()
    payload = bytearray(layout.size(layout.TRACE) + 50 * layout.size(layout.TRACE_RECORD))
    for n in range(400):
        trace.put_head(payload, n * 500, recorder.TRACE_STEP, 50, (0, 0, 0))
        assert blocks.room(len(payload))
        blocks.put(layout.BLOCK_TRACE, payload, len(payload))
    _, held = blocks.oldest()
    assert (
        blocks.lost > 0 and layout.unpack(layout.TRACE, bytes(held))["step"] == trace.TRACE_STEP_MAX
    )
