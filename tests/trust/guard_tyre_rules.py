"""G10, rule by rule: what is known of a tyre is known only while the chuck is on it, and a line is opened in bounded bursts before."""

from typing import Any

import z3

from tests.trust.guard_fault_rules import active
from tests.trust.guard_model import BIAS, Transition, idle_output, reading, source_on
from tests.trust.guard_rules import Rule, burst_bound, gone, judged, new_connection, ran_then, running
from tests.trust.terms import both, choose, either, implies, lowest


def above_zero(t: Transition) -> Any:
    """Reading over the guard band, which bounds the zero error, gauge Pa."""
    return reading(t.h) - BIAS - t.x.band_pa


def chuck_off_iff(t: Transition) -> Any:
    """Off is said exactly when a reading that stood at rest has lain at ambient for 100 ticks with the source off."""
    there = both(judged(t), z3.Not(active(t)), t.g.stood != 0, above_zero(t) <= 2_000, lowest(t.g.at_ambient + 1, 255) >= 100)
    return gone(t) == there


def stood_at_rest(t: Transition) -> Any:
    """A reading counts as a tyre's only 250 ticks after the source went off and over 30 kPa."""
    fresh = both(t.g.stood == 0, t.h.stood != 0)
    return implies(fresh, both(judged(t), z3.Not(active(t)), t.h.since >= 250, above_zero(t) > 30_000))


def chuck_off_forgets(t: Transition) -> Any:
    """Nothing is known any more, nothing runs, and the run control has to be released."""
    h = t.h
    forgotten = both(h.seen == 0, h.stood == 0, h.at_ambient == 0, h.lift == 0, h.test == 0, h.ran == 0)
    return implies(gone(t), both(forgotten, idle_output(t.o), h.on == 0, h.armed == choose(running(t), 0, 1)))


def connection_forgets(t: Transition) -> Any:
    h = t.h
    return implies(new_connection(t), both(h.seen == 0, h.stood == 0, h.at_ambient == 0, h.lift == 0))


def line(t: Transition) -> Any:
    return t.x.flags & 8 != 0


def bursts_stay_below(t: Transition) -> Any:
    """A line of which no flow was seen runs only while reading, bound and guard band lie under the ceiling."""
    unseen = both(source_on(t.o), line(t), t.h.seen == 0)
    return implies(unseen, reading(t.h) + burst_bound(t.h) + t.h.band < t.h.ceil + BIAS)


def bursts_are_short(t: Transition) -> Any:
    """At most 3 ticks on, then at least 60 off."""
    unseen = both(source_on(t.o), line(t), t.h.seen == 0)
    rested = either(t.g.on != 0, ran_then(t) == 0, t.h.since >= 60)
    return implies(unseen, both(t.h.on_ticks <= 3, rested))


def seen_needs_flow(t: Transition) -> Any:
    """Flow is seen only 60 ticks after a burst that rose by more than 4 kPa and lost more than half of it again."""
    fresh = both(t.g.seen == 0, t.h.seen != 0)
    rise, fall = t.h.burst_peak - t.h.burst_from, t.h.burst_peak - reading(t.h)
    return implies(fresh, both(judged(t), t.h.since == 60, t.g.ran != 0, rise > 4_000, fall * 2 > rise))


def lift_never_shrinks(t: Transition) -> Any:
    return either(new_connection(t), gone(t), t.h.lift >= t.g.lift)


def burst_followed(t: Transition) -> Any:
    """A burst begins at the reading before its air comes; since then the highest reading is kept."""
    g, h = t.g, t.h
    since = choose(g.on != 0, 0, lowest(g.since + 1, 255))
    waits = either(since > 60, g.ran == 0)
    peak = choose(either(waits, reading(h) > g.burst_peak), reading(h), g.burst_peak)
    return implies(judged(t), both(h.burst_from == choose(waits, reading(h), g.burst_from), h.burst_peak == peak, h.since == since))


TYRE_RULES = [
    Rule("chuck-off-iff", "G10", chuck_off_iff, ("_GONE_TICKS = const(100)", "_GONE_TICKS = const(101)")),
    Rule("stood-at-rest", "G10", stood_at_rest, ("_STOOD_TICKS = const(250)", "_STOOD_TICKS = const(249)")),
    Rule("chuck-off-forgets", "G10", chuck_off_forgets, ("        g[_TEST] = 0\n        g[_RAN] = 0\n        g[_ARMED] = 0\n", "        g[_TEST] = 0\n        g[_RAN] = 0\n")),
    Rule("connection-forgets", "G10", connection_forgets, ("        g[_OVER] = 0\n        g[_SEEN] = 0\n", "        g[_OVER] = 0\n")),
    Rule("bursts-stay-below", "G10", bursts_stay_below, ("g[_LIFT] + (g[_LIFT] >> 1)", "g[_LIFT] + (g[_LIFT] >> 2)")),
    Rule("bursts-are-short", "G10", bursts_are_short, ("_BURST_TICKS = const(3)", "_BURST_TICKS = const(4)")),
    Rule("seen-needs-flow", "G10", seen_needs_flow, (") * 2 >", ") * 3 >")),
    Rule("lift-never-shrinks", "G10", lift_never_shrinks, ("> g[_LIFT]:", "!= g[_LIFT]:")),
    Rule("burst-followed", "G10", burst_followed, ("g[_SINCE] + 1 if", "g[_SINCE] + 2 if")),
]
