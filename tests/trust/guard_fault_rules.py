"""The rules about faults (G3), rests and the self-test (G4), rising while off (G6) and recorded causes (G9).

See `guard_rules.py` for the form. The thresholds and windows stand here a second time, as literals.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import z3

from tests.trust.guard_model import (
    BIAS,
    CLEAR,
    CUTOFF,
    DAMAGED,
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
    idle_output,
    inputs_in_range,
    intact,
    reading,
    slope_lag,
    source_on,
    vents,
)  # fmt: skip
from tests.trust.guard_rules import (
    Rule,
    apart,
    bad_barometer,
    bad_key,
    bad_supply,
    budgets_last,
    burst_near,
    gone,
    judged,
    loaded,
    new_connection,
    outside_range,
    plausible,
    range_allows,
    running,
    spent_air,
    spent_time,
    torn_off,
    under_stop,
)  # fmt: skip
from tests.trust.terms import both, choose, either, implies, lowest, one_of, size


@dataclass(frozen=True)
class Window:
    """A fault criterion, the ticks in a row in which it must hold, the counter it uses, the cause it latches."""

    name: str
    cause: int
    ticks: int
    counter: str
    met: Callable[[Transition], Any]
    held_only: bool = False  # latches only while the run control is held
    settled: bool = False  # not within the first 50 ticks after a reset
    stops_at_once: bool = True


def over_ceiling(t: Transition) -> Any:
    ran = choose(new_connection(t), 0, t.g.ran)
    return both(ran != 0, reading(t.h) > t.g.ceil + t.g.band + BIAS)


WINDOWS = (
    Window("sensor-a-range", 16, 3, "range_a", lambda t: outside_range(t.x.a), settled=True),
    Window("sensor-b-range", 17, 3, "range_b", lambda t: outside_range(t.x.b), settled=True),
    Window("sensors-disagree", 18, 50, "disagree", lambda t: apart(t.h), settled=True),
    Window("sensor-supply", 26, 3, "sup_cnt", lambda t: bad_supply(t.x), settled=True),
    Window("range-key-contacts", 27, 3, "key_cnt", lambda t: bad_key(t.x), held_only=True),
    Window("independent-cutoff", 30, 3, "cut_cnt", lambda t: bit(t.x.sw, CUTOFF)),
    Window("barometer", 31, 250, "baro_cnt", lambda t: bad_barometer(t.x), held_only=True),
    Window("over-pressure", 23, 50, "over", over_ceiling),
)  # fmt: skip


def latched(t: Transition) -> Any:
    return both(t.h.cause != 0, idle_output(t.o), bit(t.o, LATCHED))


def window_rule(w: Window) -> Callable[[Transition], Any]:
    """Off in the first tick of the criterion, latched in the last of its window, whatever the state was before."""

    def claim(t: Transition) -> Any:
        n = z3.BitVec(f"ghost_{w.counter}", 32)
        met = both(judged(t), w.met(t))
        now = choose(met, lowest(n + 1, w.ticks), 0)
        before, after = getattr(t.g, w.counter), getattr(t.h, w.counter)
        armed = both(now >= w.ticks, running(t) if w.held_only else True, t.h.warm >= 50 if w.settled else True)
        inductive = either(t.h.cause == MEMORY, now <= after)
        counted = implies(both(judged(t), z3.Not(new_connection(t))), after == choose(met, lowest(before + 1, w.ticks), 0))
        start = both(n >= 0, n <= w.ticks, n <= before)
        return implies(start, both(inductive, counted, implies(met, idle_output(t.o)), implies(armed, latched(t))))

    return claim


def testing(t: Transition) -> Any:
    return both(t.g.test != 0, t.g.test != TEST_DONE)


def active(t: Transition) -> Any:
    return either(t.g.on != 0, testing(t))


def slow_tick(t: Transition) -> Any:
    """A tick that took half its period, or came two and a half late, while an element is driven: latched in the same tick."""
    return implies(both(judged(t), active(t), either(t.x.load >= 8, t.x.gap >= 40)), latched(t))


def damaged_limits(t: Transition) -> Any:
    broken = both(t.g.cause != MEMORY, z3.Not(inputs_in_range(t.x)))
    loosened = both(judged(t), t.g.on != 0, z3.Not(intact(t.x)))
    lost = both(t.h.stop == t.h.cause, t.h.why == t.h.cause, t.h.armed == 0, t.h.rest == 15, t.h.on == 0)
    kept = t.h.cause == choose(t.g.cause == 0, DAMAGED, t.g.cause)
    return both(implies(either(broken, loosened), latched(t)), implies(broken, either(t.h.cause == MEMORY, both(lost, kept))))


def frozen_rule(which: str) -> Callable[[Transition], Any]:
    """No change of code for 100 ticks while the other reading moved more than 8 kPa from where it was at the last change."""

    def claim(t: Transition) -> Any:
        n, mark, code = (z3.BitVec(f"ghost_{which}_{part}", 32) for part in ("n", "mark", "code"))
        other = (t.h.fb if which == "a" else t.h.fa) >> 4
        names = f"last_{which}", f"frz_{which}", f"fref_{which}"
        changed = getattr(t.x, which) != code
        n2 = choose(judged(t), choose(changed, 0, lowest(n + 1, 100)), n)
        mark2 = choose(both(judged(t), changed), other, mark)
        code2 = choose(judged(t), getattr(t.x, which), code)

        def tied(s: Any, k: Any, m: Any, c: Any) -> Any:
            return both(k >= 0, k <= 100, k <= getattr(s, names[1]), m == getattr(s, names[2]), c == getattr(s, names[0]))

        met = both(judged(t), n2 >= 100, either(other - mark2 > 8_000, mark2 - other > 8_000), t.h.warm >= 50)
        still = either(t.h.cause == MEMORY, tied(t.h, n2, mark2, code2))
        tick = implies(both(judged(t), t.g.frz_a <= 100), t.h.frz_a <= 100)
        return implies(tied(t.g, n, mark, code), both(still, tick, implies(met, latched(t))))

    return claim


def not_rising(t: Transition) -> Any:
    """On for more than its window while the reading neither gained nor lost 3 kPa on the reading where it began."""
    n, mark = z3.BitVec("ghost_rise_n", 32), z3.BitVec("ghost_rise_mark", 32)
    now = reading(t.h)
    moved = either(now - mark >= 3_000, mark - now > 3_000)
    on = both(judged(t), t.g.on != 0)
    n2 = choose(on, choose(moved, 1, lowest(n + 1, 32_768)), 0)
    mark2 = choose(both(on, z3.Not(moved)), mark, now)

    def tied(s: Any, k: Any, m: Any) -> Any:
        return both(k >= 0, k <= 32_768, k <= s.nr_cnt, m == s.nr_ref)

    still = either(z3.Not(judged(t)), both(tied(t.h, n2, mark2), t.h.nr_cnt <= 32_768))
    off = implies(both(judged(t), t.g.on == 0), t.h.nr_cnt == 0)
    return implies(tied(t.g, n, mark), both(still, off, implies(both(on, n2 > t.x.norise), latched(t))))


def attached(t: Transition) -> Any:
    """Quicker than any fill: a hose was put on."""
    return slope_lag(t.h) > 12_000


def rising_while_off(t: Transition) -> Any:
    """G6: off for more than 250 ticks after the last drive, test or step, and 6 kPa over the lowest reading since: vent, latched.

    The lowest reading may creep up by 150 Pa in 1024 ticks. Ghosts: ticks off, lowest reading, ticks since the last creep.
    """
    off, low, since = z3.BitVec("ghost_off", 32), z3.BitVec("ghost_low", 32), z3.BitVec("ghost_since", 32)
    now = reading(t.h)
    ran = choose(new_connection(t), t.g.ran, t.g.ran) != 0
    quiet = both(t.g.on == 0, z3.Not(testing(t)), z3.Not(attached(t)), ran)
    off2 = choose(quiet, lowest(off + 1, 251), 0)
    creep = both(off2 > 250, since >= 1_024)
    base = choose(creep, low + 150, low)
    low2 = choose(either(off2 <= 250, now < base), now, base)
    since2 = choose(off2 <= 250, 0, choose(creep, 1, since + 1))

    def tied(s: Any, c: Any, m: Any, e: Any) -> Any:
        early = both(c >= 0, c <= 250, e == 0, s.off_cnt == c)
        late = both(c == 251, e >= 1, e <= 1_024, s.off_cnt == 250 + e)
        return both(either(early, late), m == s.off_ref)

    still = either(z3.Not(judged(t)), tied(t.h, off2, low2, since2))
    met = both(judged(t), off2 > 250, now > low2 + 6_000)
    return implies(tied(t.g, off, low, since), both(still, implies(met, both(latched(t), bit(t.o, VENT), vents(t.h.cause)))))


# Latches.


def clears(t: Transition) -> Any:
    return both(t.g.cause != 0, t.h.cause == 0)


def latch_holds(t: Transition) -> Any:
    """It goes only when a person clears it with the run control open; it changes only into one that vents."""
    cleared = both(judged(t), bit(t.x.sw, CLEAR), z3.Not(running(t)))
    kept = either(t.h.cause == t.g.cause, both(vents(t.h.cause), z3.Not(vents(t.g.cause))))
    return implies(t.g.cause != 0, both(either(kept, both(clears(t), cleared)), implies(z3.Not(clears(t)), latched(t))))


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
        driven = both(k == 0, either(both(by_test != 0, s.on == 0, s.rest >= 16), both(by_test == 0, s.on != 0, s.test == TEST_DONE)))
        dropped = both(k >= 1, k <= 14, s.on == 0, s.rest >= 16 - k)
        no_test = either(s.test == 0, s.test == TEST_DONE, s.cause != 0, k == 15, both(k == 0, by_test != 0))
        return both(one_of(by_test, (0, 1)), no_test, either(driven, dropped, both(k == 15, s.on == 0)))

    n2 = choose(gate, 0, lowest(n + 1, 15))
    tested2 = choose(gate, choose(test_gate, 1, 0), tested)
    goes_on = both(n == 0, (tested != 0) == test_gate)
    still = either(t.h.cause == MEMORY, tied(t.h, n2, tested2))
    relay_test = implies(both(test_gate, bit(t.o, RELAY), t.g.test == 0), n >= 15)
    return implies(tied(t.g, n, tested), both(still, implies(gate, either(n >= 15, goes_on)), relay_test))


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
    """Whatever stops a test, or a set of limits that is not whole, takes it back to its start."""
    stopped = both(judged(t), t.g.test != TEST_DONE, z3.Not(both(t.h.why == 0, intact(t.x))))
    marks = both(t.h.why == 0, either(t.g.test == 0, t.g.test == t.x.test_len + 30))
    mark = implies(both(judged(t), testing(t), marks), t.h.test_ref == reading(t.h))
    return both(implies(stopped, t.h.test == 0), mark)


def test_sees_flow(t: Transition) -> Any:
    """3 kPa over the reading at the start of its half: latched and vented."""
    met = both(judged(t), testing(t), reading(t.h) > t.g.test_ref + 3_000)
    return implies(met, both(latched(t), bit(t.o, VENT)))


def rest_counts(t: Transition) -> Any:
    dropped = both(t.g.on != 0, z3.Not(source_on(t.o)))
    pulsed = both(bit(t.o, TESTING), bit(t.o, GATE))
    counted = choose(t.g.rest > 0, t.g.rest - 1, 0)
    waits = both(bit(t.o, TESTING), z3.Not(bit(t.o, RELAY)), t.h.test == 0, size(slope_lag(t.h)) > 600)  # a tyre still fills the manifold
    exact = t.h.rest == choose(dropped, 15, choose(pulsed, 16, choose(both(waits, t.g.test == 0), 15, counted)))
    return implies(judged(t), either(exact, both(waits, t.h.rest == 15)))


# Causes (G9).


def stop_recorded(t: Transition) -> Any:
    """A stop has one cause: the latch, else the reason why the source may not run, else that the fill asked no more."""
    stopped = both(t.g.on != 0, z3.Not(source_on(t.o)))
    cause = choose(t.h.cause != 0, t.h.cause, choose(t.h.why != 0, t.h.why, 3))
    kept = choose(either(stopped, t.h.cause != 0), cause, t.g.stop)
    return either(t.h.cause == MEMORY, t.h.stop == kept)


def why_recorded(t: Transition) -> Any:
    """The reason that weighs most, in this order."""
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
    return implies(judged(t), both(h.why == expected, (expected == 0) == both(z3.Not(idle_possible(t)), budgets_last(t))))


def idle_possible(t: Transition) -> Any:
    reasons = either(t.h.cause != 0, z3.Not(running(t)), t.g.armed == 0, gone(t), burst_near(t), z3.Not(loaded(t)), z3.Not(plausible(t)))
    return either(reasons, z3.Not(range_allows(t)), torn_off(t), z3.Not(under_stop(t)))


def cause_is_met(t: Transition) -> Any:
    """What is newly latched names a criterion that is met now."""
    x, h = t.x, t.h
    fresh = both(judged(t), h.cause != 0, h.cause != t.g.cause)
    other_a, other_b = h.fb >> 4, h.fa >> 4
    rows: list[tuple[int, Any]] = [(w.cause, both(w.met(t), getattr(h, w.counter) >= w.ticks)) for w in WINDOWS if w.cause != 23]
    rows += [
        (23, both(t.g.ran != 0, t.g.over + 1 >= 50, reading(h) > t.g.ceil + t.g.band + BIAS)),
        (19, both(h.frz_a >= 100, either(other_a - h.fref_a > 8_000, h.fref_a - other_a > 8_000))),
        (20, both(h.frz_b >= 100, either(other_b - h.fref_b > 8_000, h.fref_b - other_b > 8_000))),
        (21, both(t.g.on != 0, h.nr_cnt > x.norise)),
        (22, both(t.g.on == 0, h.off_cnt > 250, reading(h) > h.off_ref + 6_000)),
        (24, both(active(t), x.load >= 8)), (25, both(active(t), x.gap >= 40)), (33, both(t.g.on != 0, z3.Not(intact(x)))),
        (28, both(testing(t), reading(h) > t.g.test_ref + 3_000, t.g.test <= x.test_len + 30)),
        (29, both(testing(t), reading(h) > t.g.test_ref + 3_000, t.g.test > x.test_len + 30)),
    ]  # fmt: skip
    known = one_of(h.cause, [number for number, _ in rows])
    return implies(fresh, both(known, *[implies(h.cause == number, met) for number, met in rows]))


def _soon(counter: str, limit: str, by: str) -> tuple[str, str]:
    return f"if g[{counter}] >= {limit}", f"if g[{counter}] >= {by}"


PLANTED = {
    "sensor-a-range": ("_RATIO_LOW <= x[_A]", "_RATIO_LOW - 1 <= x[_A]"),
    "sensor-b-range": ("x[_B] <= _RATIO_HIGH", "x[_B] <= _RATIO_HIGH + 1"),
    "sensors-disagree": ("_AGREE_TICKS = const(50)", "_AGREE_TICKS = const(51)"),
    "sensor-supply": _soon("_SUP_CNT", "_SHORT", "_SHORT + 1"),
    "range-key-contacts": ("if key == _KEY_LOW or key == _KEY_HIGH:", "if key != 0:"),
    "independent-cutoff": _soon("_CUT_CNT", "_SHORT", "_SHORT + 1"),
    "barometer": ("_BARO_TICKS = const(250)", "_BARO_TICKS = const(251)"),
    "over-pressure": ("found = _OVER_PRESSURE if", "found = 0 if"),
}
FAULT_RULES = [Rule(f"latches-{w.name}", "G3", window_rule(w), PLANTED[w.name]) for w in WINDOWS] + [
    Rule("latches-slow-tick", "G3", slow_tick, ("x[_LOAD] >= _LOAD_MAX", "x[_LOAD] > _LOAD_MAX")),
    Rule("latches-damaged-limits", "G3", damaged_limits, ("if was_on != 0 and whole == 0", "if was_on == 2 and whole == 0")),
    Rule("latches-sensor-a-frozen", "G3", frozen_rule("a"), ("        g[_FREF_A] = fb >> 4", "        g[_FREF_A] = fa >> 4")),
    Rule("latches-sensor-b-frozen", "G3", frozen_rule("b"), ("_FROZEN_PA = const(8000)", "_FROZEN_PA = const(8001)")),
    Rule("latches-not-rising", "G3", not_rising, ("g[_NR_CNT] > x[_NORISE]", "g[_NR_CNT] > x[_NORISE] + 1")),
    Rule("rising-while-off-vents", "G6", rising_while_off, ("cause == 0 or (vents != 0 and venting == 0) or", "cause == 0 or")),
    Rule("latch-holds", "G3", latch_holds, ("fault == 0 and sw & _CLEAR != 0 and (run == 0)", "fault == 0 and sw & _CLEAR != 0")),
    Rule("vent-driven-iff-cause-vents", "G6", vent_holds, ("        venting = vents\n", "")),
    Rule("latched-shown", "G3", latched_off, ("        out = _OUT_LATCHED | _OUT_VENT if venting != 0 else _OUT_LATCHED\n", "        out = 0\n")),
    Rule("latch-complement", "INV", complement_whole, ("g[_CAUSE_N] = _CAUSE_SUM - fault", "g[_CAUSE_N] = _CAUSE_SUM - 1 - fault")),
    Rule("gate-rests", "G4", rest_rule, ("g[_REST] = _REST_TICKS + 1", "g[_REST] = _REST_TICKS")),
    Rule("rest-counts", "G4", rest_counts, ("    if g[_REST] > 0:\n        g[_REST] = g[_REST] - 1\n", "    if g[_REST] > 1:\n        g[_REST] = g[_REST] - 2\n")),
    Rule("self-test-drives-each-alone", "G4", self_test, ("elif test >= second:", "elif test > second:")),
    Rule("self-test-begins-again", "G4", test_begins_again, ("    elif test != _TEST_DONE:\n        g[_TEST] = 0\n", "")),
    Rule("self-test-sees-flow", "G4", test_sees_flow, ("read > g[_TEST_REF] + _TEST_RISE", "read > g[_TEST_REF] + _TEST_RISE + 1")),
    Rule("stop-has-one-cause", "G9", stop_recorded, ("why if why != 0 else _TARGET_REACHED", "why")),
    Rule("why-in-order", "G9", why_recorded, ("why = _AIR_BUDGET", "why = _TIME_BUDGET")),
    Rule("latched-cause-is-met", "G9", cause_is_met, ("fault = _TICK_LONG", "fault = _TICK_LATE")),
]  # fmt: skip
