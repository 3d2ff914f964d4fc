"""The guard's own text, proved: every rule holds for every state inside INV and every input, and a planted defect breaks it."""

import json
import random

import pytest
import z3
from rimward.kernels.assemble import assemble
from rimward_fw.kernels import guard

from tests.trust import guard_compare, guard_kept, guard_part
from tests.trust.executor import Executor
from tests.trust.guard_equal import distinguish, equal
from tests.trust.guard_model import GUARD, RELAY, TESTING, transition
from tests.trust.guard_prove import (
    ALL_RULES,
    Proof,
    boot_inside,
    overflows,
    plant,
    prove_many,
    source_of_guard,
)
from tests.trust.guard_steps import STEP_RULES, prove_apart, prove_named
from tests.trust.program import UnknownSyntax
from tests.trust.terms import words

DEFECTS = 6
NAMES = [rule.name for rule in ALL_RULES]


def test_boot_lies_inside_the_invariant():
    assert boot_inside()


def test_every_rule_holds_and_planted_defects_break_theirs():
    """Every rule that is not kept as proved of these sources, and a drawn part of those that are; defects in some of them."""
    assert len(set(NAMES)) == len(NAMES) > 50
    due = guard_kept.due(guard_kept.ORDINARY, NAMES, source_of_guard())
    assert len(due) >= guard_kept.DRAWN > DEFECTS
    defects = set(random.Random(4).sample(due, DEFECTS))
    found = prove_many(due, defects, 2)
    assert [p.name for p in found if p.holds is not True] == []
    assert {p.name for p in found if p.defect_found is not None} == defects
    assert all(p.defect_found for p in found if p.name in defects)


def test_a_changed_guard_or_rule_is_proved_whole(monkeypatch, tmp_path):
    """A kept proof counts only for the sources it is of; a comment makes no other source, a limit does."""
    text = source_of_guard()
    kept = {
        "ordinary": {name: {"of": guard_kept.digest(text), "seconds": 1.0} for name in NAMES[1:]}
    }
    monkeypatch.setattr(guard_kept, "KEPT", tmp_path / "kept.json")
    assert guard_kept.due("ordinary", NAMES, text) == NAMES
    guard_kept.KEPT.write_text(json.dumps(kept))
    assert (
        guard_kept.due("ordinary", NAMES, text, drawn=0) == NAMES[:1]
        and len(guard_kept.due("ordinary", NAMES, text)) == 1 + guard_kept.DRAWN
    )
    assert guard_kept.due("ordinary", NAMES, "# said\n" + text, drawn=0) == NAMES[:1]
    assert (
        guard_kept.due(
            "ordinary", NAMES, plant(text, ("_REST_TICKS = const(15)", "_REST_TICKS = const(14)"))
        )
        == NAMES
    )
    assert guard_kept.due("bench", NAMES, text) == NAMES


@pytest.mark.parametrize("name", guard_kept.DECIDING)
def test_a_changed_rule_is_another_source(name, monkeypatch, tmp_path):
    before = guard_kept.digest.__wrapped__("x = 1")
    for other in guard_kept.DECIDING:
        text = (guard_kept.HERE / f"{other}.py").read_text()
        (tmp_path / f"{other}.py").write_text(
            text + ("\nMORE = 1\n" if other == name else "\n# more\n")
        )
    monkeypatch.setattr(guard_kept, "HERE", tmp_path)
    assert guard_kept.digest.__wrapped__("x = 1") != before


def test_another_planted_defect_decides_no_proof_but_another_claim_does():
    text = 'RULES = [Rule("a", "G1", claim, ("x", "y"), anywhere=True), Other(1, 2, 3, 4)]'
    bare = guard_kept.without_planted
    assert (
        bare(text)
        == bare(text.replace('"y"', '"z"'))
        == text.replace(', ("x", "y")', "").replace('"', "'")
    )
    assert bare(text) != bare(text.replace("claim", "other")) != bare(text.replace("4", "5"))


def test_every_promise_has_its_rules():
    assert {rule.promise for rule in ALL_RULES} == {
        "G1",
        "G2",
        "G3",
        "G4",
        "G5",
        "G6",
        "G7",
        "G9",
        "G10",
        "INV",
    }


def test_every_planted_defect_can_be_planted():
    for rule in [*ALL_RULES, *STEP_RULES]:
        assert plant(source_of_guard(), rule.planted) != source_of_guard()


def test_a_defect_that_is_not_there_once_is_refused():
    with pytest.raises(ValueError, match="not once"):
        plant(source_of_guard(), ("g[_CAUSE]", "0"))


def test_three_ticks_in_a_row():
    """Two of the rules, each in a fresh process; all of them in `python -m tests.trust`."""
    names = [rule.name for rule in STEP_RULES[4:6]]
    found = prove_apart(names, names[:1], 2)
    assert [(p.name, p.holds, p.defect_found) for p in found] == [
        (names[0], True, True),
        (names[1], True, None),
    ]


def test_a_proof_that_gives_up_is_no_fact():
    """With next to no effort z3 gives up: neither proved nor broken, and the check does not hold."""
    summary = guard_part.summary([prove_named(STEP_RULES[4].name, False, effort=30)])
    assert not summary["ok"] and summary["proved"] == 0
    assert summary["gave_up"] == [STEP_RULES[4].name] and summary["broken"] == []
    assert not guard_part.summary([Proof("r", "G1", False, 0.0)])["ok"]
    assert not guard_part.summary([Proof("r", "G1", True, 0.0, False)])["ok"]
    assert not guard_part.summary([])["ok"]
    assert guard_part.summary([Proof("r", "G1", True, 0.0, True)])["ok"]


def test_no_value_passes_30_bits():
    looked_at, past = overflows()
    assert past == [] and looked_at > 80


def test_the_executor_gives_what_cpython_gives():
    found = guard_compare.agree(
        transition(source_of_guard()), guard_compare.guided(guard, 10_000, seed=2)
    )
    assert found.wrong == found.wrong_z3 == 0 and found.ticks == 10_000
    assert found.outputs.get(TESTING | RELAY, 0) > 100 and len(found.causes) > 4


def test_the_comparison_of_the_executor_can_fail():
    """Ticks of a guard with another limit do not fit the terms that were read from this one."""
    changed = source_of_guard().replace("_REST_TICKS = const(15)", "_REST_TICKS = const(14)")
    found = guard_compare.agree(transition(changed), guard_compare.guided(guard, 2_500, seed=2))
    assert found.wrong > 0


def test_the_proof_reads_the_file_that_runs():
    assert guard.__name__ == GUARD and source_of_guard() == assemble(GUARD)


@pytest.mark.parametrize(
    "body",
    [
        "while x[0] > 0:\n        g[0] = 1\n    return 0", "for i in (1, 2):\n        g[0] = i\n    return 0", "g[x[0]] = 1\n    return 0", "return x[0] // 2",
        "return x[0] << x[1]", "g[0] += 1\n    return 0", "return len(g)", "if x[0]:\n        return 1\n    return 0", "y = x[0] > 1\n    return y",
        "return 1.5", "x[0] = 1\n    return 0", "g[0] = 1", "return 0\n    g[0] = 1", "if x[0] > 0:\n        y = 1\n    return y", "return -x[0] ** 2",
        "return g[99]", "a = b = x[0]\n    return a", "return x[0] * -3", "return 1 << 40",
    ],
)  # fmt: skip
def test_unknown_syntax_is_never_read(body):
    with pytest.raises((UnknownSyntax, TypeError)):
        Executor(f"def step(g, x):\n    {body}\n", "step").run(words("g", 4), words("x", 4))


def test_a_value_past_30_bits_is_seen():
    read = Executor("def step(g, x):\n    return x[0] + x[1]\n", "step").run(
        words("g", 1), words("x", 2)
    )
    solver = z3.Solver()
    solver.add(z3.Not(read.obligations[0].claim))
    assert solver.check() == z3.sat


def test_short_circuit_limits_what_is_owed():
    """A sum behind a width check owes nothing for words that the check refuses."""
    text = (
        "def step(g, x):\n    if x[0] >> 4 != 0 or x[0] + 1 > 9:\n        return 1\n    return 0\n"
    )
    read = Executor(text, "step").run(words("g", 1), words("x", 1))
    solver = z3.Solver()
    solver.add(z3.Or(*[z3.And(o.path, z3.Not(o.claim)) for o in read.obligations]))
    assert len(read.obligations) == 1 and solver.check() == z3.unsat


def test_equality_is_proved_and_difference_shown():
    text = source_of_guard()
    assert equal(text, text.replace("if g[_REST] > 0:", "if g[_REST] >= 1:")).holds is True
    changed = text.replace("_OVER_TICKS = const(50)", "_OVER_TICKS = const(51)")
    assert equal(text, changed).holds is False
    told = distinguish(text, changed)
    assert told is not None and len(told[0]) == 49 and len(told[1]) == 24
