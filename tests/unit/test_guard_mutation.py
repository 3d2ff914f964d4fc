"""Small defects in the guard are seen; the run closes when one goes unjudged. The whole set: `python -m tests.trust.guard_mutation`."""

import ast
import json
import os
import signal

import pytest
from rimward_fw.kernels import guard

from tests.trust import guard_mutation
from tests.trust.guard_judge import judge, load
from tests.trust.guard_mutants import Mutant, mutants
from tests.trust.guard_prove import source_of_guard

FAST_SET = 48


def test_fast_set_is_killed_or_proved_equal():
    outcome = guard_mutation.assess(guard_mutation.sample(FAST_SET))
    assert outcome.survivors == [] and outcome.unjudged == []
    assert outcome.ok and outcome.total == FAST_SET


def test_the_guard_itself_is_not_killed():
    assert judge(guard).killed == ""


def test_mutants_are_many_and_each_is_another_guard():
    every = mutants(source_of_guard())
    kinds = " ".join(m.key.split(" | ")[1] for m in every)
    assert len(every) > 1_500 and len({m.key for m in every}) == len(every)
    for kind in (
        "comparison",
        "constant",
        "arithmetic",
        "junction",
        "operand removed",
        "negation removed",
        "statement removed",
        "body never",
    ):
        assert kind in kinds
    original = ast.unparse(ast.parse(source_of_guard()))
    for mutant in every[:: len(every) // 60]:
        assert mutant.source() != original, mutant.key


def test_every_proof_of_equality_names_a_mutant():
    keys = {m.key for m in mutants(source_of_guard())}
    assert set(guard_mutation.known_equal()) <= keys


def _bad_mutant(change) -> Mutant:
    tree = ast.parse(source_of_guard())
    tree.number = 0  # type: ignore[attr-defined]
    return Mutant("bad", 1, 0, change, tree)


def test_a_crash_of_the_judging_process_fails_the_run():
    outcome = guard_mutation.assess(
        [_bad_mutant(lambda tree: os.kill(os.getpid(), signal.SIGKILL))], 1
    )
    assert outcome.unjudged == ["bad"] and not outcome.ok


def test_a_defect_of_the_judge_is_no_kill():
    outcome = guard_mutation.assess([_bad_mutant(lambda tree: 1 // 0)], 1)
    assert outcome.unjudged == ["bad"] and not outcome.ok


def test_a_hang_fails_the_run(monkeypatch):
    hung = _bad_mutant(lambda tree: ast.parse("while True: pass"))
    assert guard_mutation.run_each([hung], 1, limit_s=1.0) == {"bad": None}


def test_a_survivor_without_proof_fails_the_run():
    same = _bad_mutant(lambda tree: tree)
    outcome = guard_mutation.assess([same], 1)
    assert outcome.survivors == ["bad"] and not outcome.ok


def test_a_false_proof_of_equality_does_not_help(monkeypatch, tmp_path):
    """A survivor's entry is not trusted: the proof is repeated. Here no judge runs on the mutant."""
    changed = next(
        m for m in mutants(source_of_guard()) if m.key.startswith("_OVER_TICKS = const(50)")
    )
    path = tmp_path / "equal.json"
    path.write_text(json.dumps({changed.key: "said so"}))
    monkeypatch.setattr(guard_mutation, "EQUIVALENT", path)
    monkeypatch.setattr(
        guard_mutation, "run_each", lambda chosen, workers: {m.key: ("", "") for m in chosen}
    )
    assert guard_mutation.assess([changed]).survivors == [changed.key]


def test_no_mutants_is_no_success():
    assert not guard_mutation.Outcome().ok


def test_a_wrong_guard_breaks_a_rule():
    text = source_of_guard().replace("x[_CEIL_PA] < g[_CEIL]:", "x[_CEIL_PA] > g[_CEIL]:")
    finding = judge(load(ast.parse(text)))
    assert finding.killed == "rule"


@pytest.mark.parametrize("module", ["guard_witnesses.json", "guard_equivalent.json"])
def test_kept_files_are_read(module):
    assert json.loads((guard_mutation.EQUIVALENT.parent / module).read_text())
