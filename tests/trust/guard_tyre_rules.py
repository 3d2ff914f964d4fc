"""G10, rule by rule: what is known of a tyre is known only while the chuck is on it, and a line is opened in bounded bursts before."""

from typing import Any

import z3

from tests.trust.guard_conditions import (
    Rule,
    burst_bound,
    gone,
    judged,
    new_connection,
    running,
    stands,
    vented,
)
from tests.trust.guard_fault_rules import active
from tests.trust.guard_model import BIAS, NO_BURST, Transition, idle_output, reading, source_on
from tests.trust.terms import both, choose, either, highest, implies, lowest


def above_zero(t: Transition) -> Any:
    """Reading over the guard band, which bounds the zero error, gauge Pa."""
    return reading(t.h) - BIAS - t.x.band_pa


def lies_at_ambient(t: Transition) -> Any:
    """Source off for 40 ticks, so that the last valve has shut, and the reading within its zero error and 2 kPa of ambient."""
    return both(judged(t), z3.Not(active(t)), t.h.since >= 40, above_zero(t) <= 2_000)


def rise_and_fall(t: Transition) -> tuple[Any, Any]:
    """How far the last burst rose, and fell again since: of what was kept before this tick, which may begin the next one."""
    peak = highest(t.g.burst_peak, reading(t.h))
    return peak - t.g.burst_from, peak - reading(t.h)


def steady(t: Transition) -> Any:
    """A reading over 30 kPa that is steady 125 ticks after the source went off: a tyre's."""
    return both(z3.Not(active(t)), t.h.since >= 125, above_zero(t) > 30_000, stands(t))


def chuck_off_iff(t: Transition) -> Any:
    """Chuck off is reported exactly when, with the source off for 40 ticks, a reading that was steady at rest has been at ambient for 100
    ticks, or one over 60 kPa has fallen to less than a third of itself and not become steady there; or when a line's reading rushes up.
    """
    at_ambient = both(lies_at_ambient(t), t.g.stood != 0, lowest(t.g.at_ambient + 1, 255) >= 100)
    kept = t.g.stood - BIAS
    fallen = both(kept > 60_000, (reading(t.h) - BIAS) * 3 < kept, z3.Not(steady(t)))
    quiet = both(judged(t), z3.Not(active(t)), t.h.since >= 40)
    return gone(t) == either(both(quiet, either(at_ambient, fallen)), rushes(t))


def rushes(t: Transition) -> Any:
    """The relay of a line being closed, both filtered readings lie 16.4 kPa and more over the slow filter of the higher one, 60 ticks after the
    last burst or with none since the vent was open."""
    h = t.h
    quiet = either(h.since >= 60, vented(t), t.g.burst_from == NO_BURST)
    rises = both(h.fa - h.sl >= 16_384 * 16, h.fb - h.sl >= 16_384 * 16)
    relay = both(t.g.why == 0, t.g.ran != 0, line(t))
    return both(judged(t), z3.Not(active(t)), quiet, rises, relay)


def rush_closes_the_relay(t: Transition) -> Any:
    """A line whose reading rushes up drives nothing in that tick, and nothing before the run control was released and the self-test has passed."""
    h = t.h
    over = both(h.test == 0, h.ran == 0, h.seen == 0, h.armed == choose(running(t), 0, 1))
    return implies(rushes(t), both(idle_output(t.o), gone(t), over))


def flow_forgotten_at_ambient(t: Transition) -> Any:
    """Flow that was seen no longer counts once the manifold is at ambient: the hose may be on another tyre next."""
    return implies(lies_at_ambient(t), t.h.seen == 0)


def waits_at_ambient(t: Transition) -> Any:
    """No air while a chuck that was on may be coming off."""
    return implies(both(t.h.stood != 0, t.h.at_ambient != 0), z3.Not(source_on(t.o)))


def stood_at_rest(t: Transition) -> Any:
    """A reading is kept as a tyre's only when steady, 125 ticks after the source went off and over 30 kPa; an open vent takes its level away."""
    kept = both(judged(t), z3.Not(gone(t)), z3.Not(new_connection(t)))
    blank = choose(t.g.stood != 0, 1, 0)
    level = choose(steady(t), reading(t.h), choose(vented(t), blank, t.g.stood))
    return implies(kept, t.h.stood == level)


def chuck_off_forgets(t: Transition) -> Any:
    """All knowledge of the tyre is reset, nothing runs, and the run control must be released."""
    h = t.h
    forgotten = both(
        h.seen == 0,
        h.stood == 0,
        h.at_ambient == 0,
        h.lift == 0,
        h.burst_more == 0,
        h.test == 0,
        h.ran == 0,
    )
    return implies(
        gone(t), both(forgotten, idle_output(t.o), h.on == 0, h.armed == choose(running(t), 0, 1))
    )


def connection_forgets(t: Transition) -> Any:
    h = t.h
    return implies(
        new_connection(t),
        both(h.seen == 0, h.stood == 0, h.at_ambient == 0, h.lift == 0, h.burst_more == 0),
    )


def line(t: Transition) -> Any:
    return t.x.flags & 8 != 0


def bursts_stay_below(t: Transition) -> Any:
    """A line of which no flow was seen runs only while reading, bound and guard band lie under the ceiling."""
    unseen = both(source_on(t.o), line(t), t.h.seen == 0)
    return implies(unseen, reading(t.h) + burst_bound(t) + t.h.band < t.h.ceil + BIAS)


def bursts_are_short(t: Transition) -> Any:
    """At most 3 ticks on and what was added, after at least 60 with source off and vent shut."""
    unseen = both(source_on(t.o), line(t), t.h.seen == 0)
    rested = either(t.g.on != 0, t.h.since >= 60)
    return implies(unseen, both(t.h.on_ticks <= 3 + t.h.burst_more, rested))


def bursts_begin_steady(t: Transition) -> Any:
    """A line of which no flow was seen begins a burst at a steady reading only: a hose that runs off through a half-seated chuck says nothing."""
    begins = both(t.g.on == 0, source_on(t.o), line(t), t.h.seen == 0)
    return implies(begins, stands(t))


def bursts_lengthen(t: Transition) -> Any:
    """By one tick, up to eight, after the rest of a burst that rose by less than 2 kPa."""
    longer = t.h.burst_more > t.g.burst_more
    empty = both(
        t.g.burst_from != NO_BURST,
        t.h.since == 60,
        t.g.ran != 0,
        t.g.seen == 0,
        rise_and_fall(t)[0] < 2_000,
    )
    return implies(
        longer, both(judged(t), empty, t.h.burst_more == t.g.burst_more + 1, t.h.burst_more <= 8)
    )


def seen_needs_flow(t: Transition) -> Any:
    """Flow is seen 60 to 250 ticks after a burst that began over ambient, rose by more than 4 kPa, lost more than half of it again, and
    is steady over ambient."""
    fresh = both(t.g.seen == 0, t.h.seen != 0)
    burst = t.g.burst_from != NO_BURST
    rise, fall = rise_and_fall(t)
    when = both(judged(t), t.h.since >= 60, t.h.since <= 250, t.g.ran != 0)
    over = both(above_zero(t) > 5_000, t.g.burst_from - BIAS - t.x.band_pa > 5_000)
    return implies(fresh, both(when, burst, rise > 4_000, fall * 2 > rise, stands(t), over))


def lift_needs_a_closed_manifold(t: Transition) -> Any:
    """The first rise that sets the bound of bursts kept at least three quarters."""
    first = both(t.g.lift == 0, t.h.lift != 0)
    rise, fall = rise_and_fall(t)
    return implies(first, both(t.h.since == 60, t.h.lift == rise, fall * 4 <= rise))


def lift_never_shrinks(t: Transition) -> Any:
    return either(new_connection(t), gone(t), t.h.lift >= t.g.lift)


def burst_followed(t: Transition) -> Any:
    """A burst begins at the reading before its air comes; since then the highest reading is kept."""
    g, h = t.g, t.h
    since = choose(either(g.on != 0, vented(t)), 0, lowest(g.since + 1, 255))
    begins = both(g.on == 0, source_on(t.o))
    peak = choose(either(begins, reading(h) > g.burst_peak), reading(h), g.burst_peak)
    return implies(
        judged(t),
        both(
            h.burst_from == choose(begins, reading(h), choose(vented(t), NO_BURST, g.burst_from)),
            h.burst_peak == peak,
            h.since == since,
        ),
    )


def vent_ends_watch(t: Transition) -> Any:
    """While the vent is open no air comes, a fall is no flow, and no burst is watched until the next one begins."""
    h = t.h
    blank = both(h.since == 0, h.burst_from == NO_BURST, z3.Not(source_on(t.o)))
    seen = both(t.g.seen == 0, h.seen != 0)
    return implies(both(judged(t), vented(t)), both(blank, z3.Not(seen)))


def void_burst_teaches_nothing(t: Transition) -> Any:
    """Without a burst since the vent was open nothing is learned: no flow, no larger bound, no longer bursts."""
    g, h = t.g, t.h
    longer = both(h.burst_more > g.burst_more)
    learnt = either(both(g.seen == 0, h.seen != 0), h.lift > g.lift, longer)
    return implies(both(judged(t), g.burst_from == NO_BURST), z3.Not(learnt))


TYRE_RULES = [
    Rule(
        "vent-ends-watch",
        "G10",
        vent_ends_watch,
        ("if was_on != 0 or vented != 0:", "if was_on != 0:"),
    ),
    Rule(
        "void-burst-teaches-nothing",
        "G10",
        void_burst_teaches_nothing,
        ("g[_BURST_FROM] != _NO_BURST and g[_RAN]", "g[_RAN]"),
    ),
    Rule(
        "chuck-off-iff",
        "G10",
        chuck_off_iff,
        ("_GONE_TICKS = const(100)", "_GONE_TICKS = const(101)"),
    ),
    Rule(
        "rush-closes-the-relay",
        "G10",
        rush_closes_the_relay,
        ("_RUSH = const(18)", "_RUSH = const(19)"),
    ),
    Rule(
        "stood-at-rest",
        "G10",
        stood_at_rest,
        ("_STOOD_TICKS = const(125)", "_STOOD_TICKS = const(124)"),
    ),
    Rule(
        "chuck-off-forgets",
        "G10",
        chuck_off_forgets,
        (
            "        g[_TEST] = 0\n        g[_RAN] = 0\n        g[_ARMED] = 0\n",
            "        g[_TEST] = 0\n        g[_RAN] = 0\n",
        ),
    ),
    Rule(
        "connection-forgets",
        "G10",
        connection_forgets,
        ("        g[_OVER] = 0\n        g[_SEEN] = 0\n", "        g[_OVER] = 0\n"),
    ),
    Rule(
        "bursts-stay-below",
        "G10",
        bursts_stay_below,
        ("_LIFT_MORE = const(20000)", "_LIFT_MORE = const(19999)"),
    ),
    Rule(
        "bursts-are-short",
        "G10",
        bursts_are_short,
        ("_BURST_TICKS = const(3)", "_BURST_TICKS = const(4)"),
    ),
    Rule(
        "bursts-begin-steady",
        "G10",
        bursts_begin_steady,
        (
            "if not (1 if lag < v2 and lag > -v2 else 0) == 0:",
            "if not (1 if lag < v2 and lag > -v2 else 0) == 2:",
        ),
    ),
    Rule("seen-needs-flow", "G10", seen_needs_flow, ("v3 * 2 > v2", "v3 * 3 > v2")),
    Rule("lift-never-shrinks", "G10", lift_never_shrinks, ("> g[_LIFT] and", "!= g[_LIFT] and")),
    Rule(
        "flow-forgotten-at-ambient",
        "G10",
        flow_forgotten_at_ambient,
        ("            g[_SEEN] = 0\n", "            g[_SEEN] = g[_SEEN]\n"),
    ),
    Rule(
        "waits-at-ambient",
        "G10",
        waits_at_ambient,
        ("if g[_STOOD] != 0 and g[_AT_AMBIENT] != 0:", "if g[_STOOD] != 0 and g[_AT_AMBIENT] > 1:"),
    ),
    Rule(
        "bursts-lengthen",
        "G10",
        bursts_lengthen,
        ("_NOTHING_PA = const(2000)", "_NOTHING_PA = const(2001)"),
    ),
    Rule(
        "lift-needs-a-closed-manifold",
        "G10",
        lift_needs_a_closed_manifold,
        ("v3 * 4 <= v2", "v3 * 3 <= v2"),
    ),
    Rule("burst-followed", "G10", burst_followed, ("g[_SINCE] + 1 if", "g[_SINCE] + 2 if")),
]
