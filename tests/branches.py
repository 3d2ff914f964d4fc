"""Coverage of the host by room, branches included: `python -m tests.branches [--json] [TEST ...]`.

Runs the quick files and the slow ones that reach limits, profiles and sessions, or those named, on two workers in one run, and prints what ran and
for every room how many of its branches were taken: a lower bound for rooms that slow tests drive. Ends with 1 where limits, profiles or sessions
lie under 95 % of branches. What tests are worth is measured by mutants (`python -m tests.trust.host_mutation`), not by this.
"""

import argparse
import json
import os
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from tests.kinds import kinds_of

TOP = Path(__file__).parents[1]
LEAST = 95.0
MUST = ("limits", "wheels/profiles", "sessions")
SLOW = (  # what reaches more of the rooms in MUST within seconds
    "tests/unit/test_loss.py",
    "tests/unit/test_record_edges.py",
    "tests/unit/test_report.py",
    "tests/unit/test_targets.py",
    "tests/unit/test_verification.py",
    "tests/unit/test_wheel_loss.py",
)


def chosen() -> list[str]:
    """Return the files that run: those without a kind, and the slow ones of the rooms."""
    files = (path.relative_to(TOP).as_posix() for path in (TOP / "tests").rglob("test_*.py"))
    return sorted(file for file in files if file in SLOW or not kinds_of(file))


class Counting:
    """A plugin: how many tests of each file ended, in whichever worker."""

    def __init__(self) -> None:
        self.ran: Counter[str] = Counter()

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.ran[report.nodeid.partition("::")[0]] += report.when == "call"


def rooms_of(files: dict[str, Any]) -> dict[str, Counter[str]]:
    """Return lines and branches, counted and taken, of each room and of the modules that must be whole."""
    found: dict[str, Counter[str]] = {}
    for name, about in files.items():
        path = name.partition("host/rimward/")[2]
        total = about["summary"]
        row = Counter(
            lines=total["num_statements"],
            lines_run=total["covered_lines"],
            branches=total["num_branches"],
            taken=total["covered_branches"],
        )
        for room in {path.partition("/")[0], *(must for must in MUST if path.startswith(must))}:
            found.setdefault(room, Counter()).update(row)
    return found


def percent(part: int, whole: int) -> float:
    return 100.0 * part / whole if whole else 100.0


def short(rooms: dict[str, Counter[str]]) -> list[str]:
    """Return those that must be whole and are not, or were not measured."""
    return [
        room
        for room in MUST
        if room not in rooms or percent(rooms[room]["taken"], rooms[room]["branches"]) < LEAST
    ]


def main() -> int:
    parser = argparse.ArgumentParser(
        prog="python -m tests.branches", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("--json", action="store_true")
    parser.add_argument("tests", nargs="*", help="files or tests in place of the chosen ones")
    asked = parser.parse_args()
    counting = Counting()
    if sys.version_info >= (3, 14):
        os.environ.setdefault("COVERAGE_CORE", "sysmon")  # counts branches from that version on
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "coverage.json"
        os.environ["COVERAGE_FILE"] = str(Path(folder) / "coverage")
        measure = ["--cov=rimward", "--cov-branch", f"--cov-report=json:{report}"]
        words = ["-q", "-n", "2", "-p", "no:cacheprovider", *measure]
        stdout, sys.stdout = sys.stdout, sys.stderr
        try:
            failed = pytest.main([*words, *(asked.tests or chosen())], plugins=[counting])
        finally:
            sys.stdout = stdout
        rooms = rooms_of(json.loads(report.read_text())["files"])
    lacking = short(rooms)
    if asked.json:
        ok = not failed and not lacking
        print(json.dumps({"ok": ok, "rooms": rooms, "under": lacking, "ran": counting.ran}))
    else:
        for file, count in sorted(counting.ran.items()):
            print(f"ran {count} tests of {file}")
        for room, row in sorted(rooms.items()):
            print(
                f"{room}: {percent(row['taken'], row['branches']):.1f} % of {row['branches']} branches, {percent(row['lines_run'], row['lines']):.1f} % of {row['lines']} lines"
            )
        print(
            f"under {LEAST:.0f} % of branches: {', '.join(lacking) or 'none'} of {', '.join(MUST)}"
        )
    return 1 if failed or lacking else 0


if __name__ == "__main__":
    sys.exit(main())
