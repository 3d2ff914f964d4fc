"""Lines and branches of the guard that a run reaches, measured by coverage.py on a fresh copy of the assembled guard."""

import tempfile
import types
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import coverage

from tests.trust.guard_prove import source_of_guard


@dataclass(frozen=True)
class Reached:
    """`missing_lines` and `missing_branches` (from, to) are empty when everything was run."""

    lines: int
    branches: int
    missing_lines: list[int]
    missing_branches: list[tuple[int, int]]


def measure(run: Callable[[Any], None]) -> Reached:
    """Run `run(guard)` on a copy of the guard and return what was reached."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "guard_measured.py"
        path.write_text(source_of_guard())
        return _measured(path, run)


def _measured(path: Path, run: Callable[[Any], None]) -> Reached:
    measured = coverage.Coverage(
        branch=True, data_file=None, include=[str(path)], config_file=False
    )
    measured.start()
    try:
        copy = types.ModuleType("guard_measured")
        exec(compile(path.read_text(), str(path), "exec"), copy.__dict__)  # noqa: S102
        run(copy)
    finally:
        measured.stop()
    found = measured._analyze(str(path))
    missing = [(start, end) for start, ends in found.missing_branch_arcs().items() for end in ends]
    return Reached(
        found.numbers.n_statements, found.numbers.n_branches, sorted(found.missing), sorted(missing)
    )
