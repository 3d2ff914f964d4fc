"""The closed loop of a tyre that the reading does not show: its core shut, the hose at ambient, leaking or let down.

M as in `closed_loop`, T the tyre. `left` is how far the reading is
behind when the core opens, at most `deep`; it shrinks by a quarter each tick of flow. Two claims, whatever the hose does:

  - With the source on the tyre is at most `left`, and what the overrun is too small by, over its ceiling. One opening of the core thus
    lifts it at most `closed_bounds.entry_pa` over its ceiling.
  - A tyre that lies `clear` under its ceiling as its core opens stays at or below it. `clear` holds a rise of `wt` for each tick in which
    the reading is further behind than the overrun has room for, and what still comes after a stop (`closed_bounds.clear_pa`). Arming
    accepts no target that is not clear.

The bounds are those of `closed_loop`; in a tick with the core shut the tyre does not rise.
"""

from collections.abc import Callable
from typing import Any

import z3

from tests.trust.guard_model import BIAS

SETTLED_16 = 8  # what rounding leaves of a settled filter, 1/16 Pa
JITTER = 17  # units of 128 us


def behind(f: Any, m: Any, left: Any, p: Any) -> Any:
    """A filtered reading follows a tyre that it did not show, but for what is left."""
    return f >= 16 * (m - p.error - p.late - 3 * p.w - left) - SETTLED_16


def grows(p: Any, a_tick: Any) -> Any:
    """Highest rise in this tick, Pa: `a_tick` with the core open, more in a longer tick, none with the core shut."""
    return z3.If(p.open, z3.If(p.gap <= JITTER, a_tick, a_tick * 8), 0)


def flows_on(p: Any) -> Any:
    """The core was open in the tick before."""
    return z3.And(p.open, z3.Not(p.first))


def fits(left: Any, p: Any) -> Any:
    """The overrun has room for what is left."""
    return p.late + 3 * p.w + p.after + 2 + left <= p.rise


def is_clear(t: Any, clear: Any, p: Any) -> Any:
    """The tyre and what may still come before the reading shows it lie under the highest ceiling."""
    return t + clear + p.after_t <= p.top


HIDDEN_BOUNDS: dict[str, Callable[[Any], Any]] = {
    "rise": lambda p: p.m_next <= p.m + grows(p, p.w),
    "jitter": lambda p: p.gap <= JITTER,
    "sensor": lambda p: p.shown >= p.m_next - p.error - p.late - z3.If(p.open, 0, p.deep),
    "error": lambda p: p.error <= p.band,
    "room": lambda p: p.late + 3 * p.w + p.after + 2 <= p.rise + p.short,
    "settled": lambda p: z3.And(
        z3.Or(p.first, p.left <= p.deep),
        z3.Or(p.first, behind(p.fa, p.m, p.left, p)),
        z3.If(flows_on(p), 4 * p.left_next >= 3 * p.left, p.left_next == p.deep),
    ),
}
UNSEEN_BOUNDS: dict[str, Callable[[Any], Any]] = {
    "rise": lambda p: z3.And(HIDDEN_BOUNDS["rise"](p), p.t_next <= p.t + grows(p, p.wt)),
    "jitter": HIDDEN_BOUNDS["jitter"],
    "sensor": HIDDEN_BOUNDS["sensor"],
    "error": HIDDEN_BOUNDS["error"],
    "drop-out": lambda p: z3.And(p.end <= p.m_next + p.after, p.end <= p.t_next + p.after_t),
    "room": lambda p: z3.Implies(p.open, z3.Or(p.clear >= p.wt, fits(p.left_next, p))),
    "settled": HIDDEN_BOUNDS["settled"],
    "unseen": lambda p: z3.Or(flows_on(p), is_clear(p.t, p.clear, p)),
}


def catches_up(p: Any) -> Any:
    """After the tick the reading is behind by `left_next` at most, so that `settled` holds for the next one."""
    return behind(p.fa_next, p.m_next, p.left_next, p)


def hidden_below(p: Any) -> Any:
    """With the source on a hidden tyre ends at most what is left over the ceiling, and what the overrun is too small by."""
    return z3.Implies(p.on, p.m_next + p.after <= p.ceil + BIAS + p.left_next + p.short)


def unseen_below(p: Any) -> Any:
    """With the source on a tyre that began clear ends at or below the highest ceiling, and is clear or seen after the tick too."""
    spent = z3.If(z3.And(p.open, p.clear >= p.wt), p.clear - p.wt, p.clear)
    chosen = z3.And(
        p.ceil + BIAS <= p.top,
        p.clear_next == spent,
        z3.Implies(flows_on(p), 4 * p.left_next <= 3 * p.left + 3),
    )
    was = z3.Implies(flows_on(p), z3.Or(is_clear(p.t, p.clear, p), fits(p.left, p)))
    after = z3.Or(is_clear(p.t_next, p.clear_next, p), z3.And(p.open, fits(p.left_next, p)))
    return z3.Implies(z3.And(chosen, was), z3.And(z3.Implies(p.on, p.end <= p.top), after))
