"""The guard's part of the trust report: what was proved, compared, swept, mutated and counted."""

import os
import random
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from rimward_fw.kernels import guard

from tests.trust import guard_compare, guard_mutation, guard_prove, guard_steps, guard_sweep, guard_timing
from tests.trust.guard_judge import jury_table

WORKERS = max(os.cpu_count() or 2, 2)
QUICK_RULES = 8
QUICK_DEFECTS = 2
QUICK_MUTANTS = 20
SEED = 9


def _workers(quick: bool) -> int:
    """The quick checks run side by side already."""
    return 1 if quick else WORKERS


def proofs(quick: bool) -> dict[str, Any]:
    """Every rule, or a seeded part with the two that carry the rest (the invariant and what lies outside it)."""
    rng = random.Random(SEED)
    names = [rule.name for rule in guard_prove.ALL_RULES]
    chosen = names
    if quick:
        always = ["invariant-inductive", "outside-invariant-trips", "stops-below-ceiling", "air-runs-iff-allowed"]
        chosen = always + rng.sample([n for n in names if n not in always], QUICK_RULES - len(always))
    defects = set(rng.sample(chosen, QUICK_DEFECTS)) if quick else set(chosen)
    found = guard_prove.prove_many(chosen, defects, _workers(quick))
    missed = [p.name for p in found if p.defect_found is False]
    return {
        "ok": all(p.holds is True for p in found) and not missed, "rules": len(names), "asked": len(found),
        "proved": sum(p.holds is True for p in found), "defects_planted": len(defects), "defects_found": len(defects) - len(missed),
        "broken": [p.name for p in found if p.holds is not True] + missed, "longest_s": round(max(p.seconds for p in found), 1),
    }  # fmt: skip


def three_ticks(quick: bool) -> dict[str, Any]:
    """The same text three times in a row."""
    source = guard_prove.source_of_guard()
    held = [guard_steps.prove_steps(guard_prove.transition(source), rule).holds for rule in guard_steps.STEP_RULES]
    planted = [guard_steps.prove_steps(_planted(rule), rule).holds for rule in guard_steps.STEP_RULES]
    ok = all(h is True for h in held) and all(p is False for p in planted)
    return {"ok": ok, "rules": len(guard_steps.STEP_RULES), "proved": held.count(True), "defects_found": planted.count(False)}


def _planted(rule: guard_steps.StepRule) -> Any:
    return guard_prove.transition(guard_prove.plant(guard_prove.source_of_guard(), rule.planted))


def overflow(quick: bool) -> dict[str, Any]:
    looked_at, past = guard_prove.overflows()
    return {"ok": not past, "values": looked_at, "past_30_bits": past}


def boot(quick: bool) -> dict[str, Any]:
    """The state after a reset lies inside INV."""
    return {"ok": guard_prove.boot_inside()}


def executor(quick: bool) -> dict[str, Any]:
    """The executor against CPython, word for word."""
    ticks = 4_000 if quick else 100_000
    found = guard_compare.agree(guard_prove.transition(guard_prove.source_of_guard()), guard_compare.guided(guard, ticks))
    ok = found.wrong == 0 and found.wrong_z3 == 0 and found.ticks == ticks
    return {
        "ok": ok, "ticks": found.ticks, "words_wrong": found.wrong + found.wrong_z3, "outputs": len(found.outputs),
        "causes": len([c for c in found.causes if c]), "comparisons": found.atoms, "comparisons_both_ways": found.atoms_both_ways,
    }  # fmt: skip


def sweep(quick: bool) -> dict[str, Any]:
    wrong = guard_sweep.failures(guard)
    return {"ok": not wrong, "cases": len(list(guard_sweep.cases())), "limits": len(guard_sweep.LIMITS), "wrong": wrong[:5]}


def mutation(quick: bool) -> dict[str, Any]:
    """Every mutant, or a seeded part of them."""
    total = len(guard_mutation.sample(0))
    chosen = guard_mutation.sample(QUICK_MUTANTS if quick else 0)
    found = guard_mutation.assess(chosen, _workers(quick))
    if not quick and found.survivors:
        guard_mutation.learn(found, chosen)
    return {
        "ok": found.ok, "mutants": total, "judged": found.total, "killed": found.killed, "proved_equal": len(found.proved_equal),
        "survivors": found.survivors[:5], "unjudged": found.unjudged[:5],
    }  # fmt: skip


def timing(quick: bool) -> dict[str, Any]:
    found = guard_timing.measure(40 if quick else 4_000, 1 if quick else 3)
    return {"ok": found.ok, **asdict(found)}


CHECKS: dict[str, Callable[[bool], dict[str, Any]]] = {
    "boot-inside-invariant": boot, "rules-proved": proofs, "three-ticks-proved": three_ticks, "no-value-past-30-bits": overflow,
    "executor-agrees": executor, "limits-swept": sweep, "mutants-killed": mutation, "longest-tick": timing,
}  # fmt: skip
ONLY_WHOLE = ("three-ticks-proved",)  # a minute of proof; its claims follow from single steps that the quick run draws from


def prepare() -> None:
    """What several checks share, done once before they part."""
    guard_prove.transition(guard_prove.source_of_guard())
    jury_table()
