"""Claims over three ticks in a row, unrolled: the guard's text is substituted three times, with free inputs.

Each rule is proved in a process of its own: how much work z3 needs depends on the terms that it has met before. In a process that had
proved other things it gave up on one rule after minutes; in a fresh one each takes seconds.
"""

import time
from collections.abc import Callable, Collection, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any

import z3

from tests.trust.guard_conditions import bad_key, bad_supply, outside_range
from tests.trust.guard_fault_rules import WINDOWS
from tests.trust.guard_model import (
    CLEAR,
    LATCHED,
    RUN,
    Transition,
    bit,
    chained,
    idle_output,
    inputs_in_range,
    invariant,
    source_on,
    transition,
)
from tests.trust.guard_prove import EFFORT, Proof, Verdict, plant, source_of_guard
from tests.trust.terms import both, either, implies

STEPS = 3
SEEDS = (0, 1, 2)  # of z3; each gets its share of the effort


@dataclass(frozen=True)
class Unrolled:
    """States s0..s3, inputs and outputs of the three ticks."""

    states: list[Any]
    inputs: list[Any]
    outs: list[Any]
    ties: Any


@dataclass(frozen=True)
class StepRule:
    name: str
    promise: str
    claim: Callable[[Unrolled], Any]
    planted: tuple[str, str]


def latch_lasts(u: Unrolled) -> Any:
    """A latch outlasts three ticks of anything but a clear with the run control open."""
    uncleared = both(*[either(x.sw & CLEAR == 0, bit(x.sw, RUN)) for x in u.inputs])
    off = both(*[both(idle_output(o), bit(o, LATCHED)) for o in u.outs])
    return implies(both(u.states[0].cause != 0, uncleared), off)


def within_three(met: Callable[[Any], Any]) -> Callable[[Unrolled], Any]:
    """Criterion met in three ticks in a row: off from the first on, latched in the third."""

    def claim(u: Unrolled) -> Any:
        faulty = both(
            *[both(met(x), bit(x.sw, RUN), inputs_in_range(x)) for x in u.inputs],
            u.states[0].warm >= 50,
        )
        return implies(faulty, both(*[idle_output(o) for o in u.outs], bit(u.outs[-1], LATCHED)))

    return claim


def ceiling_falls_only(u: Unrolled) -> Any:
    same = both(*[s.conn_g == u.states[0].conn_g for s in u.states])
    return implies(
        both(same, u.states[0].ceil != 0),
        both(u.states[-1].ceil <= u.states[0].ceil, u.states[-1].ceil != 0),
    )


def off_after_one_gap(u: Unrolled) -> Any:
    """On, then off: not on again in the next tick, whatever is requested."""
    return implies(
        both(source_on(u.outs[0]), z3.Not(source_on(u.outs[1]))), z3.Not(source_on(u.outs[2]))
    )


SHORT: dict[str, Callable[[Any], Any]] = {
    "sensor-a-range": lambda x: outside_range(x.a),
    "sensor-b-range": lambda x: outside_range(x.b),
    "sensor-supply": bad_supply,
    "range-key-contacts": bad_key,
    "independent-cutoff": lambda x: bit(x.sw, 8),
}
COUNTER = {w.name: w.counter.upper() for w in WINDOWS}
STEP_RULES = [
    StepRule(
        f"three-ticks-{name}",
        "G3",
        within_three(met),
        (f"if g[_{COUNTER[name]}] >= _SHORT", f"if g[_{COUNTER[name]}] > _SHORT"),
    )
    for name, met in SHORT.items()
] + [
    StepRule(
        "three-ticks-latch-lasts",
        "G3",
        latch_lasts,
        ("fault == 0 and sw & _CLEAR != 0 and (run == 0)", "fault == 0 and (run == 0)"),
    ),
    StepRule(
        "three-ticks-ceiling",
        "G2",
        ceiling_falls_only,
        ("x[_CEIL_PA] < g[_CEIL]:", "x[_CEIL_PA] > g[_CEIL]:"),
    ),
    StepRule(
        "three-ticks-rest",
        "G4",
        off_after_one_gap,
        ("sw & _WANT != 0 and g[_REST] == 0", "sw & _WANT != 0"),
    ),
]


def unroll(t: Transition) -> Unrolled:
    return Unrolled(*chained(t, STEPS))


def prove_steps(t: Transition, rule: StepRule, effort: int = EFFORT) -> Verdict:
    """Look for three ticks that break the rule, with each seed in turn; `holds` None: z3 gave up with all of them."""
    u, start = unroll(t), time.perf_counter()
    broken = both(invariant(t.g), u.ties, z3.Not(rule.claim(u)))
    for seed in SEEDS:
        solver = z3.SolverFor("QF_UFBV")
        solver.set("rlimit", effort // len(SEEDS))
        solver.set("random_seed", seed)
        solver.add(broken)
        answer = solver.check()
        if answer != z3.unknown:
            return Verdict(answer == z3.unsat, time.perf_counter() - start)
    return Verdict(None, time.perf_counter() - start)


def prove_named(name: str, with_defect: bool, effort: int = EFFORT) -> Proof:
    """One rule by name, and that its planted defect breaks it."""
    rule, source = next(r for r in STEP_RULES if r.name == name), source_of_guard()
    verdict, found = prove_steps(transition(source), rule, effort), None
    if with_defect:
        wrong = transition(plant(source, rule.planted))
        found = prove_steps(wrong, rule, effort).holds is False
    return Proof(name, rule.promise, verdict.holds, verdict.seconds, found)


def prove_apart(
    names: Iterable[str], defects: Collection[str], workers: int, effort: int = EFFORT
) -> list[Proof]:
    """Prove these rules, each in a fresh process."""
    chosen = list(names)
    with ProcessPoolExecutor(
        workers, mp_context=get_context("spawn"), max_tasks_per_child=1
    ) as pool:
        found = [pool.submit(prove_named, name, name in defects, effort) for name in chosen]
        return [one.result() for one in found]
