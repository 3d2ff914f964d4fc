"""What an install makes of the present sources, made once in a run of the tests: workers and the programs that they start share a folder."""

import fcntl
import os
import pickle
import shutil
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

import pytest

FOLDER = "RIMWARD_TESTS_MADE"  # of one run: nothing outlives the sources that it was made of
Made = TypeVar("Made")


def once(name: str, make: Callable[[], Made]) -> Made:
    """Return what `make` gives, from the run's folder if it was made before; outside a run of tests it is made each time."""
    folder = os.environ.get(FOLDER)
    if folder is None:
        return make()
    path = Path(folder) / name
    path.parent.mkdir(exist_ok=True)  # who cleans up meanwhile costs a run its time, not its result
    with path.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # who comes second waits for what the first makes
        if not path.exists():
            path.with_suffix(".part").write_bytes(pickle.dumps(make()))
            path.with_suffix(".part").rename(path)
    found: Made = pickle.loads(path.read_bytes())
    return found


@cache
def items(bench: bool = False) -> tuple[Any, ...]:
    """Every file of a compiled install, or of a proof bench's."""
    from rimward.device.install import plan

    return once(
        f"items-{bench}",
        lambda: tuple(plan.bench_items(True) if bench else plan.compiled_items(*ready())),
    )


@cache
def ready(frozen: bool = False) -> tuple[dict[str, str], dict[str, bytes]]:
    """Texts for the compiler and the files beside them, by path on the board."""
    from rimward.device.install import plan

    return once(f"ready-{frozen}", lambda: plan.made_ready(None, None, frozen))


class Folder:
    """A plugin: the folder of a run, made by the process that began it."""

    def __init__(self) -> None:
        self.own = ""

    def pytest_configure(self, config: pytest.Config) -> None:
        if FOLDER not in os.environ:
            self.own = os.environ[FOLDER] = tempfile.mkdtemp(prefix="rimward-made-")

    def pytest_unconfigure(self, config: pytest.Config) -> None:
        if self.own:
            shutil.rmtree(self.own, ignore_errors=True)
            del os.environ[FOLDER]
            self.own = ""
