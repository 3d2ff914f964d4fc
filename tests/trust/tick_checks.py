"""What the plumbing of a tick must do, stated again in plain Python with literal positions, and checked over drawn inputs.

Each check takes the functions to judge (a namespace with those of `order` and `tick`, and `TickReader` of `ticks`) and
raises AssertionError. The tests run them on the firmware's own modules, the mutation run on changed copies.
"""

import random
from array import array
from collections.abc import Callable
from typing import Any

from tests.trust.tick_input_checks import (
    latch,
    lease,
    low_supply,
    sense,
    standing_samples,
    switches,
)
from tests.trust.tick_words import (
    BIAS,
    ENTER,
    HELD,
    KEY_LOW,
    PIN_CS,
    PIN_GATE,
    PIN_RELAY,
    PIN_VENT,
    RING_TICKS,
    RUN,
    T_WORDS,
    VENT,
    WANT,
    Logged,
    tick_words,
)


def couple(m: Any) -> None:
    """Fill controller first, on the guard's last readings; its bits WANT and VENT handed over; then the guard."""
    rng = random.Random(4)
    for _ in range(300):
        g, x, f, y, log = (
            [rng.randrange(1 << 26) for _ in range(40)],
            [rng.randrange(1 << 16) for _ in range(24)],
            [0] * 4,
            [7] * 30,
            [],
        )
        was, word, bits, out = list(g), x[2], rng.randrange(8), rng.randrange(64)

        def fill(f_: Any, y_: Any) -> int:
            log.append(("fill", f_ is f, list(y_[:6]), x[2]))
            return bits

        def guard(g_: Any, x_: Any) -> int:
            log.append(("guard", g_ is g, x_ is x, x_[2], y[2]))
            return out

        assert m.couple(guard, fill, g, x, f, y) == out + 256 * bits
        read = [was[39] - BIAS, ((was[8] + was[9]) >> 5) - BIAS, 7, word, was[3], was[0]]
        assert log[0] == ("fill", True, read, word)
        handed = word & ~(WANT | VENT) | (WANT if bits & 1 else 0) | (VENT if bits & 2 else 0)
        assert log[1] == ("guard", True, True, handed, 7) and y[2] == out and x[2] == handed


def ring_row(g: Any, x: Any, f: Any, t: Any) -> list[int]:
    return [
        x[0] + 65536 * t[1], x[1] + 65536 * x[5], x[2] + 65536 * x[3], x[4] + 256 * t[4], t[2], f[2],
        (g[8] >> 4) + (f[0] << 22), g[9] >> 4,
    ]  # fmt: skip


def keep(m: Any) -> None:
    """Every word of the tick in its place of the ring, the slot emptied, the tick counted through its wrap, the longest tick kept."""
    rng = random.Random(5)
    ring = [0] * (RING_TICKS * 8)
    for head in (0, 1, 511, 512, 513, 2**30 - 1, 700):
        g, x = [rng.randrange(1 << 26) for _ in range(40)], [rng.randrange(256) for _ in range(24)]
        f, t = [rng.randrange(16), 0, rng.choice((-1, 300_000))], Logged(T_WORDS)
        t[0], t[1], t[2], t[4], t[8] = (
            head,
            rng.choice((0, 7, 23, 64, 94)),
            rng.choice((-400_000, 0, 900_000)),
            rng.randrange(1 << 12),
            100,
        )
        row = ring_row(g, x, f, t)
        m.keep(ring, g, x, f, t)
        at = head % RING_TICKS * 8
        assert ring[at : at + 8] == row
        assert t[0] == (head + 1) % 2**30 and t[1] == 0 and t[8] == max(100, x[3])


def reader(m: Any) -> None:
    """What the reader takes out of the ring is what `keep` put in, over slow words of both kernels and a full ring."""
    rng = random.Random(6)

    class Engine:
        def __init__(self) -> None:
            self.x, self.y, self.t, self.ring = (
                array("i", [0] * 24),
                array("i", [0] * 31),
                Logged(T_WORDS),
                [0] * (RING_TICKS * 8),
            )

        @property
        def head(self) -> int:
            return self.t[0]

    e = Engine()
    e.t[0] = 2**30 - 200
    read = m.TickReader(e)
    read.begin()
    x, y = [0] * 24, [0] * 31
    for n in range(1_500):
        e.t[1] = rng.choice((0, 0, 7, 15, 23, 64 + 6, 64 + 30))
        e.t[2] = rng.choice((-400_000, 0, rng.randrange(900_000)))
        if 0 < e.t[1] < 64:
            x[e.t[1]] = e.t[2]
        elif e.t[1]:
            y[e.t[1] - 64] = e.t[2]
        for at, top in ((0, 65536), (1, 65536), (2, 65536), (3, 256), (4, 256), (5, 256)):
            x[at] = rng.randrange(top)
        g, f = (
            [rng.randrange(1 << 26) for _ in range(40)],
            [rng.randrange(18), 0, rng.choice((-1, 250_000))],
        )
        e.t[4] = rng.randrange(1 << 11)
        tick, out = e.t[0], e.t[4]
        m.keep(e.ring, g, x, f, e.t)
        assert read.waiting() == 1 and not read.overrun() and read.take() == tick
        assert list(read.x) == x and list(read.y) == y and read.out == out
        assert (read.fa_pa, read.fb_pa, read.tyre_pa, read.state) == (
            (g[8] >> 4) - BIAS,
            (g[9] >> 4) - BIAS,
            f[2],
            f[0],
        )
        if n % 300 == 299:
            e.t[0] = (e.t[0] + RING_TICKS - 16) % 2**30
            assert not read.overrun()
            e.t[0] = (e.t[0] + 1) % 2**30
            assert read.overrun() and read.waiting() == RING_TICKS - 15
            read.begin()
            x, y = list(e.x), list(e.y)
            assert read.waiting() == 0


def drive(m: Any) -> None:
    """Pins as the outputs say: off before on, GATE toggled only while its bit is set, the conversion fetched last."""
    for out in [*range(64), *(value << 8 | low for value in range(8) for low in (0, 3, 4))]:
        log: list[Any] = []
        t, sio, spi = (
            tick_words(random.Random(out)),
            Logged(8, "sio", log, (5, 6, 7)),
            Logged(4, "spi", log, (2,)),
        )
        t[4] = out
        m.drive(t, sio, spi)
        relay, vent_open = bool(out & 2), bool(out & 4 or out >> 8 & 2)
        clear = t[PIN_CS] | (0 if relay else t[PIN_RELAY]) | (t[PIN_VENT] if vent_open else 0)
        on = (t[PIN_RELAY] if relay else 0) | (0 if vent_open else t[PIN_VENT])
        wanted = [("write", "sio", 6, clear), ("write", "sio", 5, on)]
        wanted += [("write", "sio", 7, t[PIN_GATE])] if out & 1 else []
        assert log == [*wanted, ("write", "spi", 2, 0xFFFF)]


def decide(m: Any) -> None:
    """Answers, lease and the slow word are in before the kernels run; outputs and ring are written after."""
    rng = random.Random(7)
    for slot in (0, 1, 7, 15, 23, 64, 70, 94):
        g, x, f, y, t, ring = (
            [rng.randrange(1 << 20) for _ in range(40)],
            [3] * 24,
            [1, 0, -1],
            [9] * 31,
            Logged(T_WORDS),
            [0] * (RING_TICKS * 8),
        )
        x[2] = RUN | KEY_LOW | ENTER
        t[1], t[2], t[3], t[13] = slot, 12_345, 32 | 64, 1
        seen: list[Any] = []

        def fill(f_: Any, y_: Any) -> int:
            seen.append((list(x[3:]), list(y[6:]), y_[3]))
            return 1

        m.decide(lambda g_, x_: seen.append(x_[2]) or 19, fill, [g, x, f, y, t, ring])
        word = KEY_LOW | ENTER | HELD | 32 | 64  # no lease: RUN does not count
        wanted_x, wanted_y = [3] * 24, [9] * 31
        if slot >= 64:
            wanted_y[slot - 64] = 12_345
        elif slot:
            wanted_x[slot] = 12_345
        assert (
            seen[0][0] == wanted_x[3:]
            and seen[0][1] == wanted_y[6:]
            and seen[0][2] == (12_345 if slot in (2,) else word)
        )
        assert (
            seen[1] == word | WANT and t[4] == 19 + 256 and t[0] == 1 and t[1] == 0 and t[20] == 1
        )
        assert (
            ring[0] == x[0] + 65536 * slot
            and ring[2] == x[2] + 65536 * 3
            and ring[3] == 3 + 256 * t[4]
            and ring[4] == 12_345
        )


def step(m: Any) -> None:
    """A whole tick: LOAD rounded up, GAP rounded, both limited to a byte; the parts in order; when halted, outputs off only."""
    rng = random.Random(8)
    for halted in (0, 1):
        for began, now, load in (
            (0, 2_000, 0),
            (500, 2_500, 300),
            (2**30 - 900, 1_100, 897),
            (0, 80_000, 2**15),
            (10, 1_900, 1),
            (7, 2_071, 128),
            (0, 2_112, 129),
            (0, 1_983, 0),  # half a unit less one, half a unit
            (0, 1_984, 0),
        ):
            log: list[Any] = []
            t, x, g = tick_words(rng), [0] * 24, [1 << 24] * 40
            sio, spi = Logged(8, "sio", log, (1, 5, 6)), Logged(4, "spi", log, (2,))
            adc, dma, f, y, ring = (
                [2000] * 16,
                [0, 0, 77],
                [0, 0, -1],
                [0] * 31,
                [0] * (RING_TICKS * 8),
            )
            clock = Clock(now, now + 137)
            t[5], t[6], t[7], t[0] = halted, load, began, 9
            m.step(
                lambda g_, x_: log.append(("guard", x_[3], x_[4])) or 2, lambda f_, y_: log.append("fill") or 0,
                [g, x, f, y, t, ring, sio, adc, dma, spi, clock],
            )  # fmt: skip
            if halted:
                assert (
                    log == [("write", "sio", 6, t[PIN_RELAY] | t[PIN_VENT])]
                    and t[0] == 9
                    and t[6] == load
                    and t[7] == began
                )
                continue
            gap = min(((now - began) % 2**30 + 64) >> 7, 255)
            kinds = [
                ("read", "spi", 2)
                if entry[:2] == ("read", "spi")
                else entry
                if isinstance(entry, str)
                else entry[:3]
                for entry in log
            ]
            start = [("read", "spi", 2)] if spi[3] & 4 else []
            assert kinds == [
                *start,
                ("write", "sio", 5),
                ("read", "sio", 1),
                "fill",
                ("guard", min((load + 127) >> 7, 255), gap),
                ("write", "sio", 6),
                ("write", "sio", 5),
                ("write", "spi", 2),
            ]
            assert t[0] == 10 and t[6] == 137 and t[7] == now


class Clock(list[int]):
    """A clock that gives one time at the first read and another at the second; above 30 bits, as the chip's is."""

    def __init__(self, first: int, second: int) -> None:
        super().__init__([first])
        self.times = [first | 1 << 30, second | 1 << 31]

    def __getitem__(self, at: Any) -> Any:
        assert at == 0
        return self.times.pop(0)


CHECKS: tuple[Callable[[Any], None], ...] = (
    sense, low_supply, standing_samples, switches, latch, lease, couple, keep, reader, drive, decide, step,
)  # fmt: skip
