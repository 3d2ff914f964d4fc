"""The quick set of power cuts, the planted defects, and the page of the results."""

import fcntl
import os
import pickle
import re

import pytest

from tests.faults import crashtable, cutdefects, powercut


@pytest.fixture(scope="session")
def quick(tmp_path_factory: pytest.TempPathFactory) -> powercut.Found:
    """One run for all tests here, whichever worker asks first."""
    base = tmp_path_factory.getbasetemp()
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    kept = shared / "powercut.pickle"
    with open(shared / "powercut.lock", "w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not kept.exists():
            kept.write_bytes(pickle.dumps(powercut.run(True)))
        return pickle.loads(kept.read_bytes())


def test_every_action_is_cut_and_everything_stands(quick: powercut.Found) -> None:
    found = quick
    print(f"{found.total} power cuts, {found.seconds:.1f} s")
    assert found.failures == []
    assert len(found.actions) == powercut.ACTION_COUNT == len(set(found.actions))
    assert found.total > 1500
    assert found.ok


def test_every_action_is_cut_in_every_way(quick: powercut.Found) -> None:
    found = quick
    for line in found.lines:
        ways = {way for way, _, _ in line["cuts"]}
        assert set(powercut.FIXED_WAYS) <= ways, line["action"]
        assert "lost" in ways, line["action"]
        assert len(line["steps"]) >= 1
    assert sum(count for (_, way, _), count in found.cuts.items() if way == "reordered") > 50
    assert (
        sum(count for (_, way, _), count in found.cuts.items() if way == "cut again in the repair")
        > 200
    )


def test_cuts_leave_the_old_state_before_and_the_new_one_after(quick: powercut.Found) -> None:
    """A cut before the first operation changes nothing, one after the last leaves the new state: the check distinguishes them."""
    for line in quick.lines:
        if line["code"] == 0:
            assert line["steps"][0][2] == "old", line["action"]
            assert line["steps"][-1][-1] == "new", line["action"]


@pytest.mark.parametrize("defect", [row[0] for row in cutdefects.DEFECTS])
def test_a_planted_defect_is_found(defect: str) -> None:
    found = list(powercut.on_device(f"cutrun.plant({defect!r}, 3)", 120))
    assert found, "the defect names no action"
    for line in found:
        assert line["failures"], f"{line['cuts']} cuts did not show it"


def test_an_exception_on_the_device_is_not_swallowed() -> None:
    spoilt = "from rimward_fw.storage import records\nrecords.parse = lambda data: data[9999]\ncutrun.main((2,), (3,), True)"
    with pytest.raises(RuntimeError, match="IndexError"):
        list(powercut.on_device(spoilt, 60))


def test_the_crash_table_is_current(quick: powercut.Found) -> None:
    page = powercut.PAGE.read_text()
    told = page[
        page.index(crashtable.STEPS_BEGIN) : page.index(crashtable.STEPS_END)
        + len(crashtable.STEPS_END)
    ]
    assert told == crashtable.steps(quick), "run `python -m tests.faults.powercut --write`"


def test_the_page_shows_a_full_run_without_a_failure() -> None:
    page = powercut.PAGE.read_text()
    cuts = int(re.search(r"^## ([\d,]+) cuts$", page, re.MULTILINE).group(1).replace(",", ""))  # type: ignore[union-attr]
    assert cuts > 30_000
    states = powercut.ACTION_COUNT * len(powercut.FULL_PHASES)
    assert (
        f"\n{powercut.ACTION_COUNT} actions from {states} states of the device; 0 failures.\n"
        in page
    )
    assert "and 0 left anything wrong that looks right" in page


FORGOTTEN_ERASES = """
row = [row for row in cutrun.cutactions.ACTIONS if row[0] == "full flash: session appended"][0]
trial = cutrun.Trial(row, 0)
for op in range(len(trial.ops)):
    trial.forgotten(op, 1)
print(cutrun.json.dumps([sum(trial.cuts.values()), trial.failures]))
"""


def test_a_forgotten_erase_shows_no_block_of_another_session() -> None:
    """Flash that lost an erase may contain another session's blocks with valid check codes: only their numbers identify them."""
    ((cuts, failures),) = powercut.on_device(FORGOTTEN_ERASES, 120)
    assert cuts > 50 and not failures
