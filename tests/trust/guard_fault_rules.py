"""Rules about faults (G3) and rising while off (G6). Thresholds and windows are stated a second time, as literals."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import z3

from tests.trust.guard_conditions import (
    Rule,
    apart,
    bad_barometer,
    bad_key,
    bad_supply,
    judged,
    new_connection,
    outside_range,
    running,
)
from tests.trust.guard_model import (
    BIAS,
    CUTOFF,
    DAMAGED,
    LATCHED,
    MEMORY,
    TEST_DONE,
    VENT,
    Transition,
    bit,
    idle_output,
    inputs_in_range,
    intact,
    reading,
    slope_lag,
    vents,
)  # fmt: skip
from tests.trust.terms import both, choose, either, implies, lowest, size


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
    also: Callable[[Transition], Any] = lambda _t: True  # of the tick in which it latches


def over_ceiling(t: Transition) -> Any:
    ran = choose(new_connection(t), 0, t.g.ran)
    return both(ran != 0, reading(t.h) > t.g.ceil + t.g.band + BIAS)


def no_tap_follows(t: Transition) -> Any:
    """Air has come in this connection, or the readings differ by more than a lagging tap explains: 30 kPa and the slope."""
    slope = slope_lag(t.h)
    return either(
        t.g.ran != 0, size(t.h.fa - t.h.fb) > 480_000 + choose(slope > 0, slope, -slope) * 16
    )


WINDOWS = (
    Window("sensor-a-range", 16, 3, "range_a", lambda t: outside_range(t.x.a), settled=True),
    Window("sensor-b-range", 17, 3, "range_b", lambda t: outside_range(t.x.b), settled=True),
    Window("sensors-disagree", 18, 50, "disagree", lambda t: both(apart(t.h), z3.Not(bad_barometer(t.x))), settled=True, also=no_tap_follows),
    Window("sensor-supply", 26, 3, "sup_cnt", lambda t: bad_supply(t.x), settled=True),
    Window("range-key-contacts", 27, 3, "key_cnt", lambda t: bad_key(t.x), held_only=True),
    Window("independent-cutoff", 30, 3, "cut_cnt", lambda t: bit(t.x.sw, CUTOFF)),
    Window("barometer", 31, 250, "baro_cnt", lambda t: bad_barometer(t.x), held_only=True),
    Window("over-pressure", 23, 50, "over", over_ceiling),
)  # fmt: skip


def latched(t: Transition) -> Any:
    return both(t.h.cause != 0, idle_output(t.o), bit(t.o, LATCHED))


def window_rule(w: Window) -> Callable[[Transition], Any]:
    """Off in the first tick of the criterion, latched in the last tick of its window, from any state."""

    def claim(t: Transition) -> Any:
        n = z3.BitVec(f"ghost_{w.counter}", 32)
        met = both(judged(t), w.met(t))
        now = choose(met, lowest(n + 1, w.ticks), 0)
        before, after = getattr(t.g, w.counter), getattr(t.h, w.counter)
        armed = both(
            now >= w.ticks,
            running(t) if w.held_only else True,
            t.h.warm >= 50 if w.settled else True,
            w.also(t),
        )
        inductive = either(t.h.cause == MEMORY, now <= after)
        counted = implies(
            both(judged(t), z3.Not(new_connection(t))),
            after == choose(met, lowest(before + 1, w.ticks), 0),
        )
        start = both(n >= 0, n <= w.ticks, n <= before)
        return implies(
            start,
            both(inductive, counted, implies(met, idle_output(t.o)), implies(armed, latched(t))),
        )

    return claim


def testing(t: Transition) -> Any:
    return both(t.g.test != 0, t.g.test != TEST_DONE)


def active(t: Transition) -> Any:
    return either(t.g.on != 0, testing(t))


def slow_tick(t: Transition) -> Any:
    """A tick of half its period or more, or two and a half periods late, while an element is driven: latched in the same tick."""
    return implies(both(judged(t), active(t), either(t.x.load >= 8, t.x.gap >= 40)), latched(t))


def damaged_limits(t: Transition) -> Any:
    broken = both(t.g.cause != MEMORY, z3.Not(inputs_in_range(t.x)))
    loosened = both(judged(t), t.g.on != 0, z3.Not(intact(t.x)))
    lost = both(
        t.h.stop == t.h.cause, t.h.why == t.h.cause, t.h.armed == 0, t.h.rest == 15, t.h.on == 0
    )
    kept = t.h.cause == choose(t.g.cause == 0, DAMAGED, t.g.cause)
    return both(
        implies(either(broken, loosened), latched(t)),
        implies(broken, either(t.h.cause == MEMORY, both(lost, kept))),
    )


def frozen_rule(which: str) -> Callable[[Transition], Any]:
    """No change of code for 50 ticks while the other reading moved by more than 8 kPa since the last change."""

    def claim(t: Transition) -> Any:
        n, mark, code = (z3.BitVec(f"ghost_{which}_{part}", 32) for part in ("n", "mark", "code"))
        other = (t.h.fb if which == "a" else t.h.fa) >> 4
        names = f"last_{which}", f"frz_{which}", f"fref_{which}"
        changed = getattr(t.x, which) != code
        n2 = choose(judged(t), choose(changed, 0, lowest(n + 1, 50)), n)
        mark2 = choose(both(judged(t), changed), other, mark)
        code2 = choose(judged(t), getattr(t.x, which), code)

        def tied(s: Any, k: Any, m: Any, c: Any) -> Any:
            return both(
                k >= 0,
                k <= 50,
                k <= getattr(s, names[1]),
                m == getattr(s, names[2]),
                c == getattr(s, names[0]),
            )

        met = both(
            judged(t),
            n2 >= 50,
            either(other - mark2 > 8_000, mark2 - other > 8_000),
            t.h.warm >= 50,
        )
        still = either(t.h.cause == MEMORY, tied(t.h, n2, mark2, code2))
        tick = implies(both(judged(t), t.g.frz_a <= 50), t.h.frz_a <= 50)
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
    return implies(
        tied(t.g, n, mark), both(still, off, implies(both(on, n2 > t.x.norise), latched(t)))
    )


def attached(t: Transition) -> Any:
    """Faster than any fill: a hose was attached."""
    return slope_lag(t.h) > 12_000


def both_rose(t: Transition, a: Any, b: Any, least: int) -> Any:
    """Each transducer shows more than `least` over where it stood: air did that, not the fault of one."""
    return both((t.h.fa >> 4) - a > least, (t.h.fb >> 4) - b > least)


def one_alone(t: Transition, above: Any, by: int) -> Any:
    """One transducer rose by more than `by`, slowly enough for the other to follow, or by 30 kPa; nothing is out of range."""
    in_range = both(t.h.range_a == 0, t.h.range_b == 0, z3.Not(bad_barometer(t.x)))
    return both(in_range, either(both(above > by, slope_lag(t.h) < 3_000), above > 30_000))


def rising_while_off(t: Transition) -> Any:
    """G6: off for more than 250 ticks after the last drive, test or step, and 6 kPa over the lowest reading since: vent, latched, where both
    transducers rose by 3 kPa; latched where one did alone.

    The lowest reading may creep up by 150 Pa in 1024 ticks. Ghosts: ticks off, lowest reading, A and B at that, ticks since the last creep.
    """
    off, low, since, a, b = (
        z3.BitVec(f"ghost_{name}", 32) for name in ("off", "low", "since", "low_a", "low_b")
    )
    now = reading(t.h)
    ran = choose(new_connection(t), t.g.ran, t.g.ran) != 0
    quiet = both(t.g.on == 0, z3.Not(testing(t)), z3.Not(attached(t)), ran)
    off2 = choose(quiet, lowest(off + 1, 251), 0)
    creep = both(off2 > 250, since >= 1_024)
    base = choose(creep, low + 150, low)
    lowest_now = either(off2 <= 250, now < base)
    low2 = choose(lowest_now, now, base)
    a2, b2 = choose(lowest_now, t.h.fa >> 4, a), choose(lowest_now, t.h.fb >> 4, b)
    since2 = choose(off2 <= 250, 0, choose(creep, 1, since + 1))

    def tied(s: Any, c: Any, m: Any, e: Any, of_a: Any, of_b: Any) -> Any:
        early = both(c >= 0, c <= 250, e == 0, s.off_cnt == c)
        late = both(c == 251, e >= 1, e <= 1_024, s.off_cnt == 250 + e)
        in_test = both(s.test != 0, s.test != TEST_DONE)
        stood = either(c == 0, in_test, both(of_a == s.ref_a, of_b == s.ref_b))
        return both(either(early, late), m == s.off_ref, stood)

    still = either(z3.Not(judged(t)), tied(t.h, off2, low2, since2, a2, b2))
    met = both(judged(t), off2 > 250, now > low2 + 6_000)
    rose = both_rose(t, a2, b2, 3_000)
    vented = both(latched(t), bit(t.o, VENT), vents(t.h.cause))
    return implies(
        tied(t.g, off, low, since, a, b),
        both(
            still,
            implies(both(met, rose), vented),
            implies(both(met, one_alone(t, now - low2, 7_000)), latched(t)),
        ),
    )


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
]  # fmt: skip
