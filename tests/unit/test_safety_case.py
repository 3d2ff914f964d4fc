"""The safety case: what it is made of, and that stale, missing or failed evidence shows red wherever it is looked at."""

import json
import re
import shutil
import xml.etree.ElementTree as Tree

import pytest

from hardware import build, case_data, case_node, hazards, safety_case
from hardware.case_data import NODES
from hardware.case_node import GOAL, SOLUTION, Node
from tests.rig import case


@pytest.fixture
def tree(tmp_path, monkeypatch):
    """A copy of the files that the case rests on, with digests of its own."""
    for n in NODES:
        for name in [*safety_case.digests(n), *n.tests]:
            if name and (safety_case.ROOT / name).is_file():
                (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
                shutil.copy(safety_case.ROOT / name, tmp_path / name)
    (tmp_path / "hardware/out").mkdir()
    monkeypatch.setattr(safety_case, "ROOT", tmp_path)
    monkeypatch.setattr(safety_case, "KEPT", tmp_path / "evidence.json")
    for function in (
        safety_case.digests,
        safety_case.figure_holds,
        safety_case.state,
        safety_case.states,
        safety_case.reds,
    ):
        monkeypatch.setattr(function, "__defaults__", (tmp_path,))
    return tmp_path


def test_two_claims_each_supported_down_to_solutions():
    assert safety_case.faults_of_structure() == []
    assert [n.id for n in NODES if n.kind == GOAL and not n.under] == ["G1", "G2"]
    assert [n.id for n in NODES if n.undeveloped] == ["G2.8"]
    for n in NODES:
        assert n.kind != SOLUTION or (n.files and (n.tests or n.figure)), f"{n.id} rests on nothing"


@pytest.mark.parametrize(
    "node",
    [
        Node("X", GOAL, "loose"),
        Node("X", SOLUTION, "loose", "S1"),
        Node("G1", GOAL, "twice", "S1"),
        Node("X", GOAL, "unsupported", "S1"),
    ],
)
def test_a_wrong_structure_is_found(monkeypatch, node):
    monkeypatch.setattr(safety_case, "NODES", (*NODES, node))
    assert safety_case.faults_of_structure()


def test_every_solution_names_files_and_tests_of_this_tree():
    for n in NODES:
        if n.kind == SOLUTION:
            assert all(safety_case.digests(n).values()), n.id
            assert safety_case.missing_tests(n, safety_case.ROOT) == []


def test_refresh_makes_all_green_and_one_changed_byte_turns_it_red(tree):
    assert safety_case.refresh() == []
    guard = tree / "firmware/rimward_fw/kernels/guard.py"
    guard.write_text(guard.read_text() + "\n")
    red = safety_case.reds()
    resting = [
        n.id
        for n in NODES
        if "firmware/rimward_fw/kernels/guard*.py" in n.files
        or "firmware/rimward_fw/kernels/*.py" in n.files
    ]
    assert [line.split()[0] for line in red] == resting and all("guard.py" in line for line in red)
    assert "G1" in safety_case.red_ids() and "G1.4" not in safety_case.red_ids()
    assert f"{resting[0]} RED" in safety_case.html() and "**RED**" in safety_case.markdown()
    ok, lines, figures = case.report()
    assert (
        not ok and not figures[resting[0]]["ok"] and any(line.startswith("RED") for line in lines)
    )


def test_a_deleted_file_a_missing_test_and_a_new_file_turn_it_red(tree):
    safety_case.refresh()
    (tree / "tests/unit/test_hardware_gate.py").unlink()
    (tree / "host/rimward/device/install/more.py").write_text("")
    red = "\n".join(safety_case.reds())
    assert (
        "missing: tests/unit/test_hardware_gate.py" in red
        and "no such test: tests/unit/test_hardware_gate.py" in red
    )
    assert "changed since: host/rimward/device/install/more.py" in red


def test_a_figure_that_does_not_hold_stays_red_after_a_refresh(tree):
    path = tree / case_node.TRUST
    kept = json.loads(path.read_text())
    kept["guard"]["checks"]["rules-proved"]["ok"] = False
    path.write_text(json.dumps(kept))
    assert [line.split()[0] for line in safety_case.refresh()] == ["E1.2a"]


def test_evidence_that_was_never_bound_is_red(tree):
    assert len(safety_case.reds()) == len(safety_case.states())


def test_the_build_says_what_is_red_and_ends_with_1(monkeypatch, capsys, tmp_path):
    monkeypatch.setattr(build, "products", lambda: {})
    monkeypatch.setattr(build, "OUT", tmp_path)
    monkeypatch.setattr(build.sys, "argv", ["build"])
    monkeypatch.setattr(safety_case, "write_pages", lambda: None)
    monkeypatch.setattr(safety_case, "reds", lambda: ["E9 something: changed since: x"])
    assert build.main() == 1 and "RED: E9 something: changed since: x" in capsys.readouterr().out
    monkeypatch.setattr(build.sys, "argv", ["build", "--check"])
    assert build.main() == 1 and "RED: E9" in capsys.readouterr().out
    monkeypatch.setattr(safety_case, "reds", lambda: [])
    assert build.main() == 0


def test_the_page_says_what_it_is_and_what_is_not_argued():
    page, outline = safety_case.html(), safety_case.markdown()
    for text in (page, outline):
        assert (
            "not been assessed or certified by anyone" in text
            and "no performance level" in text
            and "nothing has been built" in text
        )
        assert all(t in text.replace("&#x27;", "'") for t in case_data.NOT_ARGUED)
    drawings = re.findall(r"<svg.*?</svg>", page)
    assert len(drawings) == len(safety_case.pages())
    for drawing in drawings:
        Tree.fromstring(drawing)
    assert all(n.id in page for n in NODES)
    assert hazards.ROOT == safety_case.ROOT
