"""The bench's trace in memory: packed and restored bit for bit, a retention test whole in the memory that a board has, the oldest dropped first."""

import random
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rimward_fw.bench import trace
from rimward_protocol import layout, session

HEAD, RECORD = layout.struct_format(layout.TRACE), layout.struct_format(layout.TRACE_RECORD)
INT16 = st.integers(-32768, 32767)
ROW = st.tuples(INT16, INT16, INT16, st.integers(0, 255), st.integers(0, 15))
RETENTION_S = 600  # seat and limit a minute each, the rise to 5.66 bar at 5 kPa/s, 302 s, and a minute in which a person looks at the beads


def payload(rows, tick=1000):
    return bytearray(
        struct.pack(HEAD, tick, 10, len(rows), 5960, 5800, 5660)
        + b"".join(struct.pack(RECORD, *row) for row in rows)
    )


def held(random_, count, level=5660):
    """Readings with the noise of the virtual bench in a hold (standard deviations in hPa), and its pulses."""
    for n in range(count):
        a, b, tyre = (round(random_.gauss(level, sigma)) for sigma in (0.65, 2.9, 0.38))
        yield a, b, tyre, 17 if n % 100 == 0 else 16, 12


@given(st.lists(ROW, min_size=1, max_size=session.TRACE_RECORDS))
def test_every_payload_comes_back_as_it_was(rows):
    whole, store = payload(rows), trace.PackedTrace()
    store.open()
    assert store.room(len(whole))
    store.put(layout.BLOCK_TRACE, whole, len(whole))
    kind, back = store.oldest()
    assert kind == layout.BLOCK_TRACE and bytes(back) == bytes(whole)


@pytest.mark.parametrize("free, least_s", [(76_000, RETENTION_S), (400_000, 1_600)])
def test_a_whole_test_fits_into_what_the_heap_has(monkeypatch, free, least_s):
    """76 kB: what a board with its modules in flash has left beside the other pieces of a record. Unpacked that would be two minutes."""
    monkeypatch.setattr(trace, "free_bytes", lambda: free)
    monkeypatch.setattr("rimward_fw.storage.blocks.free_bytes", lambda: free)
    store, random_ = trace.PackedTrace(), random.Random(7)
    store.open()
    assert len(store.buf) + trace.RESERVE_BYTES <= free
    blocks = 0
    while not store.lost:
        rows = list(held(random_, session.TRACE_RECORDS))
        whole = payload(rows, 580 * blocks)
        assert store.room(len(whole))
        store.put(layout.BLOCK_TRACE, whole, len(whole))
        blocks += 1
    assert blocks * session.TRACE_RECORDS / 50 > least_s
    _kind, oldest = store.oldest()
    assert (
        struct.unpack_from(HEAD, oldest)[0] == 580 * store.lost
    )  # the oldest went, the rest is there in order
    assert len(oldest) == len(whole)


BLOCK_TICKS = 10 * session.TRACE_RECORDS


def fill(store, blocks, rows_of, confirms=lambda n: True):
    """Put blocks as the recorder does; the host confirms block n a moment after it where `confirms(n)`."""
    since = 1
    for n in range(blocks):
        whole = payload(rows_of(n), BLOCK_TICKS * n)
        assert store.room(len(whole))
        store.put(layout.BLOCK_TRACE, whole, len(whole))
        if not confirms(n):
            since = BLOCK_TICKS * (n + 1)
        store.confirm(since - 1, BLOCK_TICKS * (n + 1) + 5 if confirms(n) else since)


def records_of(store):
    """{tick: record} of everything that waits, and the distances between the ticks."""
    found = {}
    while store.waiting():
        _kind, data = store.oldest()
        tick, step, count, *_limits = struct.unpack_from(HEAD, data)
        for i in range(count):
            at = struct.calcsize(HEAD) + i * struct.calcsize(RECORD)
            assert tick + i * step not in found
            found[tick + i * step] = struct.unpack_from(RECORD, data, at)
        store.written()
    ticks = list(found)
    assert ticks == sorted(ticks)
    return found, [b - a for a, b in zip(ticks, ticks[1:])]


@pytest.fixture
def chip(monkeypatch):
    """What a board with its modules in flash has left."""
    for where in ("free_bytes", "rimward_fw.storage.blocks.free_bytes"):
        monkeypatch.setattr(*((trace, where) if "." not in where else (where,)), lambda: 76_000)


def test_the_longest_test_stays_in_the_memory_of_a_chip(chip):
    """From 5 to 10 bar: 40 minutes, with the rise between two levels; what the host has keeps every eighth record, the newest minutes all."""
    random_, store, put = random.Random(3), trace.PackedTrace(), {}

    def rows(n):
        level = 3000 + 7000 * n // 2070  # hPa
        made = list(held(random_, session.TRACE_RECORDS, level))
        put.update({BLOCK_TICKS * n + 10 * i: row for i, row in enumerate(made)})
        return made

    store.open()
    fill(store, 2070, rows)  # 40 minutes
    assert store.lost == 0
    found, distances = records_of(store)
    assert min(found) <= 70 and max(found) == max(put)
    assert all(put[tick] == row for tick, row in found.items())
    assert set(distances) <= {10, 80} | set(range(20, 80, 10)) and max(distances) == 80
    assert distances[-3000:] == [10] * 3000  # the last minute in full


def test_what_the_host_lacks_and_what_moves_stays_in_full(chip):
    random_, store = random.Random(5), trace.PackedTrace()
    lacked, moving = {100, 101, 300}, {200, 400}

    def rows(n):
        made = list(held(random_, session.TRACE_RECORDS))
        if n in moving:  # a fall by 0.25 bar within the block
            made = [(a - 250, b - 250, t - 250, o, s) for a, b, t, o, s in made[:20]] + made[20:]
        return made

    store.open()
    fill(store, 1200, rows, lambda n: n not in lacked)
    assert store.lost == 0
    found, _distances = records_of(store)
    for n in lacked | moving | {n + d for n in moving for d in (-1, 1)}:
        ticks = range(BLOCK_TICKS * n, BLOCK_TICKS * (n + 1), 10)
        assert all(tick in found for tick in ticks), n
    for n in (50, 150, 250):
        ticks = range(BLOCK_TICKS * n, BLOCK_TICKS * (n + 1), 10)
        assert [tick for tick in ticks if tick in found] == [t for t in ticks if t % 80 == 0]


def test_nothing_is_thinned_without_a_host_that_has_it(chip):
    random_, store = random.Random(5), trace.PackedTrace()
    store.open()
    fill(store, 1000, lambda n: list(held(random_, session.TRACE_RECORDS)), lambda n: False)
    found, distances = records_of(store)
    assert store.lost > 0 and set(distances) == {10} and max(found) == BLOCK_TICKS * 1000 - 10
