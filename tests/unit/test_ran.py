"""A run of everything fails when a test that the hazard analysis names did not run, and the rig reports how each ended."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests import ran
from tests.rig import hardware

CONFTEST = """
import pathlib
from tests.ran import Ran
def pytest_configure(config):
    config.pluginmanager.register(Ran(lambda: {named!r}, pathlib.Path(__file__).parent))
"""
SUITE = """
import pytest
@pytest.mark.parametrize("n", [1, 2])
def test_one(n): assert n != {bad}
def test_two(): pass
"""


@pytest.fixture
def suite(tmp_path):
    """`run(named, *words, bad=0)`: a little suite of its own, run by pytest; gives (exit code, what it printed)."""

    def run(named, *words, bad=0):
        (tmp_path / "conftest.py").write_text(CONFTEST.format(named=named))
        (tmp_path / "test_a.py").write_text(SUITE.format(bad=bad))
        (tmp_path / "pytest.ini").write_text("[pytest]\n")
        command = [sys.executable, "-m", "pytest", "-q", "-p", "xdist", *words]
        done = subprocess.run(
            command, cwd=tmp_path, capture_output=True, text=True, timeout=120, env=_env()
        )
        return done.returncode, done.stdout

    return run


def _env():
    return {
        **os.environ,
        "PYTHONPATH": f"{ran.ROOT}{os.pathsep}{os.environ.get('PYTHONPATH', '')}",
        "PYTHONDONTWRITEBYTECODE": "1",
        "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1",  # they take longer to load than the suite to run
    }


@pytest.mark.parametrize("words", [(), ("-n", "2")])
def test_a_named_test_that_did_not_run_fails_a_run_of_everything(suite, words):
    assert suite(["test_a.py::test_one"], *words)[0] == 0
    code, text = suite(["test_a.py::test_one", "test_a.py::test_gone"], *words)
    assert code == 1 and "not passed: test_a.py::test_gone" in text and "test_one" not in text


def test_a_run_of_some_tests_asks_for_no_others(suite):
    for words in (("-k", "two"), ("-n", "2", "-k", "two"), ("test_a.py::test_two",)):
        assert suite(["test_a.py::test_one"], *words)[0] == 0


def test_one_failed_parameter_is_a_failed_test_and_a_changed_file_a_test_not_run(
    suite, tmp_path: Path
):
    named = ["test_a.py::test_one", "test_a.py::test_two"]
    assert ran.status(named, tmp_path) == dict.fromkeys(named, ran.NOT_RUN)
    assert suite(named, bad=2)[0] == 1
    assert ran.status(named, tmp_path) == {named[0]: ran.FAILED, named[1]: ran.PASSED}
    suite(named, "--collect-only", bad=3)
    assert ran.status(named, tmp_path) == dict.fromkeys(named, ran.CHANGED)


def test_the_rig_does_not_hold_with_a_failed_test_of_the_hazard_analysis(monkeypatch):
    monkeypatch.setattr(ran, "run_lacking", lambda tests: 0)
    monkeypatch.setattr(ran, "status", lambda tests: dict.fromkeys(tests, ran.PASSED))
    assert hardware.hazard_rows()[0]
    monkeypatch.setattr(ran, "status", lambda tests: dict.fromkeys(tests, ran.FAILED))
    ok, lines, _ = hardware.hazard_rows()
    assert not ok and any(line.startswith("failed: ") for line in lines)
    monkeypatch.setattr(ran, "status", lambda tests: dict.fromkeys(tests, ran.NOT_RUN))
    assert not hardware.hazard_rows()[0]


def test_what_did_not_run_is_run_once(suite, tmp_path: Path, monkeypatch):
    named = ["test_a.py::test_one", "test_a.py::test_two"]
    suite(named, "test_a.py::test_one")
    monkeypatch.setenv("PYTHONPATH", _env()["PYTHONPATH"])
    assert ran.run_lacking(named, tmp_path) == 1
    assert ran.status(named, tmp_path) == dict.fromkeys(named, ran.PASSED)
    assert ran.run_lacking(named, tmp_path) == 0
