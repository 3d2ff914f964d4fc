"""What the guard promises, rule by rule, over one step: old state g, inputs x, new state h, output o.

Each rule is stated from the promises, holds for every state inside INV and every input, and names a planted defect
(a change of the guard's text) that must break it. Rules over several ticks carry ghosts: counts of the rule's own, tied
to the guard's state by a relation that the rule shows to be inductive, so that the claim holds after any number of ticks.
"""

from typing import Any

import z3

from tests.trust.guard_conditions import (
    SPENT,
    Rule,
    allowed,
    burst_held,
    gone,
    judged,
    loaded,
    new_connection,
    on_needs,
    plausible,
    ran_then,
    running,
    spent_air,
    spent_time,
    torn_off,
    under_stop,
)
from tests.trust.guard_model import (
    CHUCK_OFF,
    GATE,
    KEY_HIGH,
    KEY_LOW,
    LATCHED,
    MEMORY,
    READY,
    RELAY,
    TEST_DONE,
    TESTING,
    VENT,
    WANT,
    Transition,
    bit,
    delivery,
    higher,
    idle_output,
    intact,
    invariant,
    pressure_a,
    pressure_b,
    reading,
    source_on,
)  # fmt: skip
from tests.trust.terms import PRODUCT, both, choose, either, highest, implies, lowest, one_of

# G1 and G2: what each drive needs, and that nothing more is needed.


def air_runs_iff(t: Transition) -> Any:
    return source_on(t.o) == both(
        allowed(t), t.g.test == TEST_DONE, bit(t.x.sw, WANT), t.g.rest <= 1, z3.Not(burst_held(t))
    )


def ready_iff(t: Transition) -> Any:
    ready = both(allowed(t), t.g.test == TEST_DONE, z3.Not(new_connection(t)))
    return both(bit(t.o, READY) == ready, implies(bit(t.o, READY), bit(t.o, RELAY)))


def filters(t: Transition) -> Any:
    g, h, first = t.g, t.h, t.g.warm == 0
    pa, pb = pressure_a(t.x) << 4, pressure_b(t.x) << 4
    old_a, old_b, old_s = (
        choose(first, pa, g.fa),
        choose(first, pb, g.fb),
        choose(first, highest(pa, pb), g.sl),
    )
    follow = both(h.fa == old_a + ((pa - old_a) >> 2), h.fb == old_b + ((pb - old_b) >> 2))
    return implies(
        judged(t), both(follow, h.sl == old_s + ((higher(h) - old_s) >> 4), h.read == reading(h))
    )


def filter_gains(t: Transition) -> Any:
    """A reading moves at least a quarter of the way to a higher pressure in each tick and never past it."""
    pa = pressure_a(t.x) << 4
    rises = both(judged(t), t.g.warm > 0, pa >= t.g.fa)
    return implies(rises, both(t.h.fa <= pa, (pa - t.h.fa) <= (pa - t.g.fa) - ((pa - t.g.fa) >> 2)))


def warming(t: Transition) -> Any:
    return implies(judged(t), t.h.warm == lowest(t.g.warm + 1, 50))


# Budgets.


def charged(t: Transition) -> Any:
    return both(judged(t), either(source_on(t.o), both(t.h.rest > 0, t.h.ran != 0)))


def time_counts(t: Transition) -> Any:
    return implies(
        judged(t), t.h.time == choose(charged(t), lowest(spent_time(t) + 1, SPENT), spent_time(t))
    )


def air_counts(t: Transition) -> Any:
    gone = PRODUCT(delivery(t.h, t.x), highest(t.x.gap, 16)) >> 4
    return implies(
        judged(t), t.h.air == choose(charged(t), lowest(spent_air(t) + gone, SPENT), spent_air(t))
    )


def spent_stays(t: Transition) -> Any:
    """Within a connection no budget is restored."""
    kept = both(t.h.time >= lowest(t.g.time, SPENT), t.h.air >= lowest(t.g.air, SPENT))
    return either(new_connection(t), kept)


# The ceiling in force.


def connection_at_rest(t: Transition) -> Any:
    rest = both(z3.Not(running(t)), t.g.on == 0, t.g.rest == 0)
    return implies(judged(t), new_connection(t) == both(rest, t.x.conn != t.g.conn_g))


def connection_clears(t: Transition) -> Any:
    h = t.h
    return implies(
        new_connection(t),
        both(h.conn_g == t.x.conn, h.time == 0, h.air == 0, h.test == 0, h.ran == 0, h.over == 0),
    )


def ceiling_never_rises(t: Transition) -> Any:
    kept = both(
        t.h.ceil <= t.g.ceil,
        t.h.ceil > 0,
        t.h.band >= t.g.band,
        t.h.ceil - t.h.band <= t.g.ceil - t.g.band,
    )
    return either(new_connection(t), t.g.ceil == 0, kept)


def ceiling_taken(t: Transition) -> Any:
    """The ceiling comes from a whole profile, at rest the first time; later only a lower one is taken, at once."""
    before, now = (
        choose(new_connection(t), 0, t.g.ceil),
        both(judged(t), intact(t.x), t.x.conn == t.h.conn_g, t.x.ceil_pa > 0),
    )
    take = both(now, either(both(before == 0, z3.Not(running(t))), t.x.ceil_pa < before))
    band = choose(new_connection(t), 0, t.g.band)
    bands = t.h.band == choose(now, highest(band, t.x.band_pa), band)
    return both(t.h.ceil == choose(take, t.x.ceil_pa, before), bands)


def ceiling_of_range(t: Transition) -> Any:
    low = implies(both(z3.Not(idle_output(t.o)), bit(t.x.sw, KEY_LOW)), t.h.ceil <= 500_000)
    high = implies(
        both(z3.Not(idle_output(t.o)), bit(t.x.sw, KEY_HIGH)),
        both(t.h.ceil > 500_000, t.x.flags & 4 == 0),
    )
    return both(t.h.ceil <= 900_000, low, high)


# Outputs, reset, memory.


def outputs_known(t: Transition) -> Any:
    ready, latched = RELAY | READY, LATCHED | VENT
    still = (0, LATCHED, latched)
    return one_of(
        t.o,
        (
            *still,
            *(o | CHUCK_OFF for o in still),
            ready,
            ready | GATE,
            TESTING,
            TESTING | RELAY,
            TESTING | GATE,
        ),
    )


def nothing_unarmed(t: Transition) -> Any:
    """G7: nothing moves until the run control was seen open since the reset, and since a latch."""
    return implies(both(t.g.armed == 0, running(t)), both(idle_output(t.o), t.h.armed == 0))


def arming(t: Transition) -> Any:
    drops = both(running(t), either(t.h.cause != 0, t.h.why == 7, gone(t)))
    armed = choose(running(t), choose(drops, 0, t.g.armed), 1)
    return implies(judged(t), t.h.armed == armed)


def memory_trips(t: Transition) -> Any:
    held = both(t.h.cause == MEMORY, t.o == LATCHED | VENT)
    return implies(z3.Not(invariant(t.g)), held)


def memory_holds(t: Transition) -> Any:
    same = both(*[a == b for a, b in zip(t.g.values, t.h.values)])
    return implies(t.g.cause == MEMORY, both(same, t.o == LATCHED | VENT))


def invariant_holds(t: Transition) -> Any:
    return invariant(t.h)


def ran_and_on(t: Transition) -> Any:
    on = both(
        t.h.on == choose(source_on(t.o), 1, 0),
        t.h.on_ticks == choose(source_on(t.o), lowest(t.g.on_ticks + 1, 32_767), 0),
    )
    ran = t.h.ran == choose(source_on(t.o), 1, ran_then(t))
    return implies(judged(t), both(on, ran))


WHOLE = "v1 + x[_CHK] != _CHECK or "
RULES = [
    Rule(
        "air-runs-iff-allowed",
        "G1",
        air_runs_iff,
        ("if sw & _WANT != 0 and g[_REST] == 0 and", "if g[_REST] == 0 and"),
    ),
    Rule("ready-iff-allowed", "G1", ready_iff, ("elif g[_ARMED] == 0:", "elif g[_ARMED] == 2:")),
    Rule("needs-profile-intact", "G1", on_needs(loaded), (WHOLE, "")),
    Rule(
        "needs-plausible", "G1", on_needs(plausible), ("g[_DISAGREE] + g[_SUP_CNT]", "g[_SUP_CNT]")
    ),
    Rule(
        "needs-nothing-latched",
        "G1",
        on_needs(lambda t: t.h.cause == 0),
        ("        cause = fault\n", "        cause = 0\n"),
    ),
    Rule(
        "needs-run-held",
        "G1",
        on_needs(running),
        ("        why = _RELEASED\n        g[_ARMED] = 1", "        g[_ARMED] = 1"),
    ),
    Rule(
        "needs-time",
        "G1",
        on_needs(lambda t: t.g.time < t.x.time_max),
        ("g[_TIME] >= x[_TIME_MAX]", "g[_TIME] > x[_TIME_MAX]"),
    ),
    Rule(
        "needs-air",
        "G1",
        on_needs(lambda t: t.g.air < t.x.air_max),
        ("g[_AIR] >= x[_AIR_MAX]", "g[_AIR] == x[_AIR_MAX]"),
    ),
    Rule(
        "time-counts",
        "G1",
        time_counts,
        ("if on != 0 or (g[_REST] != 0 and g[_RAN] != 0):", "if on != 0:"),
    ),
    Rule("air-counts", "G1", air_counts, ("x[_D0] >> 3", "x[_D0] >> 4")),
    Rule(
        "budgets-never-return",
        "G1",
        spent_stays,
        ("if g[_TIME] < _SPENT else _SPENT", "if g[_TIME] < x[_TIME_MAX] else x[_TIME_MAX]"),
    ),
    Rule("reading-filters", "G2", filters, ("high = fa if fa > fb", "high = fa if fa < fb")),
    Rule(
        "reading-follows",
        "G2",
        filter_gains,
        ("(pa << 4) - g[_FA] >> 2", "(pa << 4) - g[_FA] >> 3"),
    ),
    Rule(
        "stops-below-ceiling",
        "G2",
        on_needs(under_stop),
        ("read + over >= g[_CEIL]", "read + over > g[_CEIL]"),
    ),
    Rule(
        "ceiling-never-rises",
        "G2",
        ceiling_never_rises,
        ("x[_CEIL_PA] < g[_CEIL]:", "x[_CEIL_PA] != g[_CEIL]:"),
    ),
    Rule(
        "ceiling-taken-at-rest",
        "G2",
        ceiling_taken,
        ("g[_CEIL] == 0 and run == 0 or", "g[_CEIL] == 0 or"),
    ),
    Rule(
        "connection-begins-at-rest",
        "G2",
        connection_at_rest,
        ("run == 0 and (was_on == 0) and (g[_REST]", "(was_on == 0) and (g[_REST]"),
    ),
    Rule("connection-clears", "G2", connection_clears, ("        g[_AIR] = 0\n", "")),
    Rule("range-key", "G5", ceiling_of_range, ("g[_CEIL] <= _LOW_CEIL", "g[_CEIL] < _LOW_CEIL")),
    Rule(
        "torn-off-stops",
        "G1",
        on_needs(lambda t: z3.Not(torn_off(t))),
        ("lag < -_DROP_PA", "lag < -_DROP_PA - 1"),
    ),
    Rule("warms-up", "G1", warming, ("_WARM_TICKS = const(50)", "_WARM_TICKS = const(49)")),
    Rule(
        "outputs-known",
        "G4",
        outputs_known,
        ("out = _OUT_TESTING | _OUT_GATE", "out = _OUT_TESTING | _OUT_GATE | _OUT_RELAY"),
    ),
    Rule("counts-its-own-drive", "G1", ran_and_on, ("        g[_RAN] = 1\n", "")),
    Rule(
        "nothing-before-run-seen-open",
        "G7",
        nothing_unarmed,
        ("    elif g[_ARMED] == 0:\n        why = _NOT_READY\n", ""),
    ),
    Rule("arming", "G7", arming, ("(cause != 0 or why == _HOSE_OR_TYRE)", "cause != 0")),
    Rule(
        "invariant-inductive",
        "INV",
        invariant_holds,
        ("g[_FRZ_A] = g[_FRZ_A] + 1", "g[_FRZ_A] = g[_FRZ_A] - 1 - g[_FRZ_A]"),
    ),
    Rule(
        "outside-invariant-trips",
        "INV",
        memory_trips,
        ("((g[_TIME] | g[_AIR]) >> 28 != 0)", "((g[_TIME] | g[_AIR]) >> 29 != 0)"),
        True,
    ),
    Rule(
        "memory-trip-holds",
        "INV",
        memory_holds,
        ("if g[_CAUSE] == _MEMORY:", "if g[_CAUSE] == _MEMORY and g[_ON] == 0:"),
        True,
    ),
]
