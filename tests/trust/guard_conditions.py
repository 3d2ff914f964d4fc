"""Conditions that the rules about the guard speak of, each stated from the promises over one step, and the form of a rule."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import z3

from tests.trust.guard_model import (
    BIAS,
    CHUCK_OFF,
    CUTOFF,
    FILL_VENT,
    KEY_HIGH,
    KEY_LOW,
    MEMORY,
    RUN,
    Transition,
    bit,
    idle_output,
    inputs_in_range,
    intact,
    overrun,
    reading,
    slope_lag,
    vents,
)  # fmt: skip
from tests.trust.terms import both, choose, either, highest, size

SPENT = 2**27


@dataclass(frozen=True)
class Rule:
    """`claim(t)` must hold for every step. `planted` replaces one piece of the guard's text by another that breaks it."""

    name: str
    promise: str
    claim: Callable[[Transition], Any]
    planted: tuple[str, str]
    anywhere: bool = False  # claimed for every memory content, not only inside INV


def judged(t: Transition) -> Any:
    """The guard judged this tick: memory whole, inputs in range."""
    return both(t.g.cause != MEMORY, inputs_in_range(t.x))


def new_connection(t: Transition) -> Any:
    return t.g.conn_g != t.h.conn_g


def running(t: Transition) -> Any:
    return bit(t.x.sw, RUN)


def outside_range(code: Any) -> Any:
    return either(code < 3_277, code > 62_259)


def key_of(x: Any) -> Any:
    return x.sw & (KEY_LOW | KEY_HIGH)


def bad_key(x: Any) -> Any:
    return both(key_of(x) != KEY_LOW, key_of(x) != KEY_HIGH)


def bad_supply(x: Any) -> Any:
    return either(x.supply < 74, x.supply > 82)


def bad_barometer(x: Any) -> Any:
    return either(x.ambient < 50_000, x.ambient > 110_000)


def apart(h: Any) -> Any:
    return size(h.fa - h.fb) > 480_000


def loaded(t: Transition) -> Any:
    return both(intact(t.x), t.x.ceil_pa > 0, t.h.ceil > 0, t.x.conn == t.h.conn_g)


def range_allows(t: Transition) -> Any:
    low = both(key_of(t.x) == KEY_LOW, t.h.ceil <= 500_000)
    return either(low, both(key_of(t.x) == KEY_HIGH, t.h.ceil > 500_000, t.x.flags & 4 == 0))


def under_stop(t: Transition) -> Any:
    return reading(t.h) + overrun(t.h, t.x) < t.h.ceil - t.h.band + BIAS


def plausible(t: Transition) -> Any:
    x, h = t.x, t.h
    codes = z3.Not(either(outside_range(x.a), outside_range(x.b), bad_supply(x), bad_barometer(x)))
    return both(
        codes, z3.Not(apart(h)), z3.Not(bit(x.sw, CUTOFF)), z3.Not(bad_key(x)), h.warm >= 50
    )


def budgets_last(t: Transition) -> Any:
    return both(spent_time(t) < t.x.time_max, spent_air(t) < t.x.air_max)


def spent_time(t: Transition) -> Any:
    return choose(new_connection(t), 0, t.g.time)


def spent_air(t: Transition) -> Any:
    return choose(new_connection(t), 0, t.g.air)


def torn_off(t: Transition) -> Any:
    """The reading fell away while the source was on."""
    return both(t.g.on_ticks >= 25, slope_lag(t.h) < -25_000)


def gone(t: Transition) -> Any:
    """The guard reports the chuck off in this tick (G10)."""
    return bit(t.o, CHUCK_OFF)


def ran_then(t: Transition) -> Any:
    """Whether the source ran in this connection, before this tick's drive."""
    return choose(either(new_connection(t), gone(t)), 0, t.g.ran)


def burst_bound(t: Transition) -> Any:
    """Bound of the rise by one burst of a line: 1.5 times the largest rise since one stayed, 20 kPa more at least; before one did 110 kPa, and before
    any air 200 kPa unless the hose is under 30 kPa. Pa."""
    h = t.h
    first = choose(either(ran_then(t) != 0, reading(h) < BIAS + 30_000), 110_000, 200_000)
    return choose(h.lift != 0, h.lift + highest(h.lift >> 1, 20_000), first)


def burst_near(t: Transition) -> Any:
    """One burst of a line of which no flow into a tyre was seen could reach the ceiling."""
    return both(
        t.h.seen == 0,
        t.x.flags & 8 != 0,
        reading(t.h) + burst_bound(t) + t.h.band >= t.h.ceil + BIAS,
    )


def stands(t: Transition) -> Any:
    """The reading moves by less than 1/64 of itself in 16 ticks, 600 Pa at least."""
    return size(slope_lag(t.h)) < highest((reading(t.h) - BIAS) >> 6, 600)


def burst_held(t: Transition) -> Any:
    """The gate waits: for the end of a burst's rest and a steady reading, while the vent is open, or because a chuck that was on may be coming off."""
    waits = both(t.g.on == 0, either(t.h.since < 60, z3.Not(stands(t))))
    unseen = both(
        t.h.seen == 0, t.x.flags & 8 != 0, either(t.g.on_ticks >= 3 + t.h.burst_more, waits)
    )
    return either(both(t.h.stood != 0, t.h.at_ambient != 0), unseen, vented(t))


def vented(t: Transition) -> Any:
    """The vent is open as this tick begins: the fill controller or a latched cause holds it open."""
    return either(bit(t.x.sw, FILL_VENT), vents(t.g.cause))


def allowed(t: Transition) -> Any:
    """Everything that must hold for either element to be driven."""
    clear = both(t.h.cause == 0, running(t), t.g.armed != 0, z3.Not(gone(t)))
    flow = both(under_stop(t), z3.Not(torn_off(t)), z3.Not(burst_near(t)))
    return both(judged(t), clear, loaded(t), plausible(t), range_allows(t), budgets_last(t), flow)


def on_needs(condition: Callable[[Transition], Any]) -> Callable[[Transition], Any]:
    """Either element is driven only if the condition holds."""
    return lambda t: either(idle_output(t.o), condition(t))
