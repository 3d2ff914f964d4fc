"""Prove every rule about the present guard, and show for each that a planted defect breaks it."""

import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache
from multiprocessing import get_context
from typing import Any

import z3
from rimward.kernels.assemble import assemble
from rimward_fw.kernels import guard

from tests.trust.guard_conditions import Rule
from tests.trust.guard_fault_rules import FAULT_RULES
from tests.trust.guard_latch_rules import LATCH_RULES
from tests.trust.guard_model import ALL_STATE, GUARD, Transition, invariant, small_words, transition
from tests.trust.guard_rules import RULES
from tests.trust.guard_tyre_rules import TYRE_RULES
from tests.trust.terms import both

ALL_RULES = RULES + FAULT_RULES + LATCH_RULES + TYRE_RULES
EFFORT = 400_000_000  # z3's own count of work, about 200 s here; most rules take 1,000,000. Time would depend on the machine's load


@dataclass(frozen=True)
class Verdict:
    """`holds` None: z3 gave up. `witness` is a step that breaks the claim, as {word: value}."""

    holds: bool | None
    seconds: float
    witness: dict[str, int] | None = None


@cache
def source_of_guard() -> str:
    """Return the guard as it runs on the chip: one function, its parts written out."""
    return assemble(GUARD)


def plant(source: str, planted: tuple[str, str]) -> str:
    """The source with one piece replaced. ValueError unless the piece occurs exactly once."""
    old, new = planted
    if source.count(old) != 1:
        raise ValueError(f"{old!r} stands {source.count(old)} times in the guard, not once")
    return source.replace(old, new)


def prove(t: Transition, rule: Rule, effort: int = EFFORT) -> Verdict:
    """Look for one step that breaks the rule; none exists if it holds. Two forms of the query are tried.

    Return by return with the guard's terms put in is quick where sums must be seen to be the same sums; the whole with the
    new state as free words, tied by equations, is quick where they need not.
    """
    start = time.perf_counter()
    domain = both(z3.BoolVal(True) if rule.anywhere else invariant(t.g), t.facts)
    broken = z3.Not(rule.claim(t))
    for limit in (effort // 16, effort):
        verdict = _by_returns(t, domain, broken, start, limit)
        if verdict.holds is None:
            verdict = check(both(domain, t.link, broken), start, limit)
        if verdict.holds is not None:
            return verdict
    return verdict


def _by_returns(t: Transition, domain: Any, broken: Any, start: float, effort: int) -> Verdict:
    verdict = Verdict(None, 0.0)
    for path, out, state in reversed(t.summary.returns):
        here = z3.substitute(broken, (t.o, out), *zip(t.h.values, state))
        verdict = check(z3.simplify(both(domain, path, here)), start, effort)
        if verdict.holds is not True:
            return verdict
    return verdict


def check(broken: Any, start: float, effort: int) -> Verdict:
    solver = z3.SolverFor("QF_UFBV")
    solver.set("rlimit", effort)
    solver.add(broken)
    answer = solver.check()
    seconds = time.perf_counter() - start
    if answer == z3.sat:
        model = solver.model()
        words = {d.name(): model[d].as_signed_long() for d in model.decls() if d.arity() == 0}
        return Verdict(False, seconds, words)
    return Verdict(True if answer == z3.unsat else None, seconds)


@dataclass(frozen=True)
class Proof:
    """One rule: held for every step; and its planted defect was found, None where it was not tried."""

    name: str
    promise: str
    holds: bool | None
    seconds: float
    defect_found: bool | None = None


def prove_named(name: str, with_defect: bool) -> Proof:
    """One rule by name, also in a separate process; the guard is read once in each."""
    source = source_of_guard()
    rule = next(r for r in ALL_RULES if r.name == name)
    verdict = prove(transition(source), rule)
    found = (
        prove(transition(plant(source, rule.planted)), rule).holds is False if with_defect else None
    )
    return Proof(name, rule.promise, verdict.holds, verdict.seconds, found)


def prove_many(names: list[str], defects: set[str], workers: int) -> list[Proof]:
    """Many rules, some with their planted defects, over several processes."""
    transition(source_of_guard())
    with ProcessPoolExecutor(workers, mp_context=get_context("fork")) as pool:
        return list(pool.map(prove_named, names, [name in defects for name in names]))


def overflows(effort: int = EFFORT) -> tuple[int, list[str]]:
    """(number of intermediate values looked at, those that could pass 30 bits), for every content of memory and inputs."""
    t = transition(source_of_guard())
    solver = z3.SolverFor("QF_UFBV")
    solver.set("rlimit", effort)
    solver.add(small_words(t.g.values + t.x.values), t.facts)
    owed = t.summary.obligations
    if solver.check(z3.Or(*[both(o.path, z3.Not(o.claim)) for o in owed])) == z3.unsat:
        return len(owed), []
    return len(owed), [
        f"line {o.line}: {o.text}"
        for o in owed
        if solver.check(both(o.path, z3.Not(o.claim))) != z3.unsat
    ]


def boot_inside() -> bool:
    """The guard's own `boot` leaves a state inside INV, whatever memory held before."""
    g = [-1] * ALL_STATE
    guard.boot(g)
    t = transition(source_of_guard())
    return z3.is_true(
        z3.simplify(
            z3.substitute(
                invariant(t.g), *[(w, z3.BitVecVal(v, 32)) for w, v in zip(t.g.values, g)]
            )
        )
    )
