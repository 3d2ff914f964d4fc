"""Coverage of the host by room, branches included: `python -m tests.branches [--json] [TEST ...]`.

Runs the tests that need neither browser, proof nor database (about ten minutes on one core), or those named, and prints for every room how many of
its branches were taken. Ends with 1 where limits, profiles or sessions lie under 95 % of branches. What tests are worth is measured by mutants
(`python -m tests.trust.host_mutation`), not by this.
"""

import argparse
import json
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

TOP = Path(__file__).parents[1]
LEAST = 95.0
MUST = ("limits", "wheels/profiles", "sessions")
CHOSEN = "not slow or interpreter or long or process or compiled"


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
    parser.add_argument(
        "tests",
        nargs="*",
        default=["tests/unit", "tests/outside", "tests/faults", "tests/sessions"],
    )
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "coverage.json"
        words = [
            "-q",
            "--cov=rimward",
            "--cov-branch",
            f"--cov-report=json:{report}",
            "-p",
            "no:cacheprovider",
            "-m",
            CHOSEN,
        ]
        stdout, sys.stdout = sys.stdout, sys.stderr
        try:
            failed = pytest.main([*words, *asked.tests])
        finally:
            sys.stdout = stdout
        rooms = rooms_of(json.loads(report.read_text())["files"])
    lacking = short(rooms)
    if asked.json:
        print(json.dumps({"ok": not failed and not lacking, "rooms": rooms, "under": lacking}))
    else:
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
