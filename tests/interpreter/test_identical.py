"""Both kernels leave the same bits on CPython, numba and MicroPython: the short run of `tests.interpreter.identical`."""

import numpy as np
import pytest

from tests.interpreter import identical, identical_run
from tests.sessions.cases import CASES

TICKS = 220_000
DEVICE_TICKS = 20_000
BRANCH_TICKS = 40_000  # by then every file of both kernels has branches taken
SESSIONS = [case.name for case in CASES][::9]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return identical.device_tree(tmp_path_factory.mktemp("identical"))


def test_guided_ticks_on_cpython_and_numba(capsys):
    total = identical.numba_and_cpython(TICKS, workers=0)
    assert total["ticks"] == TICKS
    taken = identical.branches(lambda: identical.guided(identical.SEED, BRANCH_TICKS))
    with capsys.disabled():
        print("\n" + identical.page(total, BRANCH_TICKS, 0, 0, taken).split("Reached by")[1])
    done, whole = taken["guard.py"]
    assert done >= 0.8 * whole and all(done for done, whole in taken.values() if whole)
    assert {0, 21, 23, 24, 25, 26, 32, 33} <= set(total["causes"]) and len(total["causes"]) >= 14
    assert len(total["states"]) >= 14


def test_guided_ticks_on_micropython(folder):
    kept = identical.guided(identical.SEED, DEVICE_TICKS)
    assert identical.three_ways(folder, None, kept.records.tobytes(), kept.left) == DEVICE_TICKS


@pytest.mark.parametrize("name", SESSIONS)
def test_recorded_sessions_on_all_three(folder, name):
    for start, records in identical.corpus(name):
        assert (
            identical.three_ways(folder, start, records, identical.by_cpython(start, records))
            > 1500
        )


def test_one_differing_bit_is_detected(folder):
    """The comparison can fail, on either side."""
    kept = identical.guided(3, 1500)
    other = np.array(identical.by_numba(None, kept.records))
    other[777, 20] ^= 1
    assert identical.differs(kept.left, other).startswith("tick 777: words [20]")
    kept.left[identical_run.WIDTH * 600 + 50] ^= 1
    with pytest.raises(AssertionError, match="tick 600"):
        identical.three_ways(folder, None, kept.records.tobytes(), kept.left)


def test_a_moved_limit_is_seen_on_micropython(folder, tmp_path):
    kept = identical.guided(identical.SEED, 3000)
    other = identical.device_tree(tmp_path)
    text = (other / "rimward_fw" / "kernels" / "guard.py").read_text()
    (other / "rimward_fw" / "kernels" / "guard.py").write_text(
        text.replace("_REST_TICKS = const(15)", "_REST_TICKS = const(16)")
    )
    assert identical.on_micropython(other, None, kept.records.tobytes()) != identical.block_digests(
        kept.left
    )


def test_the_kept_page_is_of_the_kernels_that_stand():
    """After a change of a kernel: `python -m tests.interpreter.identical --write`, which takes a quarter of an hour."""
    text = identical.PAGE.read_text()
    assert f"Sources: `{identical.sources()}`" in text, f"run {identical.COMMAND}"
    assert (
        f"| {identical.TICKS} | CPython, numba |" in text
        and f"| {identical.DEVICE_TICKS} | CPython, numba, MicroPython |" in text
    )
    assert f"every full-rate tick of {len(CASES)} recorded sessions" in text
