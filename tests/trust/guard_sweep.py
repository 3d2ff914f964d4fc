"""Five steps to each side of every limit, in every permission state, with the limits written here as numbers.

A case sets one quantity to `limit + d` in a guard that was driven into the state, makes ticks and compares with the
promise on that side. Only the guard's state is read.
"""

from array import array
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from tests.trust.guard_guided import GAIN, ZERO, S, X, check_word, inputs
from tests.trust.guard_model import BIAS, GATE, KEY_HIGH, KEY_LOW, RELAY, RUN, WANT

State = Any
STATES = ("idle", "ready", "on", "relay-test", "gate-test", "latched", "warming")
DRIVEN = {
    "idle": 0,
    "ready": 18,
    "on": 19,
    "relay-test": 34,
    "gate-test": 33,
    "latched": 8,
    "warming": 0,
}
HELD = ("ready", "on", "relay-test", "gate-test")
OFFSETS = range(-5, 6)


def pressure(x: Any, which: str) -> int:
    """Gauge pascal with bias, as the rules state it."""
    pa = ((x[X[which]] * x[X[f"gain_{which}"]]) >> 9) + x[X[f"off_{which}"]] + BIAS
    return pa - (x[X["ambient"]] if x[X["flags"]] & (1 if which == "a" else 2) else 0)


def settle(g: State, x: Any) -> None:
    """The guard after a long time with these inputs."""
    pa, pb = pressure(x, "a"), pressure(x, "b")
    g[S["fa"]], g[S["fb"]], g[S["sl"]], g[S["read"]] = (
        pa << 4,
        pb << 4,
        max(pa, pb) << 4,
        max(pa, pb),
    )
    for name, value in (
        ("last_a", x[X["a"]]),
        ("last_b", x[X["b"]]),
        ("fref_a", pb),
        ("fref_b", pa),
        ("frz_a", 0),
        ("frz_b", 0),
    ):
        g[S[name]] = value
    for name in ("nr_ref", "off_ref"):
        g[S[name]] = max(pa, pb)
    g[S["ref_a"]], g[S["ref_b"]] = pa, pb


def reach(guard: Any, state: str, **changes: int) -> tuple[State, Any]:
    """A guard driven into a permission state by ticks alone, and the inputs that hold it there."""
    g = array("i", [0] * len(S))
    guard.boot(g)
    x = inputs(sw=changes.pop("key", KEY_LOW), **changes)
    key = x[X["sw"]]
    for _ in range(20 if state == "warming" else 80):
        guard.step(g, x)
    if state in ("idle", "warming"):
        return g, x
    x[X["sw"]] = key | RUN
    for _ in range({"relay-test": 20, "gate-test": 100, "latched": 20}.get(state, 150)):
        guard.step(g, x)
    if state == "on":
        x[X["sw"]] = key | RUN | WANT
        for _ in range(40):
            guard.step(g, x)
    if state == "latched":
        g[S["cause"]], g[S["cause_n"]] = 24, 231
        guard.step(g, x)
    return g, x


Put = Callable[[State, Any, int], None]


@dataclass(frozen=True)
class Limit:
    """`put` sets the quantity to `limit + d`; the criterion is met where `bad(d)`. `why` is recorded at once while run is held."""

    name: str
    put: Put
    bad: Callable[[int], bool]
    why: int = 0
    cause: int = 0
    ticks: int = 1
    states: tuple[str, ...] = STATES
    setup: dict[str, int] = field(default_factory=dict)


def under(d: int) -> bool:
    return d < 0


def at_least(d: int) -> bool:
    return d >= 0


def over(d: int) -> bool:
    return d > 0


def at_most(d: int) -> bool:
    return d <= 0


def _input(name: str, limit: int) -> Put:
    def put(g: State, x: Any, d: int) -> None:
        x[X[name]] = limit + d
        x[X["chk"]] = check_word(x)
        settle(g, x)

    return put


def _code(name: str, other: str, limit: int, inside: int) -> Put:
    """One transducer at the limit, the other close by and inside."""

    def put(g: State, x: Any, d: int) -> None:
        x[X[name]], x[X[other]] = limit + d, inside
        settle(g, x)

    return put


def _zero(which: str) -> Put:
    """A zero that moved down: off + 12 * gain = -30,000 + d."""
    return _input(f"off_{which}", -30_000 - 12 * GAIN)


def _word(name: str, limit: int, **more: int) -> Put:
    """A counter of the guard, before this tick's count."""

    def put(g: State, x: Any, d: int) -> None:
        g[S[name]] = limit + d
        for other, value in more.items():
            g[S[other]] = value

    return put


def _stand(g: State, x: Any, pa: int) -> None:
    """Both transducers and all filters at `pa` gauge; the marks of the criteria stay where they were."""
    for which in ("a", "b"):
        x[X[f"off_{which}"]] += pa + BIAS - pressure(x, which)
    x[X["chk"]] = check_word(x)
    keep = {name: g[S[name]] for name in ("nr_ref", "off_ref", "ref_a", "ref_b")}
    settle(g, x)
    for name, value in keep.items():
        g[S[name]] = value


def _reading(pa: int, **marks: int) -> Put:
    """A reading of `pa + d`."""

    def put(g: State, x: Any, d: int) -> None:
        _stand(g, x, pa + d)
        _word("read", g[S["read"]], **marks)(g, x, 0)

    return put


def _mark(name: str, below: int, sign: int = 1, **more: int) -> Put:
    """A mark `below + d` pascal under (or, with sign -1, over) a reading of 50,000 Pa."""

    def put(g: State, x: Any, d: int) -> None:
        _stand(g, x, 50_000)
        _word(name, 50_000 + BIAS - sign * (below + d), **more)(g, x, 0)

    return put


def _apart(g: State, x: Any, d: int) -> None:
    """A reads 30,000 + d pascal over B, permanently."""
    x[X["off_a"]] += 30_000 + d - pressure(x, "a") + pressure(x, "b")
    x[X["chk"]] = check_word(x)
    settle(g, x)


def _long_apart(g: State, x: Any, d: int) -> None:
    _apart(g, x, 1)
    g[S["disagree"]] = 49 + d


def _risen(g: State, x: Any, d: int) -> None:
    _mark("off_ref", 9_000, off_cnt=250 + d, ran=1, ref_a=BIAS, ref_b=BIAS)(g, x, 0)


def _long_over(g: State, x: Any, d: int) -> None:
    _reading(430_000, over=49 + d, ran=1, off_ref=BIAS + 430_000)(g, x, 0)


def _keyed(limit: int, key: int) -> Put:
    """A ceiling of limit + d in force with the key in one position, no straight-side flag."""

    def put(g: State, x: Any, d: int) -> None:
        x[X["ceil_pa"]], x[X["sw"]] = limit + d, x[X["sw"]] & ~6 | key
        x[X["chk"]] = check_word(x)
        g[S["ceil"]], g[S["ceil_n"]] = limit + d, 0xFFFFF - limit - d

    return put


def _slope(lag_pa: int, on_ticks: int, by: tuple[int, int]) -> Put:
    """The slow filter `lag_pa` behind after this tick, on for `on_ticks` before it; `d` moves one of the two."""

    def put(g: State, x: Any, d: int) -> None:
        settle(g, x)
        wanted, high = lag_pa + by[0] * d, max(g[S["fa"]], g[S["fb"]])
        about = high - wanted * 256 // 15
        starts = [
            s
            for s in range(about - 400, about + 400)
            if (high - (s + ((high - s) >> 4))) >> 4 == wanted
        ]
        g[S["sl"]], g[S["on_ticks"]] = starts[0], on_ticks + by[1] * d

    return put


# Gains and zeros with which 95 % of supply is still a pressure under a 9 bar ceiling.
TALL = {
    "ceil_pa": 900_000,
    "key": KEY_HIGH,
    "gain_a": 9_000,
    "gain_b": 9_000,
    "off_a": -137_900,
    "off_b": -137_900,
    "flags": 3,
}
VENTED = {"flags": 0, "off_a": ZERO}
TESTS = ("relay-test", "gate-test")
LINE = {"flags": 9}  # a workshop line, A sealed
QUIET = ("ready", *TESTS)  # states in which a set of limits that is not whole stops without a latch

LIMITS = (
    Limit("A low 3,277", _code("a", "b", 3_277, 3_280), under, 9, 16, 3),
    Limit("B low 3,277", _code("b", "a", 3_277, 3_280), under, 9, 17, 3),
    Limit("A high 62,259", _code("a", "b", 62_259, 62_250), over, 9, 16, 3, setup=TALL),
    Limit("B high 62,259", _code("b", "a", 62_259, 62_250), over, 9, 17, 3, setup=TALL),
    Limit("supply low 74", _input("supply", 74), under, 9, 26, 3),
    Limit("supply high 82", _input("supply", 82), over, 9, 26, 3),
    Limit("barometer low 50,000", _input("ambient", 50_000), under, 9, 31, 250, setup=VENTED),
    Limit("barometer high 110,000", _input("ambient", 110_000), over, 9, 31, 250, setup=VENTED),
    Limit("disagreeing 30,000 Pa", _apart, over, 9, 18, 50),
    Limit("disagreeing 50 ticks", _long_apart, at_least, 9, 18, 1, ("idle",)),
    Limit("tick length 8", _input("load", 8), at_least, 24, 24, 1, ("on", *TESTS)),
    Limit("tick distance 40", _input("gap", 40), at_least, 25, 25, 1, ("on", *TESTS)),
    Limit("stop reading", _reading(400_000 - 10_000 - 4_000, nr_ref=BIAS, ref_a=BIAS + 386_000, ref_b=BIAS + 386_000), at_least, 2, states=HELD),
    Limit("guard band 1,000", _input("band_pa", 1_000), under, 6, states=QUIET),
    Limit("rise 500", _input("rise_pa", 500), under, 6, states=QUIET),
    Limit("horizon 8", _input("horizon", 8), under, 6, states=QUIET),
    Limit("delivery 8", _input("d0", 8), under, 6, states=QUIET),
    Limit("self-test length 50", _input("test_len", 50), under, 6, states=("ready", "relay-test")),
    Limit("gain A 9,000", _input("gain_a", 9_000), under, 6, states=("ready", "relay-test"), setup={"off_a": -6_000}),
    Limit("gain B 9,000", _input("gain_b", 9_000), under, 6, states=("ready", "relay-test"), setup={"off_b": -107_300}),
    Limit("zero A -30,000", _zero("a"), under, 6, states=("ready", "relay-test"), setup=VENTED),
    Limit("zero B -30,000", _zero("b"), under, 6, states=("ready", "relay-test")),
    Limit("ceiling 500,000, key low", _keyed(500_000, KEY_LOW), over, 8, states=HELD),
    Limit("ceiling 500,000, key high", _keyed(500_000, KEY_HIGH), at_most, 8, states=HELD),
    Limit("ceiling 900,000", _keyed(900_000, KEY_HIGH), over, 32, 32, 1),
    Limit("time budget", _word("time", 60_000), at_least, 4, states=HELD),
    Limit("air budget", _word("air", 900_000), at_least, 5, states=HELD),
    Limit("not rising 2,500 ticks", _word("nr_cnt", 2_500), at_least, 21, 21, 1, ("on",)),
    Limit("rising 3,000 Pa while on", _mark("nr_ref", 3_000, nr_cnt=2_500), under, 21, 21, 1, ("on",)),
    Limit("falling 3,000 Pa while on", _mark("nr_ref", 3_000, -1, nr_cnt=2_500), at_most, 21, 21, 1, ("on",)),
    Limit("torn off at -25,000 Pa", _slope(-25_000, 25, (1, 0)), under, 7, states=("on",)),
    Limit("torn off after 25 ticks", _slope(-30_000, 25, (0, 1)), at_least, 7, states=("on",)),
    Limit("A frozen 8,000 Pa", _mark("fref_a", 8_000, frz_a=50), over, 19, 19, 1, ("on", "ready", "idle")),
    Limit("B frozen 8,000 Pa", _mark("fref_b", 8_000, -1, frz_b=50), over, 20, 20, 1, ("on", "ready", "idle")),
    Limit("A frozen 50 ticks", _word("frz_a", 49, fref_a=BIAS + 20_000), at_least, 19, 19, 1, HELD + ("idle",)),
    Limit("B frozen 50 ticks", _word("frz_b", 49, fref_b=BIAS + 20_000), at_least, 20, 20, 1, HELD + ("idle",)),
    Limit("self-test rise 3,000 Pa, relay", _mark("ref_a", 3_000, ref_b=BIAS), over, 28, 28, 1, ("relay-test",)),
    Limit("self-test rise 3,000 Pa, gate", _mark("ref_a", 3_000, ref_b=BIAS), over, 29, 29, 1, ("gate-test",)),
    Limit("rising while off 6,000 Pa", _mark("off_ref", 6_000, off_cnt=400, ran=1, ref_a=BIAS, ref_b=BIAS), over, 22, 22, 1, ("idle", "ready")),
    Limit("one rises alone 7,000 Pa", _mark("off_ref", 7_000, off_cnt=400, ran=1, ref_a=BIAS, ref_b=BIAS + 50_000), over, 18, 18, 1, ("idle", "ready")),
    Limit("rising while off, 250 ticks blank", _risen, at_least, 22, 22, 1, ("idle", "ready")),
    Limit("over-pressure", _reading(410_000, over=49, ran=1, off_ref=BIAS + 410_000), over, 23, 23, 1, ("idle",)),
    Limit("over-pressure 50 ticks", _long_over, at_least, 23, 23, 1, ("idle",)),
    Limit("line, burst bound 200,000 Pa", _reading(400_000 - 10_000 - 200_000, ran=0, seen=0, lift=0), at_least, 2, states=("ready",), setup=LINE),
    Limit("line, burst bound 110,000 Pa", _reading(145_000 - 10_000 - 110_000, ran=0, seen=0, lift=0, ceil=145_000, ceil_n=0xFFFFF - 145_000), at_least, 2, states=("ready",), setup=LINE),
    Limit("line, burst bound 110,000 Pa once air ran", _reading(400_000 - 10_000 - 110_000, ran=1, seen=0, lift=0), at_least, 2, states=("ready",), setup=LINE),
    Limit("line, hose let down to 30,000 Pa", _reading(30_000, ran=0, seen=0, lift=0, ceil=230_000, ceil_n=0xFFFFF - 230_000), at_least, 2, states=("ready",), setup=LINE),
    Limit("line, 1.5 times the largest rise", _reading(400_000 - 10_000 - 60_000, ran=0, seen=0, lift=40_000), at_least, 2, states=("ready",), setup=LINE),
)  # fmt: skip


def _expected_hold(state: str) -> tuple[int, int]:
    """Output and cause of a state that is not disturbed."""
    return DRIVEN[state], 24 if state == "latched" else 0


Reached = dict[tuple[str, str], tuple[State, Any]]


def judge(
    guard: Any, limit: Limit, state: str, d: int, reached: Reached | None = None
) -> str | None:
    """None, or the failure in this case. `reached` caches states that were reached before."""
    reached = {} if reached is None else reached
    place = (state, repr(limit.setup))
    if place not in reached:
        reached[place] = reach(guard, state, **limit.setup)
    g, x = (array("i", words) for words in reached[place])
    settle(g, x)
    limit.put(g, x, d)
    return _watch(guard, limit, state, d, g, x)


def _watch(guard: Any, limit: Limit, state: str, d: int, g: State, x: Any) -> str | None:
    goes_on, kept = _expected_hold(state)
    bad, held = limit.bad(d), state in HELD
    latches = (
        bad and limit.cause and state not in ("warming",) and (held or limit.cause not in (31,))
    )
    for k in range(1, limit.ticks + 1):
        out = guard.step(g, x)
        where = f"{limit.name} {d:+d} {state} tick {k}: output {out} cause {g[S['cause']]} why {g[S['why']]}"
        if bad and out & (GATE | RELAY):
            return f"{where}: driven past the limit"
        if not bad and k == 1 and held and out != goes_on:
            return f"{where}: stopped inside the limit"
        if not bad and g[S["cause"]] not in (kept,):
            return f"{where}: latched inside the limit"
        if bad and k < limit.ticks and g[S["cause"]] != kept:
            return f"{where}: latched before its window"
    if latches and state != "latched" and g[S["cause"]] != limit.cause:
        return f"{where}: not latched as {limit.cause}"
    if latches and state == "latched" and g[S["cause"]] not in (kept, 32, 23, 22, 28, 29, 30):
        return f"{where}: the latch was lost"
    if bad and not latches and held and g[S["why"]] != limit.why:
        return f"{where}: not recorded as {limit.why}"
    return None


def cases() -> Iterator[tuple[Limit, str, int]]:
    for limit in LIMITS:
        for state in limit.states:
            for d in OFFSETS:
                yield limit, state, d


def failures(guard: Any) -> list[str]:
    """Every case whose result differs from the promise."""
    reached: Reached = {}
    return [
        text
        for limit, state, d in cases()
        if (text := judge(guard, limit, state, d, reached)) is not None
    ]
