"""Guided ticks: a simple world with a tyre, a person, a fill and one fault at a time drives the guard through its states.

Everything is drawn from one seed. The world is only there to reach states; the rules state the claims about them.
"""

import random
from array import array
from collections.abc import Callable, Iterator
from typing import Any

from rimward_protocol.kernel_slots import check_word
from rimward_protocol.kernel_words import GUARD_INPUT, GUARD_STATE

from tests.trust.guard_model import (
    CLEAR,
    CUTOFF,
    GATE,
    KEY_HIGH,
    KEY_LOW,
    RELAY,
    RUN,
    TEST_DONE,
    VENT,
    WANT,
)

S = {name: i for i, name in enumerate(GUARD_STATE)}
X = {name: i for i, name in enumerate(GUARD_INPUT)}
GAIN, ZERO = 9766, -125_012
NOMINAL = {
    "a": 6554, "b": 6554, "sw": KEY_LOW, "load": 3, "gap": 16, "supply": 78, "ambient": 101_325, "ceil_pa": 400_000, "band_pa": 10_000,
    "rise_pa": 4_000, "air_max": 900_000, "time_max": 60_000, "norise": 2_500, "test_len": 50, "conn": 1, "flags": 1, "gain_a": GAIN,
    "off_a": ZERO + 101_325, "gain_b": GAIN, "off_b": ZERO, "d0": 64, "d1": 20, "horizon": 24,
}  # fmt: skip
Row = tuple[list[int], list[int], list[int], int]  # state before, inputs, state after, output


def inputs(**changes: int) -> "array[int]":
    """Nominal inputs with changes; the check word fits unless `chk` is given."""
    x = array("i", [0] * len(GUARD_INPUT))
    for name, value in (NOMINAL | changes).items():
        x[X[name]] = value
    if "chk" not in changes:
        x[X["chk"]] = check_word(x)
    return x


def code(pa: int, offset_pa: int = 0) -> int:
    """The 16-bit word of a transducer at `pa` gauge."""
    return min(max((((pa + offset_pa - ZERO) * 512) + GAIN // 2) // GAIN, 0), 65_535)


class World:
    """Tyre, person and one fault. `tick(guard)` makes one step and returns its row."""

    def __init__(self, rng: random.Random, guard: Any):
        self.rng, self.guard = rng, guard
        self.g = array("i", [0] * len(GUARD_STATE))
        guard.boot(self.g)
        self.out = 0
        self.to_come: list[Callable[[World, dict[str, int]], None]] = []
        self.begin()
        self.x = inputs(**self.limits, conn=0, sw=self.key)

    def begin(self) -> None:
        """Begin an episode: new wheel, connection and fault."""
        r = self.rng
        high = r.random() < 0.35
        ceiling = r.choice(
            (500_001, 620_000, 800_000, 900_000) if high else (120_000, 250_000, 400_000, 500_000)
        )
        self.limits = {
            "ceil_pa": ceiling, "band_pa": r.choice((1_000, 8_000, 20_000)), "rise_pa": r.choice((500, 3_000, 9_000)),
            "air_max": r.choice((3_000, 40_000, 900_000, 2**27 - 1)), "time_max": r.choice((60, 700, 60_000)), "norise": r.choice((20, 90, 700)),
            "test_len": r.choice((50, 51, 70)), "flags": r.choice((1, 9)) if high else r.choice((1, 5, 9, 13)), "horizon": r.choice((8, 24, 63)),
            "d0": r.choice((8, 64, 600)), "d1": r.choice((0, 20, 4_095)),
        }  # fmt: skip
        self.key = (
            r.choice((KEY_HIGH,) * 5 + (KEY_LOW,))
            if high
            else r.choice((KEY_LOW,) * 5 + (KEY_HIGH,))
        )
        self.pa = r.choice((0, 0, ceiling // 2, ceiling - 30_000, ceiling + 40_000))
        self.rise = r.choice((0, 12, 60, 250, 900))
        self.conn = r.randrange(1, 32_768)
        self.level = self.pa  # to which a burst runs off again, in every third episode
        if not self.to_come:
            self.to_come = r.sample(FAULTS, len(FAULTS))
        self.fault = self.to_come.pop()
        self.rest = r.choice((0.001, 0.02, 0.3))
        self.start = r.choice((r.randrange(20, 200), r.randrange(180, 400), r.randrange(180, 900)))
        self.stop = self.start + r.choice((1, 2, 3, 4, 30, 120, 400, 900))
        self.age, self.run, self.want, self.clear = 0, 0, 0, 0
        self.frozen: dict[str, int] = {}

    def tick(self) -> Row:
        self.age += 1
        self._person()
        self._physics()
        fast = {
            "a": code(self.pa, self.rng.randrange(-300, 300)),
            "b": code(self.pa, self.rng.randrange(-300, 300)),
        }
        switches = self.key | self.run * RUN | self.want * WANT | self.clear * CLEAR
        wanted = dict(
            self.limits, conn=self.conn, **fast, sw=switches, gap=self.rng.choice((15, 16, 16, 17))
        )
        if self.start <= self.age < self.stop:
            self.fault(self, wanted)
        self._write(wanted)
        before = list(self.g)
        self.out = self.guard.step(self.g, self.x)
        return before, list(self.x), list(self.g), self.out

    def _person(self) -> None:
        r = self.rng
        if self.age == 40 or self.age > 40 and r.random() < 0.02:
            self.run = 1
        elif r.random() < 0.002:
            self.run = 0
        if r.random() < (self.rest if self.want else 0.3):
            self.want ^= 1
        self.clear = int(self.run == 0 and r.random() < 0.05)

    def _physics(self) -> None:
        if self.out & (GATE | RELAY) == GATE | RELAY:
            self.pa += self.rise
            self.level += self.rise // 4
        elif self.conn % 3 == 0 and self.pa > self.level and self.out & VENT == 0:
            self.pa -= max((self.pa - self.level) // 8, 1)
        elif self.out & VENT:
            self.pa -= min(self.pa, 300)
        elif self.age % 8 == 0:
            self.pa -= min(self.pa, 1)

    def _write(self, wanted: dict[str, int]) -> None:
        """Fast words at once; slow words one a tick, as the main loop does, the check word after all others."""
        for name in ("a", "b", "sw", "load", "gap", "supply", "ambient"):
            self.x[X[name]] = wanted.get(name, NOMINAL[name])
        for name in GUARD_INPUT[7:]:
            value = wanted.get(name, NOMINAL.get(name))
            if value is not None and name != "chk" and self.x[X[name]] != value:
                self.x[X[name]] = value
                if not wanted.get("rush"):
                    return
        self.x[X["chk"]] = wanted.get("chk", check_word(self.x))


# Faults: each changes what is written in one tick, or the world.


def _set(**values: int) -> Callable[[World, dict[str, int]], None]:
    return lambda w, x: x.update(values)


def _offset(name: str) -> Callable[[World, dict[str, int]], None]:
    return lambda w, x: x.update({name: code(w.pa, 34_000)})


def _freeze(name: str) -> Callable[[World, dict[str, int]], None]:
    def apply(w: World, x: dict[str, int]) -> None:
        x[name] = w.frozen.setdefault(name, x[name])
        w.pa += 90 if w.g[S["test"]] == TEST_DONE else 0

    return apply


def _move(step_pa: int) -> Callable[[World, dict[str, int]], None]:
    def apply(w: World, x: dict[str, int]) -> None:
        w.pa = max(w.pa + step_pa, 0)

    return apply


def _switch(mask: int, value: int) -> Callable[[World, dict[str, int]], None]:
    return lambda w, x: x.update(sw=x["sw"] & ~mask | value)


def _flip(w: World, x: dict[str, int]) -> None:
    """One bit of the guard's memory flips, at the start of the fault only."""
    if w.age == w.start:
        i = w.rng.randrange(len(w.g))
        w.g[i] ^= 1 << w.rng.randrange(30)


def _garbage(w: World, x: dict[str, int]) -> None:
    name = w.rng.choice(GUARD_INPUT)
    x.update({name: w.rng.choice((-1, 2**29 - 1, 0, w.rng.randrange(2**20))), "rush": 1})


def _lower(w: World, x: dict[str, int]) -> None:
    x["ceil_pa"] = max(w.limits["ceil_pa"] - w.rng.choice((0, 5_000, 60_000)), 1)


def _stuck(w: World, x: dict[str, int]) -> None:
    """The source does not stop: visible once the fill controller no longer requests air."""
    x["sw"] &= ~WANT
    w.pa += 40 if w.g[S["test"]] == TEST_DONE else 0


FAULTS: tuple[Callable[[World, dict[str, int]], None], ...] = (
    _set(), _set(), _set(a=100), _set(a=65_000), _set(b=100), _set(b=65_000), _offset("a"), _offset("b"), _freeze("a"), _freeze("b"),
    _set(supply=60), _set(supply=90), _set(load=9), _set(gap=60), _set(ambient=0), _set(ambient=120_000), _switch(6, 0), _switch(6, 6),
    _switch(CUTOFF, CUTOFF), _set(chk=77), _set(ceil_pa=0), _move(9_000), _move(-9_000), _move(-2_500), _move(-2_500), _stuck, _stuck, _flip, _flip, _flip,
    _garbage, _garbage, _lower, _set(flags=3, rush=1), _set(flags=0, rush=1), _set(gain_a=8_999, rush=1), _set(test_len=49, rush=1),
)  # fmt: skip


def rows(guard: Any, count: int, seed: int = 1) -> Iterator[Row]:
    """`count` guided ticks. A memory trip ends an episode by a reset, as it does on the device."""
    rng = random.Random(seed)
    world = World(rng, guard)
    for _ in range(count):
        row = world.tick()
        yield row
        if world.age > world.stop + 120:
            if world.g[S["cause"]] == 32:
                guard.boot(world.g)
            world.begin()
