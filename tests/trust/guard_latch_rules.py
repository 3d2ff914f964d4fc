"""Rules about latches, rests and the self-test (G4) and recorded causes (G9). See `guard_conditions` for the form of a rule."""

from typing import Any

import z3

from tests.trust.guard_conditions import (
    Rule,
    bad_key,
    budgets_last,
    burst_near,
    gone,
    judged,
    loaded,
    plausible,
    range_allows,
    running,
    spent_air,
    spent_time,
    torn_off,
    under_stop,
)
from tests.trust.guard_fault_rules import WINDOWS, active, both_rose, latched, one_alone, testing
from tests.trust.guard_model import (
    BIAS,
    CLEAR,
    GATE,
    LATCHED,
    MEMORY,
    READY,
    RELAY,
    TEST_DONE,
    TESTING,
    VENT,
    Transition,
    bit,
    intact,
    reading,
    slope_lag,
    source_on,
    vents,
)  # fmt: skip
from tests.trust.terms import both, choose, either, implies, lowest, one_of, size

# Latches.


def clears(t: Transition) -> Any:
    return both(t.g.cause != 0, t.h.cause == 0)


def latch_holds(t: Transition) -> Any:
    """A latch is cleared only by a person with the run control open; it changes only into one that vents."""
    cleared = both(judged(t), bit(t.x.sw, CLEAR), z3.Not(running(t)))
    kept = either(t.h.cause == t.g.cause, both(vents(t.h.cause), z3.Not(vents(t.g.cause))))
    return implies(
        t.g.cause != 0,
        both(either(kept, both(clears(t), cleared)), implies(z3.Not(clears(t)), latched(t))),
    )


def vent_holds(t: Transition) -> Any:
    """The vent is driven exactly while a cause that vents is latched."""
    return bit(t.o, VENT) == either(t.h.cause == MEMORY, vents(t.h.cause))


def latched_off(t: Transition) -> Any:
    return bit(t.o, LATCHED) == (t.h.cause != 0)


def complement_whole(t: Transition) -> Any:
    return t.h.cause + t.h.cause_n == 255


# Rests and the self-test (G4).


def rest_rule(t: Transition) -> Any:
    """The gate, once dropped, stays dropped for 15 ticks; no other drive begins within them."""
    n, tested = z3.BitVec("ghost_rest", 32), z3.BitVec("ghost_tested", 32)
    gate, test_gate = bit(t.o, GATE), bit(t.o, TESTING)

    def tied(s: Any, k: Any, by_test: Any) -> Any:
        driven = both(
            k == 0,
            either(
                both(by_test != 0, s.on == 0, s.rest >= 16),
                both(by_test == 0, s.on != 0, s.test == TEST_DONE),
            ),
        )
        dropped = both(k >= 1, k <= 14, s.on == 0, s.rest >= 16 - k)
        no_test = either(
            s.test == 0, s.test == TEST_DONE, s.cause != 0, k == 15, both(k == 0, by_test != 0)
        )
        return both(
            one_of(by_test, (0, 1)), no_test, either(driven, dropped, both(k == 15, s.on == 0))
        )

    n2 = choose(gate, 0, lowest(n + 1, 15))
    tested2 = choose(gate, choose(test_gate, 1, 0), tested)
    goes_on = both(n == 0, (tested != 0) == test_gate)
    still = either(t.h.cause == MEMORY, tied(t.h, n2, tested2))
    relay_test = implies(both(test_gate, bit(t.o, RELAY), t.g.test == 0), n >= 15)
    return implies(
        tied(t.g, n, tested), both(still, implies(gate, either(n >= 15, goes_on)), relay_test)
    )


def self_test(t: Transition) -> Any:
    """Ready only after the relay alone and the gate alone were each driven for the whole length, in this run of the test.

    Ghosts: ticks with the relay alone, ticks with the gate alone. The length stands still while the test runs: a change of
    limits passes through a set that is not whole, which begins the test again (`self-test-begins-again`).
    """
    relay, gate, length = z3.BitVec("ghost_relay", 32), z3.BitVec("ghost_gate", 32), t.x.test_len
    second = length + 30
    drives_relay = both(bit(t.o, TESTING), bit(t.o, RELAY))
    drives_gate = both(bit(t.o, TESTING), bit(t.o, GATE))
    fresh = t.h.test == 0
    again = both(testing(t), t.h.test == 1)
    relay2 = choose(fresh, 0, choose(again, 1, choose(drives_relay, relay + 1, relay)))
    gate2 = choose(either(fresh, again), 0, choose(drives_gate, gate + 1, gate))

    def tied(s: Any, r: Any, k: Any) -> Any:
        at = s.test
        first = both(at >= 0, at <= length, r == at, k == 0)
        gap = both(at > length, at <= second, r == length, k == 0)
        last = both(at > second, at <= second + length, r == length, k == at - second)
        return either(first, gap, last, both(at == TEST_DONE, r == length, k == length))

    stray = both(t.g.test > second + length, t.g.test != TEST_DONE)
    still = either(z3.Not(judged(t)), tied(t.h, relay2, gate2))
    ready = implies(bit(t.o, READY), both(relay == length, gate == length))
    return implies(both(judged(t), either(tied(t.g, relay, gate), stray)), both(still, ready))


def test_begins_again(t: Transition) -> Any:
    """A test that is stopped, or meets limits that are not whole, begins again."""
    stopped = both(judged(t), t.g.test != TEST_DONE, z3.Not(both(t.h.why == 0, intact(t.x))))
    half = t.x.test_len + 30
    begun = either(t.h.test == 1, both(t.g.test == half, t.h.test == half + 1))
    stands = both(t.h.ref_a == t.h.fa >> 4, t.h.ref_b == t.h.fb >> 4)
    mark = implies(both(judged(t), begun), stands)
    return both(implies(stopped, t.h.test == 0), mark)


def risen(t: Transition) -> Any:
    """How far the reading is above the one at the start of this half of the self-test."""
    start = choose(t.g.ref_a > t.g.ref_b, t.g.ref_a, t.g.ref_b)
    return reading(t.h) - start


def test_sees_flow(t: Transition) -> Any:
    """3 kPa over the reading at the start of its half: latched and vented where both transducers rose by 1.5, latched where one did alone."""
    met = both(judged(t), testing(t), risen(t) > 3_000)
    rose = both_rose(t, t.g.ref_a, t.g.ref_b, 1_500)
    vented = implies(both(met, rose), both(latched(t), bit(t.o, VENT)))
    return both(vented, implies(both(met, one_alone(t, risen(t), 5_500)), latched(t)))


def rest_counts(t: Transition) -> Any:
    dropped = both(t.g.on != 0, z3.Not(source_on(t.o)))
    pulsed = both(bit(t.o, TESTING), bit(t.o, GATE))
    counted = choose(t.g.rest > 0, t.g.rest - 1, 0)
    waits = both(
        bit(t.o, TESTING), z3.Not(bit(t.o, RELAY)), t.h.test == 0, size(slope_lag(t.h)) > 600
    )  # a tyre still fills the manifold
    exact = t.h.rest == choose(
        dropped, 15, choose(pulsed, 16, choose(both(waits, t.g.test == 0), 15, counted))
    )
    return implies(judged(t), either(exact, both(waits, t.h.rest == 15)))


# Causes (G9).


def stop_recorded(t: Transition) -> Any:
    """A stop has one cause: the latch, else the inhibit cause, else the end of the request (target reached)."""
    stopped = both(t.g.on != 0, z3.Not(source_on(t.o)))
    cause = choose(t.h.cause != 0, t.h.cause, choose(t.h.why != 0, t.h.why, 3))
    kept = choose(either(stopped, t.h.cause != 0), cause, t.g.stop)
    return either(t.h.cause == MEMORY, t.h.stop == kept)


def why_recorded(t: Transition) -> Any:
    """The inhibit cause of highest rank, in this order."""
    x, h = t.x, t.h
    whole_profile = both(loaded(t), x.ceil_pa > 0)
    over_time, over_air = spent_time(t) >= x.time_max, spent_air(t) >= x.air_max
    ranked: list[tuple[Any, Any]] = [
        (h.cause != 0, h.cause), (z3.Not(running(t)), 1), (either(t.g.armed == 0, gone(t)), 9), (z3.Not(whole_profile), 6), (z3.Not(plausible(t)), 9),
        (both(z3.Not(range_allows(t)), z3.Not(bad_key(x))), 8), (over_air, 5), (over_time, 4), (torn_off(t), 7),
        (either(z3.Not(under_stop(t)), burst_near(t)), 2),
    ]  # fmt: skip
    expected: Any = 0
    for met, cause in reversed(ranked):
        expected = choose(met, cause, expected)
    return implies(
        judged(t),
        both(h.why == expected, (expected == 0) == both(z3.Not(idle_possible(t)), budgets_last(t))),
    )


def idle_possible(t: Transition) -> Any:
    reasons = either(
        t.h.cause != 0,
        z3.Not(running(t)),
        t.g.armed == 0,
        gone(t),
        burst_near(t),
        z3.Not(loaded(t)),
        z3.Not(plausible(t)),
    )
    return either(reasons, z3.Not(range_allows(t)), torn_off(t), z3.Not(under_stop(t)))


def cause_is_met(t: Transition) -> Any:
    """A new latch names a criterion that is met in this tick."""
    x, h = t.x, t.h
    fresh = both(judged(t), h.cause != 0, h.cause != t.g.cause)
    other_a, other_b = h.fb >> 4, h.fa >> 4
    rows: list[tuple[int, Any]] = [
        (w.cause, both(w.met(t), getattr(h, w.counter) >= w.ticks))
        for w in WINDOWS
        if w.cause not in (18, 23)
    ]
    in_test = both(testing(t), risen(t) > 3_000)
    flows = both(in_test, both_rose(t, t.g.ref_a, t.g.ref_b, 1_500))
    while_off = both(t.g.on == 0, h.off_cnt > 250, reading(h) > h.off_ref + 6_000)
    alone = either(
        both(in_test, one_alone(t, risen(t), 5_500), z3.Not(flows)),
        both(while_off, one_alone(t, reading(h) - h.off_ref, 7_000)),
    )
    rows += [
        (w.cause, either(both(w.met(t), h.disagree >= w.ticks), alone))
        for w in WINDOWS
        if w.cause == 18
    ]
    rows += [
        (23, both(t.g.ran != 0, t.g.over + 1 >= 50, reading(h) > t.g.ceil + t.g.band + BIAS)),
        (19, both(h.frz_a >= 50, either(other_a - h.fref_a > 8_000, h.fref_a - other_a > 8_000))),
        (20, both(h.frz_b >= 50, either(other_b - h.fref_b > 8_000, h.fref_b - other_b > 8_000))),
        (21, both(t.g.on != 0, h.nr_cnt > x.norise)),
        (22, both(while_off, both_rose(t, h.ref_a, h.ref_b, 3_000))),
        (24, both(active(t), x.load >= 8)), (25, both(active(t), x.gap >= 40)), (33, both(t.g.on != 0, z3.Not(intact(x)))),
        (28, both(flows, t.g.test <= x.test_len + 30)),
        (29, both(flows, t.g.test > x.test_len + 30)),
    ]  # fmt: skip
    known = one_of(h.cause, [number for number, _ in rows])
    return implies(fresh, both(known, *[implies(h.cause == number, met) for number, met in rows]))


LATCH_RULES = [
    Rule("latch-holds", "G3", latch_holds, ("fault == 0 and sw & _CLEAR != 0 and (run == 0)", "fault == 0 and sw & _CLEAR != 0")),
    Rule("vent-driven-iff-cause-vents", "G6", vent_holds, ("        venting = vents\n", "")),
    Rule("latched-shown", "G3", latched_off, ("        out = _OUT_LATCHED | _OUT_VENT if venting != 0 else _OUT_LATCHED\n", "        out = 0\n")),
    Rule("latch-complement", "INV", complement_whole, ("g[_CAUSE_N] = _CAUSE_SUM - fault", "g[_CAUSE_N] = _CAUSE_SUM - 1 - fault")),
    Rule("gate-rests", "G4", rest_rule, ("g[_REST] = _REST_TICKS + 1", "g[_REST] = _REST_TICKS")),
    Rule("rest-counts", "G4", rest_counts, ("    if g[_REST] > 0:\n        g[_REST] = g[_REST] - 1\n", "    if g[_REST] > 1:\n        g[_REST] = g[_REST] - 2\n")),
    Rule("self-test-drives-each-alone", "G4", self_test, ("elif test >= second:", "elif test > second:")),
    Rule("self-test-begins-again", "G4", test_begins_again, ("    elif test != _TEST_DONE:\n        g[_TEST] = 0\n", "")),
    Rule("self-test-sees-flow", "G4", test_sees_flow, (" = _RISE_TEST\n", " = _RISE_TEST + 1\n")),
    Rule("stop-has-one-cause", "G9", stop_recorded, ("why if why != 0 else _TARGET_REACHED", "why")),
    Rule("why-in-order", "G9", why_recorded, ("why = _AIR_BUDGET", "why = _TIME_BUDGET")),
    Rule("latched-cause-is-met", "G9", cause_is_met, ("fault = _TICK_LONG", "fault = _TICK_LATE")),
]  # fmt: skip
