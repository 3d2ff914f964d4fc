"""Speed of the kernels and of the campaign's loop, in processor time of one core; the best of several runs."""

import time
from array import array
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
from rimward.simulation import engines
from rimward.simulation import faulted as loop
from rimward.simulation.campaign.draw import choices, draw
from rimward.simulation.campaign.play import LONGEST, Refused, play, taken
from rimward_fw.kernels import fill, guard
from rimward_fw.kernels.order import couple as tick
from rimward_protocol import kernel_slots as slots

from tests.bench.row import Row

CAMPAIGN_SEED = 1
WINDOWS = 5  # every session is timed so often and its best time taken: others may use the machine
REFERENCE = 2_000_000


def kernel_loop(
    guard_step: Any,
    fill_step: Any,
    tick: Any,
    g: Any,
    x: Any,
    f: Any,
    y: Any,
    a: Any,
    b: Any,
    sw: Any,
    n: int,
) -> int:
    """The kernels alone over recorded readings."""
    total = 0
    for i in range(n):
        x[slots.X_A] = a[i]
        x[slots.X_B] = b[i]
        x[slots.X_SW] = sw[i]
        total += tick(guard_step, fill_step, g, x, f, y)
    return total


def recorded(ticks: int) -> tuple[Any, list[np.ndarray]]:
    """A session's arrays before its first tick, and its readings."""
    session = engines.compiled()["session"]
    d = draw(CAMPAIGN_SEED, 2, ())
    _, words, _ = taken(d)
    readings = [np.zeros(ticks, np.int32) for _ in range(3)]
    for n in range(ticks):
        session(*words, n, 1)
        for i in range(3):
            readings[i][n] = words.x[i]
    _, words, _ = taken(d)
    return words, readings


def best_of(runs: int, function: Callable[[], Any]) -> float:
    """Least processor time of `runs` calls, s."""
    times = []
    for _ in range(runs):
        start = time.process_time()
        function()
        times.append(time.process_time() - start)
    return min(times)


def kernels(quick: bool) -> Row:
    """Compiled kernels over CPython's, the same readings, the same end."""
    from numba import njit

    ticks = 3_000 if quick else 12_000
    words, readings = recorded(ticks)
    made = engines.kernels()
    names = ("g", "x", "f", "y")
    slow = {name: array("i", getattr(words, name).tolist()) for name in names}
    lists = [row.tolist() for row in readings]
    slow_s = best_of(
        1,
        lambda: kernel_loop(guard.step, fill.step, tick, *(slow[n] for n in names), *lists, ticks),
    )
    space = {"guard_step": made["guard_step"], "fill_step": made["fill_step"], "tick": made["tick"]}
    fast_loop = _bound(njit, space)
    ends = {}

    def fast() -> None:
        arrays = {name: np.array(getattr(words, name)) for name in names}
        fast_loop(*(arrays[n] for n in names), *readings, ticks)
        ends.update(arrays)

    fast()
    fast_s = best_of(5, fast)
    same = all(ends[name].tolist() == slow[name].tolist() for name in names)
    about = {
        "same_end": same,
        "cpython_us_a_tick": slow_s / ticks * 1e6,
        "compiled_ns_a_tick": fast_s / ticks * 1e9,
    }
    return Row(
        "compiled kernels / CPython, one core",
        [slow_s / fast_s if same else 0.0],
        [40.0],
        about,
        least=True,
    )


def _bound(njit: Any, space: dict[str, Any]) -> Any:
    """`kernel_loop` compiled with the compiled kernels in it."""
    guard_step, fill_step, step = space["guard_step"], space["fill_step"], space["tick"]

    @njit(_nrt=False)
    def run(g, x, f, y, a, b, sw, n):  # type: ignore[no-untyped-def]
        total = 0
        for i in range(n):
            x[slots.X_A] = a[i]
            x[slots.X_B] = b[i]
            x[slots.X_SW] = sw[i]
            total += step(guard_step, fill_step, g, x, f, y)
        return total

    return run


def campaign(quick: bool) -> list[Row]:
    """Ticks a second of the campaign's loop over all its sessions, plant and kernels and person in it; and with drawing and arming."""
    session = engines.compiled()["session"]
    count = 30 if quick else 200
    names = choices(("all",))
    play(draw(CAMPAIGN_SEED, 0, names), session)
    best: dict[int, float] = {}
    ticks: dict[int, int] = {}
    for _ in range(2 if quick else WINDOWS):
        for number in range(count):
            try:
                _, words, _ = taken(draw(CAMPAIGN_SEED, number, names))
            except Refused:
                continue
            start = time.process_time()
            session(*words, 0, LONGEST)
            best[number] = min(best.get(number, 1e9), time.process_time() - start)
            ticks[number] = int(words.r[loop.R_TICKS])
    rate = sum(ticks.values()) / sum(best.values())
    beside = best_of(WINDOWS, lambda: reference_loop()(REFERENCE)) / REFERENCE * 1e9
    start = time.process_time()
    whole = sum(
        int(play(draw(CAMPAIGN_SEED, number, names), session)[0]["ticks"])
        for number in range(count)
    )
    all_s = time.process_time() - start
    about = {
        "drawing_and_arming_too": whole / all_s,
        "sessions": len(best),
        "substeps": 1,
        "reference_loop_ns": beside,
    }
    return [Row("campaign ticks a second a core, plant included", [rate], [5e6], about, least=True)]


@cache
def reference_loop() -> Any:
    """A fixed loop of additions and shifts, eight in each turn: shown beside the figure, it shows how much of a core this run got."""
    from numba import njit

    @njit(_nrt=False)
    def run(n):  # type: ignore[no-untyped-def]
        a = b = c = d = 1
        for i in range(n):
            a = (a + i) ^ (b >> 1)
            b = (b + i) ^ (c >> 1)
            c = (c + i) ^ (d >> 1)
            d = (d + i) ^ (a >> 1)
        return a + b + c + d

    run(2)
    return run


def rows(quick: bool) -> list[Row]:
    """Rows of the table for speed."""
    return [kernels(quick), *campaign(quick)]
