"""The guard as a transition: its source read into terms, its invariant and the readings as the rules state them.

Everything here is stated again from the promises, with literal limits; nothing is imported from the guard but its text.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import z3
from rimward_protocol.kernel_words import GUARD_INPUT, GUARD_STATE

from tests.trust.executor import Executor
from tests.trust.program import Summary
from tests.trust.terms import PRODUCT, SMALL_MAX, SMALL_MIN, both, choose, highest, one_of, words

GUARD = "rimward_fw.kernels.guard"
GATE, RELAY, VENT, LATCHED, READY, TESTING, CHUCK_OFF = 1, 2, 4, 8, 16, 32, 64
RUN, KEY_LOW, KEY_HIGH, CUTOFF, WANT, CLEAR = 1, 2, 4, 8, 16, 32
FILL_VENT = 8192  # bit of x[SW], as WANT
NO_BURST = 0x3FFFFF
TEST_DONE = 16000
BIAS = 600_000
VENTING = (22, 23, 28, 29, 30)
MEMORY, DAMAGED = 32, 33
ALL_INPUTS = 24
ALL_STATE = 49

# Width in bits of every state word: what the guard's own memory check must refuse to leave.
WIDTHS = {
    8: ("cause", "cause_n", "stop", "why", "rest", "warm", "since", "at_ambient", "burst_more", "range_a", "range_b", "disagree", "over", "key_cnt", "cut_cnt", "sup_cnt", "baro_cnt"),
    1: ("on", "ran", "armed", "seen"),
    20: ("ceil", "ceil_n", "band"),
    26: ("fa", "fb", "sl"),
    22: ("fref_a", "fref_b", "nr_ref", "off_ref", "ref_a", "ref_b", "read", "stood", "lift", "burst_from", "burst_peak"),
    16: ("last_a", "last_b", "frz_a", "frz_b", "on_ticks", "nr_cnt", "off_cnt", "test", "conn_g"),
    28: ("time", "air"),
}  # fmt: skip
INPUT_WIDTHS = {
    17: ("ambient", "band_pa", "rise_pa"),
    20: ("ceil_pa",),
    27: ("air_max", "time_max"),
    12: ("d0", "d1", "test_len"),
    6: ("horizon",),
    15: ("norise", "conn"),
    4: ("flags",),
    14: ("gain_a", "gain_b"),
    29: ("chk",),
    16: ("a", "b", "sw"),
    8: ("load", "gap", "supply"),
}


class Named:
    """Words by name."""

    def __init__(self, names: tuple[str, ...], values: list[Any]):
        self.__dict__.update(zip(names, values))
        self.values = values

    def __getattr__(self, name: str) -> Any:
        raise AttributeError(name)


def in_width(term: Any, bits: int) -> Any:
    return both(term >= 0, term <= (1 << bits) - 1)


def invariant(g: Any) -> Any:
    """INV: every word in its width, both complements whole, the ceiling at most 9 bar."""
    parts = [in_width(getattr(g, name), bits) for bits, group in WIDTHS.items() for name in group]
    return both(*parts, g.cause + g.cause_n == 255, g.ceil + g.ceil_n == 0xFFFFF, g.ceil <= 900_000)


def inputs_in_range(x: Any) -> Any:
    """Every input within what the board and the main loop can write."""
    parts = [
        in_width(getattr(x, name), bits) for bits, group in INPUT_WIDTHS.items() for name in group
    ]
    offs = [both(off >= -400_000, off <= 600_000) for off in (x.off_a, x.off_b)]
    return both(*parts, *offs, x.ceil_pa <= 900_000)


def small_words(values: list[Any]) -> Any:
    """Every word a small integer of a 32-bit MicroPython: what it can load without allocating."""
    return both(*[both(v >= SMALL_MIN, v <= SMALL_MAX) for v in values])


@dataclass(frozen=True)
class Transition:
    """One step: old state `g`, inputs `x`, new state `h`, output `o`. `h` and `o` are free words; `link` ties them to the guard."""

    g: Any
    x: Any
    h: Any
    o: Any
    link: Any
    facts: Any
    summary: Summary


def _read(source: str, g: Any, x: Any, function: str = "step") -> Summary:
    return Executor(source, function, small_words(g.values + x.values)).run(g.values, x.values)


@lru_cache(maxsize=4)
def transition(source: str) -> Transition:
    """The guard in `source` as a transition over free words g*, x*, h*, o."""
    g, x, h = (
        Named(GUARD_STATE, words("g", ALL_STATE)),
        Named(GUARD_INPUT, words("x", ALL_INPUTS)),
        Named(GUARD_STATE, words("h", ALL_STATE)),
    )
    o = z3.BitVec("o", 32)
    summary = _read(source, g, x)
    link = both(*[a == b for a, b in zip(h.values, summary.state)], o == summary.out)
    return Transition(g, x, h, o, link, both(*summary.facts), summary)


def chained(t: Transition, steps: int) -> tuple[list[Any], list[Any], list[Any], Any]:
    """`steps` transitions in a row: states (one more than steps), inputs, outputs, and what ties them."""
    states, inputs, outs, ties = [t.g], [], [], []
    for k in range(steps):
        x, h, o = (
            Named(GUARD_INPUT, words(f"x{k}_", ALL_INPUTS)),
            Named(GUARD_STATE, words(f"h{k}_", ALL_STATE)),
            z3.BitVec(f"o{k}", 32),
        )
        swap = (
            list(zip(t.g.values, states[-1].values))
            + list(zip(t.x.values, x.values))
            + list(zip(t.h.values, h.values))
            + [(t.o, o)]
        )
        ties.append(z3.substitute(both(t.link, t.facts), *swap))
        states.append(h)
        inputs.append(x)
        outs.append(o)
    return states, inputs, outs, both(*ties)


# The readings, stated again.


def pressure_a(x: Any) -> Any:
    """Gauge pascal plus bias of transducer A in this tick."""
    absolute = (PRODUCT(x.a, x.gain_a) >> 9) + x.off_a + BIAS
    return choose(x.flags & 1 != 0, absolute - x.ambient, absolute)


def pressure_b(x: Any) -> Any:
    absolute = (PRODUCT(x.b, x.gain_b) >> 9) + x.off_b + BIAS
    return choose(x.flags & 2 != 0, absolute - x.ambient, absolute)


def higher(h: Any) -> Any:
    """The higher of both filtered readings, 1/16 Pa."""
    return highest(h.fa, h.fb)


def reading(h: Any) -> Any:
    return higher(h) >> 4


def slope_lag(h: Any) -> Any:
    """How far the slow filter stays behind, Pa: the measured slope times its delay."""
    return (higher(h) - h.sl) >> 4


def overrun(h: Any, x: Any) -> Any:
    """At least what the tyre can rise after a stop; more if the reading runs faster."""
    return highest(x.rise_pa, PRODUCT(choose(slope_lag(h) < 0, 0, slope_lag(h)), x.horizon) >> 4)


def delivery(h: Any, x: Any) -> Any:
    """Free air of one tick, 1/64 mL, never taken as less than an eighth of the delivery at zero."""
    gauge = choose(reading(h) > BIAS, reading(h) - BIAS, 0)
    return highest(x.d0 - (PRODUCT(gauge >> 8, x.d1) >> 8), x.d0 >> 3)


def intact(x: Any) -> Any:
    """The set of limits adds up, and loosens nothing that is compiled in."""
    sums = (
        x.ceil_pa
        + x.band_pa
        + x.rise_pa
        + x.air_max
        + x.time_max
        + x.norise
        + x.test_len
        + x.conn
        + x.chk
    )
    sums = sums + x.flags + x.gain_a + x.off_a + x.gain_b + x.off_b + x.d0 + x.d1 + x.horizon
    tight = both(x.band_pa >= 1_000, x.rise_pa >= 500, x.horizon >= 8, x.test_len >= 50, x.d0 >= 8)
    gains = both(
        x.gain_a >= 9_000,
        x.gain_b >= 9_000,
        x.off_a + 12 * x.gain_a >= -30_000,
        x.off_b + 12 * x.gain_b >= -30_000,
    )
    return both(sums == 0x1FFFFFFF, tight, gains)


def bit(value: Any, mask: int) -> Any:
    return value & mask != 0


def source_on(o: Any) -> Any:
    """The air source runs: gate and relay together."""
    return both(bit(o, GATE), bit(o, RELAY))


def idle_output(o: Any) -> Any:
    """Neither element driven."""
    return o & (GATE | RELAY) == 0


def vents(cause: Any) -> Any:
    return one_of(cause, VENTING)
