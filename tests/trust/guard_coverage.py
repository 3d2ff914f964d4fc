"""Lines and branches of the guard that a run reaches, measured by coverage.py on a fresh copy of the guard's own file."""

import types
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import coverage

from tests.trust.guard_model import GUARD_PATH


@dataclass(frozen=True)
class Reached:
    """`missing_lines` and `missing_branches` (from, to) are empty when everything was run."""

    lines: int
    branches: int
    missing_lines: list[int]
    missing_branches: list[tuple[int, int]]


def measure(run: Callable[[Any], None]) -> Reached:
    """Runs `run(guard)` on a copy of the guard and gives what was reached."""
    measured = coverage.Coverage(branch=True, data_file=None, include=[str(GUARD_PATH)], config_file=False)
    measured.start()
    try:
        copy = types.ModuleType("guard_measured")
        exec(compile(GUARD_PATH.read_text(), str(GUARD_PATH), "exec"), copy.__dict__)  # noqa: S102
        run(copy)
    finally:
        measured.stop()
    found = measured._analyze(str(GUARD_PATH))
    missing = [(start, end) for start, ends in found.missing_branch_arcs().items() for end in ends]
    return Reached(found.numbers.n_statements, found.numbers.n_branches, sorted(found.missing), sorted(missing))
