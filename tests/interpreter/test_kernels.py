"""One source, identical bits: the kernels on CPython, on two MicroPythons and compiled by numba, over the same guided ticks."""

import sys
from array import array
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
from rimward.kernels.assemble import gathered
from rimward.simulation.plant.jit import compile_modules
from rimward_fw.kernels import fill, guard

from tests.trust.guard_coverage import measure
from tests.trust.guard_guided import World, rows

HERE = Path(__file__).parent
TICKS = 10_000
EVERY = "import kernel_digest as k\nfrom rimward_fw.kernels import fill, guard\n"


def recorded(count: int) -> "array[int]":
    """Guided ticks as records: inputs, then what was done to the guard's memory before the tick."""
    found = array("i")
    last: list[int] | None = None
    for before, x, after, _ in rows(guard, count, seed=3):
        event = -1
        if last is not None and before != last:
            changed = [i for i in range(len(before)) if before[i] != last[i]]
            event = (
                64 * ((before[changed[0]] ^ last[changed[0]]).bit_length() - 1) + changed[0]
                if len(changed) == 1
                else -2
            )
        found.extend([*x, event])
        last = after
    return found


@pytest.fixture(scope="module")
def digest_module():
    sys.path.insert(0, str(HERE))
    try:
        import kernel_digest
    finally:
        sys.path.remove(str(HERE))
    return kernel_digest


@pytest.fixture(scope="module")
def records(device_folder):
    path = device_folder / "guided.bin"
    path.write_bytes(recorded(TICKS).tobytes())
    return path


@pytest.fixture(scope="module")
def on_cpython(records, digest_module):
    both = digest_module.digests(records, guard.step, fill.step, lambda a: a)
    return both, digest_module.alone(records, guard.step, lambda a: a)


def test_same_bits_on_micropython(micropython, records, on_cpython):
    code = "print(k.digests(FOLDER + '/guided.bin', guard.step, fill.step, lambda a: a))\n"
    code += "print(k.alone(FOLDER + '/guided.bin', guard.step, lambda a: a))\n"
    assert micropython(EVERY + code).splitlines() == [str(part) for part in on_cpython]
    assert len(on_cpython[0]) == TICKS // 500


def test_same_bits_compiled_by_numba(records, on_cpython, digest_module):
    options = {"inline": "never", "error_model": "python"}
    guard_step, fill_step = (
        compile_modules(tuple(gathered(f"rimward_fw.kernels.{name}")), **options)["step"]
        for name in ("guard", "fill")
    )

    def wrap(words):
        return np.array(words, dtype=np.int32)

    assert digest_module.digests(records, guard_step, fill_step, wrap) == on_cpython[0]
    assert digest_module.alone(records, guard_step, wrap) == on_cpython[1]


def test_no_tick_allocates(micropython, records):
    """`heap_lock` makes every allocation raise: 10,000 guided ticks of both kernels go through, damaged memory included."""
    code = "import micropython\nprint(k.locked(FOLDER + '/guided.bin', guard.step, fill.step, micropython.heap_lock, micropython.heap_unlock))\n"
    assert micropython(EVERY + code).split() == [str(TICKS)]


def test_the_lock_would_show_an_allocation(on_unix, records):
    code = "import micropython\ndef step(g, x):\n    return len([0])\n"
    code += "print(k.locked(FOLDER + '/guided.bin', step, fill.step, micropython.heap_lock, micropython.heap_unlock))\n"
    with pytest.raises(AssertionError, match="MemoryError"):
        on_unix(EVERY + code)


def test_a_changed_kernel_shows(on_unix, device_folder, records, on_cpython):
    """The comparison can fail: one limit moved by one gives another digest."""
    text = (device_folder / "rimward_fw" / "kernels" / "guard.py").read_text()
    (device_folder / "moved_guard.py").write_text(
        text.replace("_REST_TICKS = const(15)", "_REST_TICKS = const(16)")
    )
    code = "import moved_guard\nprint(k.alone(FOLDER + '/guided.bin', moved_guard.step, lambda a: a))\n"
    assert on_unix(EVERY + code).strip() != str(on_cpython[1])


def test_coverage_of_guided_ticks(capsys, records, digest_module):
    """What guided ticks reach, printed: outputs, latched causes, states of the fill, lines and branches of the guard."""
    outs, causes = Counter(), Counter()

    def run(copy):
        for seed in (4, 7):
            for _, _, after, out in rows(copy, 30_000, seed=seed):
                outs[out] += 1
                causes[after[0]] += 1

    reached, fills = measure(run), digest_module.fill_states(records, guard.step, fill.step)
    with capsys.disabled():
        print(
            f"\n60,000 guided ticks: outputs {dict(outs)}, latched causes {sorted(c for c in causes if c)}"
        )
        print(f"fill: states {fills}")
        print(
            f"guard: {reached.lines - len(reached.missing_lines)} of {reached.lines} lines, "
            f"{reached.branches - len(reached.missing_branches)} of {reached.branches} branches"
        )
    still = {0, 8, 12}
    moving = {18, 19, 32, 33, 34}
    assert still | moving <= set(outs) <= still | moving | {out | 64 for out in still}
    assert len(causes) >= 12 and {16, 21, 32, 33} <= set(causes)
    assert len(fills) >= 12
    assert len(reached.missing_lines) <= 8 and len(reached.missing_branches) <= 4


def test_worlds_repeat():
    """The same seed gives the same ticks: a failure can be looked at again."""
    import random

    worlds = [World(random.Random(5), guard) for _ in range(2)]
    assert [worlds[0].tick() for _ in range(200)] == [worlds[1].tick() for _ in range(200)]
