"""Which tests of the hazard analysis have run, and how they ended. In a run of everything a named test that did not pass fails the run.

The outcomes are kept in pytest's own cache with the digest of each test's file, so that `python -m tests.rig` can show them.
"""

import hashlib
import json
import subprocess
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[1]
KEY = "rimward/ran"
LEAVES_OUT = (
    "keyword",
    "markexpr",
    "lf",
    "deselect",
    "ignore",
    "ignore_glob",
    "collectonly",
)  # options of a run of some tests only
PASSED, FAILED, CHANGED, NOT_RUN = (
    "passed",
    "failed",
    "not run since its file changed",
    "not run here",
)


def digest(test_id: str, root: Path = ROOT) -> str:
    """Digest of a test's file; empty if there is none."""
    file = root / test_id.partition("::")[0]
    return hashlib.sha256(file.read_bytes()).hexdigest()[:16] if file.is_file() else ""


class Ran:
    """A plugin. `named`: ids of the tests that a run of everything must have passed."""

    def __init__(self, named: Callable[[], Iterable[str]], root: Path = ROOT) -> None:
        self.named, self.root = named, root
        self.outcomes: dict[str, str] = {}
        self.failed = False

    def pytest_runtest_logreport(self, report: Any) -> None:
        """One phase of one test. All its parameters count as one, and one that failed or was skipped is enough."""
        test = report.nodeid.split("[")[0]
        if report.outcome != PASSED:
            self.outcomes[test] = FAILED
        elif report.when == "call":
            self.outcomes.setdefault(test, PASSED)

    def lacking(self) -> list[str]:
        """Named tests that did not pass."""
        return sorted(
            {test for test in self.named() if self.outcomes.get(test.split("[")[0]) != PASSED}
        )

    def pytest_sessionfinish(self, session: pytest.Session) -> None:
        config = session.config
        if hasattr(config, "workerinput"):  # the controller hears of everything
            return
        named = set(self.named())
        if hasattr(config, "cache") and self.outcomes:
            kept = config.cache.get(KEY, {})
            kept.update(
                {
                    test: [how, digest(test, self.root)]
                    for test, how in self.outcomes.items()
                    if test in named
                }
            )
            config.cache.set(KEY, kept)
        some = config.args_source is config.ArgsSource.ARGS or any(
            getattr(config.option, option, None) for option in LEAVES_OUT
        )
        if not some and session.exitstatus == pytest.ExitCode.OK and self.lacking():
            self.failed = True
            session.exitstatus = pytest.ExitCode.TESTS_FAILED

    def pytest_terminal_summary(self, terminalreporter: Any) -> None:
        for test in self.lacking() if self.failed else ():
            terminalreporter.write_line(f"named in the hazard analysis and not passed: {test}")


def run_lacking(tests: Iterable[str], root: Path = ROOT) -> int:
    """Run, in one pytest process, the tests without a known outcome for the present file; return their number."""
    lacking = sorted(test for test, how in status(tests, root).items() if how in (NOT_RUN, CHANGED))
    if lacking:
        print(
            f"running {len(lacking)} tests that the hazard analysis names and that did not run in this tree yet",
            file=sys.stderr,
        )
        subprocess.run(
            [sys.executable, "-m", "pytest", "-q", "--no-header", "-p", "no:randomly", *lacking],
            cwd=root,
            stdout=subprocess.DEVNULL,
            check=False,
        )
    return len(lacking)


def status(tests: Iterable[str], root: Path = ROOT) -> dict[str, str]:
    """How each of these tests ended when it last ran in this tree."""
    file = root / ".pytest_cache" / "v" / KEY
    kept = json.loads(file.read_text()) if file.is_file() else {}
    found = {}
    for test in tests:
        how, then = kept.get(test.split("[")[0], (NOT_RUN, ""))
        found[test] = how if how == NOT_RUN or then == digest(test, root) else CHANGED
    return found
