"""The guard's part of the trust report: proofs, comparison, sweep and mutants."""

import os
import random
from collections.abc import Callable
from typing import Any

from rimward_fw.kernels import guard

from tests.trust import guard_compare, guard_mutation, guard_prove, guard_steps, guard_sweep
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
        always = [
            "invariant-inductive",
            "outside-invariant-trips",
            "stops-below-ceiling",
            "air-runs-iff-allowed",
        ]
        chosen = always + rng.sample(
            [n for n in names if n not in always], QUICK_RULES - len(always)
        )
    defects = set(rng.sample(chosen, QUICK_DEFECTS)) if quick else set(chosen)
    found = guard_prove.prove_many(chosen, defects, _workers(quick))
    return {
        **summary(found),
        "rules": len(names),
        "asked": len(found),
        "defects_planted": len(defects),
        "longest_s": round(max(p.seconds for p in found), 1),
    }


def three_ticks(quick: bool) -> dict[str, Any]:
    """Rules over three ticks."""
    names = [rule.name for rule in guard_steps.STEP_RULES]
    found = guard_steps.prove_apart(names, names, _workers(quick))
    return {**summary(found), "rules": len(names)}


def summary(found: list[guard_prove.Proof]) -> dict[str, Any]:
    """Count proofs and defects. A rule on which z3 gave up is neither proved nor broken, and the check does not hold."""
    missed = [p.name for p in found if p.defect_found is False]
    gave_up = [p.name for p in found if p.holds is None]
    broken = [p.name for p in found if p.holds is False]
    return {
        "ok": bool(found) and not missed and not gave_up and not broken,
        "proved": sum(p.holds is True for p in found),
        "defects_found": sum(p.defect_found is True for p in found),
        "broken": broken,
        "gave_up": gave_up,
        "defects_missed": missed,
    }


def overflow(quick: bool) -> dict[str, Any]:
    looked_at, past = guard_prove.overflows()
    return {"ok": not past, "values": looked_at, "past_30_bits": past}


def boot(quick: bool) -> dict[str, Any]:
    """The state after a reset lies inside INV."""
    return {"ok": guard_prove.boot_inside()}


def executor(quick: bool) -> dict[str, Any]:
    """The executor against CPython, word for word."""
    ticks = 4_000 if quick else 100_000
    found = guard_compare.agree(
        guard_prove.transition(guard_prove.source_of_guard()), guard_compare.guided(guard, ticks)
    )
    ok = found.wrong == 0 and found.wrong_z3 == 0 and found.ticks == ticks
    return {
        "ok": ok, "ticks": found.ticks, "words_wrong": found.wrong + found.wrong_z3, "outputs": len(found.outputs),
        "causes": len([c for c in found.causes if c]), "comparisons": found.atoms, "comparisons_both_ways": found.atoms_both_ways,
    }  # fmt: skip


def sweep(quick: bool) -> dict[str, Any]:
    wrong = guard_sweep.failures(guard)
    return {
        "ok": not wrong,
        "cases": len(list(guard_sweep.cases())),
        "limits": len(guard_sweep.LIMITS),
        "wrong": wrong[:5],
    }


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


CHECKS: dict[str, Callable[[bool], dict[str, Any]]] = {
    "boot-inside-invariant": boot, "rules-proved": proofs, "three-ticks-proved": three_ticks, "no-value-past-30-bits": overflow,
    "executor-agrees": executor, "limits-swept": sweep, "mutants-killed": mutation,
}  # fmt: skip
ONLY_WHOLE = (
    "three-ticks-proved",
)  # a minute of proof; its claims follow from single steps that the quick run draws from


def prepare() -> None:
    """Shared work of several checks, done once before they run in parallel."""
    guard_prove.transition(guard_prove.source_of_guard())
    jury_table()
