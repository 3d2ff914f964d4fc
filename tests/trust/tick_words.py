"""Words, pins and blocks of a tick with literal positions, as the checks of its plumbing use them."""

import random
from typing import Any

RUN, KEY_LOW, KEY_HIGH, CUTOFF, WANT = 1, 2, 4, 8, 16
UP, DOWN, ENTER, WORKSHOP, VENT, BEAT, HELD = 512, 1024, 2048, 4096, 8192, 16384, 32768
PIN_WORDS = {24: RUN, 25: KEY_LOW, 26: KEY_HIGH, 28: UP, 29: DOWN, 30: ENTER, 31: WORKSHOP}
PIN_CUTOFF, PIN_GATE, PIN_RELAY, PIN_VENT, PIN_CS = 27, 32, 33, 34, 35
T_WORDS, RING_TICKS = 37, 512
SUPPLY_GAIN = 5_500
BIAS = 600_000


class Logged(list[int]):
    """A block that notes every read and write of some of its words."""

    def __init__(
        self, size: int, name: str = "", log: "list[Any] | None" = None, watch: tuple[int, ...] = ()
    ) -> None:
        super().__init__([0] * size)
        self.name, self.log, self.watch = name, log if log is not None else [], watch

    def __getitem__(self, at: Any) -> Any:
        if at in self.watch:
            self.log.append(("read", self.name, at))
        return super().__getitem__(at)

    def __setitem__(self, at: Any, value: Any) -> None:
        if at in self.watch:
            self.log.append(("write", self.name, at, value))
        super().__setitem__(at, value)


def tick_words(rng: random.Random) -> Logged:
    """Own words of a tick with drawn pins, every mask another bit."""
    t = Logged(T_WORDS)
    pins = rng.sample(range(26), 12)
    for word, pin in zip(range(24, 36), pins):
        list.__setitem__(t, word, 1 << pin)
    t[36] = SUPPLY_GAIN
    return t
