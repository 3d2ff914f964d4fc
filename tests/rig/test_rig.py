"""The rig report: fails closed; JSON and text agree."""

import json
import subprocess
import sys

import pytest

from tests.rig import SECTIONS, hardware, run, sizes

ELSEWHERE = (
    "tests.rig.hardware:rule_checks",
    "tests.rig.hardware:hazard_rows",
    "tests.rig.sizes:report",
    "tests.rig.heap:report",
    "tests.rig.screens:report",
    "tests.rig.circuit:shorts_and_opens",  # some three minutes of ngspice
    "tests.rig.loop:report",  # its proofs and runs are the tests of test_closed_loop.py
)
OWN = [s for s in SECTIONS if s[1] not in ELSEWHERE]


@pytest.mark.parametrize("title,where", OWN, ids=[s[1].split(":")[1] for s in OWN])
def test_section_holds(title, where):
    result = run(title, where)
    assert result["ok"], result["lines"]
    json.dumps(result)


NAMED = (
    "polarity",
    "shorts and opens",
    "thermal",
    "common cause",
    "closed loop",
    "safety case",
    "footprints",
)


def test_sections_have_their_titles_once():
    titles = [title for title, _ in SECTIONS]
    assert all(titles.count(name) == 1 for name in NAMED) and len(set(titles)) == len(titles)


def test_a_missing_section_or_an_exception_does_not_hold():
    assert not run("no such module", "tests.rig.nothing:report")["ok"]
    assert not run("no such function", "tests.rig.hardware:nothing")["ok"]


def test_a_moved_limit_is_found(monkeypatch):
    monkeypatch.setattr(hardware, "LOW_BAND_TOP_PA", 530_000)
    assert not hardware.comparator_band()[0]


def test_a_missing_test_or_row_is_found(monkeypatch):
    monkeypatch.setattr(hardware.ran, "run_lacking", lambda tests: 0)
    monkeypatch.setattr(hardware.hazards, "missing_promises", lambda: ["G9"])
    assert not hardware.hazard_rows()[0]


def test_wrong_usage():
    done = subprocess.run(
        [sys.executable, "-m", "tests.rig", "--nothing"], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 2 and "--nothing" in done.stderr


def test_sizes_count_every_module_once_and_no_simulated_one():
    names = [str(p) for p in sizes.modules()]
    assert len(names) == len(set(names)) and not [n for n in names if "simulated" in n]
    ok, _, figures = sizes.report()
    assert ok and figures["mpy"] == sum(m["mpy"] for m in figures["modules"].values())
