"""The closed loop, proved: under stated bounds the guard's rule keeps the true tyre pressure at or below its ceiling.

Two layers, both checked by z3. LEMMAS are statements about one step of the guard's own source, for every state and input, as the rules are.
STEPS are an induction over ticks in integers that knows nothing of the guard but the lemmas. No word passes 30 bits (`overflows`), so that
the words of the first layer are the integers of the second. Ghosts of the plant: M, true pressure of the manifold; T, of the tyre; `cap`,
where the tyre can end after the last tick with the source on; `top`, the highest ceiling in force in such a tick. Bounds (Pa):

  rise       M rises by at most w in a tick of 2 ms: delivery, volume, spin-up, conductance; a longer tick lets more in
  jitter     a tick is at most 17 units of 128 us
  sensor     what transducer A shows lags M by at most `late`
  error      and is wrong by at most the guard band
  drop-out   after a tick with the source on the tyre ends at most `after` over what the manifold had then
  room       late + 3 w + after fits into the overrun that arming states; `closed_bounds` works that out from data
  settled    the filters have settled when the source starts: the self-test before every fill takes longer
  burst      (line, no flow seen yet) a burst lifts a closed manifold by at most the guard's own bound of one
  unseen     a tyre that the reading does not show lies at least `clear` under its ceiling as its core opens

For a compressor M is the tyre and any part of what the flow drops over the widest hose, chuck and core: the sensors have that in front of
them at least. For a workshop line of which the tyre can be seen (pin-open chuck; pressure-open while the core is open) M
is the tyre itself: what the sensors have in front of them lies above it while air flows in, and the manifold jumps as a valve opens.

A tyre that the reading does not show is in `closed_unseen`.

A filter that goes a quarter of the way each tick lags a rise of w a tick by 3 w. One transducer that keeps its bounds is enough, since the
higher one counts: what is said of A holds of B by the same argument.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import z3
from rimward_protocol.kernel_words import GUARD_STATE

from tests.trust.closed_unseen import (
    HIDDEN_BOUNDS,
    JITTER,
    SETTLED_16,
    UNSEEN_BOUNDS,
    catches_up,
    hidden_below,
    unseen_below,
)
from tests.trust.guard_conditions import Rule, burst_bound, judged, ran_then
from tests.trust.guard_model import BIAS, Transition, invariant, pressure_a, source_on, transition
from tests.trust.guard_prove import EFFORT, Proof, Verdict, check, plant, source_of_guard
from tests.trust.guard_tyre_rules import line
from tests.trust.terms import both, choose, either, implies

# First layer: on the guard's source.


def filter_moves(t: Transition) -> Any:
    """The filtered reading of A goes a quarter of the way to what A shows; it begins there."""
    shown = pressure_a(t.x) << 4
    old = choose(t.g.warm == 0, shown, t.g.fa)
    return implies(judged(t), t.h.fa == old + ((shown - old) >> 2))


def read_is_no_lower(t: Transition) -> Any:
    """The guard's reading is at least A's."""
    return implies(judged(t), t.h.read >= t.h.fa >> 4)


def on_below_stop(t: Transition) -> Any:
    """Source on: reading, the stated overrun and the guard band in force lie under the ceiling in force."""
    return implies(source_on(t.o), t.h.read + t.x.rise_pa + t.h.band < t.h.ceil + BIAS)


def band_in_force(t: Transition) -> Any:
    """Source on: the band in force is at least that of arming."""
    return implies(source_on(t.o), t.h.band >= t.x.band_pa)


def burst_below_stop(t: Transition) -> Any:
    """For a line of which no flow was seen, the bound of one burst in place of the overrun."""
    unseen = both(source_on(t.o), line(t), t.h.seen == 0)
    let_down = either(ran_then(t) != 0, t.h.read < BIAS + 30_000)
    bound = choose(t.h.lift == 0, choose(let_down, 110_000, 200_000), burst_bound(t))
    return implies(unseen, t.h.read + bound + t.h.band < t.h.ceil + BIAS)


LEMMAS = (
    Rule(
        "filter-moves",
        "G2",
        filter_moves,
        ("g[_FA] + ((pa << 4) - g[_FA] >> 2)", "g[_FA] + ((pa << 4) - g[_FA] >> 3)"),
    ),
    Rule(
        "read-is-no-lower",
        "G2",
        read_is_no_lower,
        ("high = fa if fa > fb else fb", "high = fa if fa < fb else fb"),
    ),
    Rule(
        "on-below-stop",
        "G2",
        on_below_stop,
        ("read + over >= g[_CEIL] - g[_BAND]", "read + over >= g[_CEIL]"),
    ),
    Rule(
        "band-in-force",
        "G2",
        band_in_force,
        ("if x[_BAND_PA] > g[_BAND]:", "if x[_BAND_PA] < g[_BAND]:"),
    ),
    Rule(
        "burst-below-stop",
        "G10",
        burst_below_stop,
        ("_LIFT_MORE = const(20000)", "_LIFT_MORE = const(19999)"),
    ),
)
FILTERED = (
    "filter-moves",
    "read-is-no-lower",
)  # define the reading; the others hold for every reading
READ_BITS = 22  # width of the guard's own reading, which the rule `invariant-inductive` keeps


def prove_rule(t: Transition, rule: Rule, effort: int = EFFORT) -> Verdict:
    """Look for one step that breaks the rule, return by return. Unless the rule defines the reading, the reading is any word of its width."""
    start = time.perf_counter()
    domain, broken = both(invariant(t.g), t.facts), z3.Not(rule.claim(t))
    verdict = Verdict(None, 0.0)
    for path, out, state in reversed(t.summary.returns):
        here = both(domain, path, z3.substitute(broken, (t.o, out), *zip(t.h.values, state)))
        read = state[GUARD_STATE.index("read")]
        if rule.name not in FILTERED and not z3.is_const(read):
            some = z3.BitVec("some_reading", 32)
            here = both(z3.substitute(here, (read, some)), some >= 0, some < 1 << READ_BITS)
        verdict = check(z3.simplify(here), start, effort)
        if verdict.holds is not True:
            return verdict
    return verdict


def prove_lemma(name: str) -> Proof:
    """One lemma, and that its planted defect breaks it."""
    rule = next(r for r in LEMMAS if r.name == name)
    verdict = prove_rule(transition(source_of_guard()), rule)
    found = prove_rule(transition(plant(source_of_guard(), rule.planted)), rule).holds is False
    return Proof(rule.name, rule.promise, verdict.holds, verdict.seconds, found)


# Second layer: the induction, in integers.

NAMES = (
    "m",
    "m_next",
    "t",
    "t_next",
    "t_first",
    "cap",
    "top",
    "w",
    "late",
    "error",
    "after",
    "rest",
    "lift",
    "gap",
    "shown",
    "fa",
    "fa_next",
    "rise",
    "band",
    "ceil",
    "bound",
    "read",
    "band_now",
    "left",
    "left_next",
    "deep",
    "short",
    "wt",
    "after_t",
    "clear",
    "clear_next",
    "end",
)


class World:
    """Integers of one tick: the plant's, the guard's before (`fa`) and after (`fa_next`, `ceil`), arming's (`rise`, `band`). Gauge Pa + BIAS."""

    def __init__(self) -> None:
        self.__dict__.update({name: z3.Int(name) for name in NAMES})
        self.on, self.first, self.open = z3.Bool("on"), z3.Bool("first"), z3.Bool("open")

    def __getattr__(self, name: str) -> Any:
        raise AttributeError(name)


def sense(p: World) -> Any:
    """Pressures are positive numbers; so are the bounds."""
    return z3.And(*[getattr(p, name) >= 0 for name in NAMES])


def filtered(p: World) -> Any:
    """Lemmas `filter-moves`, `read-is-no-lower` and `band-in-force`, as integers. z3 rounds down, as >> does."""
    shown = 16 * p.shown
    moved = z3.If(p.first, p.fa_next == shown, p.fa_next == p.fa + (shown - p.fa) / 4)
    return z3.And(moved, p.read >= p.fa_next / 16, z3.Implies(p.on, p.band_now >= p.band))


def guard_says(p: World) -> Any:
    """The lemmas above and `on-below-stop`."""
    return z3.And(filtered(p), z3.Implies(p.on, p.read + p.rise + p.band_now < p.ceil + BIAS))


def burst_says(p: World) -> Any:
    """The lemmas above and `burst-below-stop`."""
    return z3.And(filtered(p), z3.Implies(p.on, p.read + p.bound + p.band_now < p.ceil + BIAS))


def tracks(f: Any, m: Any, p: World) -> Any:
    """A filtered reading follows the manifold: 16 (M - error - late - 3 w), less rounding."""
    return f >= 16 * (m - p.error - p.late - 3 * p.w) - SETTLED_16


def stays(f: Any, p: World) -> Any:
    """A filtered reading stays at what the manifold had before the burst, or above."""
    return f >= 16 * (p.rest - p.error) - SETTLED_16


BOUNDS: dict[str, Callable[[World], Any]] = {
    "rise": lambda p: p.m_next <= p.m + z3.If(p.gap <= JITTER, p.w, p.w * 8),
    "jitter": lambda p: p.gap <= JITTER,
    "sensor": lambda p: p.shown >= p.m_next - p.error - p.late,
    "error": lambda p: p.error <= p.band,
    "drop-out": lambda p: (
        p.t_next
        <= z3.If(
            p.t >= z3.If(p.on, p.m_next + p.after, p.cap),
            p.t,
            z3.If(p.on, p.m_next + p.after, p.cap),
        )
    ),
    "room": lambda p: p.late + 3 * p.w + p.after + 2 <= p.rise,
    "settled": lambda p: z3.Or(p.first, tracks(p.fa, p.m, p)),
}
BURST_BOUNDS: dict[str, Callable[[World], Any]] = {
    "sensor": lambda p: p.shown >= p.rest - p.error,
    "error": lambda p: p.error <= p.band,
    "burst": lambda p: p.lift + 2 <= p.bound,
    "settled": lambda p: z3.Or(p.first, stays(p.fa, p)),
}


def reading_tracks(p: World) -> Any:
    """After the tick the reading still follows the manifold, so that `settled` holds for the next one."""
    return tracks(p.fa_next, p.m_next, p)


def tyre_below(p: World) -> Any:
    """T stays at or below the larger of where it began and the highest ceiling in force with the source on."""
    cap = z3.If(p.on, p.m_next + p.after, p.cap)
    top = z3.If(z3.And(p.on, p.ceil + BIAS > p.top), p.ceil + BIAS, p.top)
    was = z3.And(p.cap <= p.top, z3.Or(p.t <= p.t_first, p.t <= p.top))
    return z3.Implies(was, z3.And(cap <= top, z3.Or(p.t_next <= p.t_first, p.t_next <= top)))


def burst_stays(p: World) -> Any:
    return stays(p.fa_next, p)


def burst_below(p: World) -> Any:
    """A burst lifts the manifold to its ceiling at most, so the tyre no further."""
    return z3.Implies(p.on, p.rest + p.lift <= p.ceil + BIAS)


@dataclass(frozen=True)
class Step:
    """One claim of the induction, its premises, and the bounds without which it must fail."""

    name: str
    claim: Callable[[World], Any]
    says: Callable[[World], Any]
    bounds: dict[str, Callable[[World], Any]]
    needed: tuple[str, ...]


STEPS = (
    Step(
        "the reading follows the manifold",
        reading_tracks,
        guard_says,
        BOUNDS,
        ("rise", "jitter", "sensor", "settled"),
    ),
    Step("the tyre stays at or below the ceiling", tyre_below, guard_says, BOUNDS, tuple(BOUNDS)),
    Step(
        "the reading of a hidden tyre catches up",
        catches_up,
        guard_says,
        HIDDEN_BOUNDS,
        ("rise", "jitter", "sensor", "settled"),
    ),
    Step(
        "a hidden tyre ends at most what is left over the ceiling",
        hidden_below,
        guard_says,
        HIDDEN_BOUNDS,
        tuple(HIDDEN_BOUNDS),
    ),
    Step(
        "a hidden tyre that began clear of the ceiling stays at or below it",
        unseen_below,
        guard_says,
        UNSEEN_BOUNDS,
        tuple(UNSEEN_BOUNDS),
    ),
    Step(
        "through a burst the reading stays",
        burst_stays,
        burst_says,
        BURST_BOUNDS,
        ("sensor", "settled"),
    ),
    Step(
        "no burst lifts the manifold over the ceiling",
        burst_below,
        burst_says,
        BURST_BOUNDS,
        tuple(BURST_BOUNDS),
    ),
)


@dataclass(frozen=True)
class Found:
    """`holds` None: z3 gave up. `witness`: a tick that keeps all other bounds and breaks the claim."""

    holds: bool | None
    seconds: float
    witness: dict[str, int]


def prove_step(step: Step, left_out: str = "", effort: int = 50_000_000) -> Found:
    """Look for a tick that keeps every bound but the one left out and breaks the claim."""
    start = time.perf_counter()
    p = World()
    solver = z3.Solver()
    solver.set("rlimit", effort)
    solver.add(
        sense(p),
        step.says(p),
        *[bound(p) for name, bound in step.bounds.items() if name != left_out],
        z3.Not(step.claim(p)),
    )
    answer = solver.check()
    seconds = time.perf_counter() - start
    if answer == z3.sat:
        model = solver.model()
        return Found(
            False, seconds, {name: model.eval(getattr(p, name), True).as_long() for name in NAMES}
        )
    return Found(True if answer == z3.unsat else None, seconds, {})
