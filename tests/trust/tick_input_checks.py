"""What a tick must sense: converters, switches, button presses, lease. Stated again with literal positions; see `tick_checks`."""

import random
from typing import Any

from tests.trust.tick_words import (
    BEAT,
    CUTOFF,
    DOWN,
    ENTER,
    HELD,
    KEY_HIGH,
    KEY_LOW,
    PIN_CS,
    PIN_CUTOFF,
    PIN_WORDS,
    RUN,
    SUPPLY_GAIN,
    T_WORDS,
    UP,
    WORKSHOP,
    Logged,
    tick_words,
)


def sense(m: Any) -> None:
    """Words of converters and switches, and what is missing reads 0."""
    rng = random.Random(1)
    for _ in range(400):
        t, x, sio, adc, dma, spi = (
            tick_words(rng),
            Logged(24),
            Logged(8),
            Logged(16),
            Logged(4),
            Logged(4),
        )
        for i in range(16):
            adc[i] = rng.choice((0, 5, rng.randrange(4096), 4095))
        old_filter, left = rng.randrange(4 * 4095) << 4, rng.randrange(1, 1 << 28)
        arrived = rng.random() < 0.8
        t[9], t[12], dma[2] = old_filter, left + 40 if arrived else left, left
        spi[2], spi[3] = rng.randrange(65536), rng.choice((0, 3, 4, 7))
        sio[1] = rng.randrange(1 << 26)
        m.sense(x, t, sio, adc, dma, spi)
        b = sum(adc[i] for i in (0, 4, 8, 12))
        supply = sum(adc[i] for i in (1, 5, 9, 13))
        if not arrived:
            b = supply = 0
        filtered = old_filter + (((supply << 4) - old_filter) >> 2)
        assert x[0] == (spi[2] if spi[3] in (4, 7) else 0)
        assert t[9] == filtered and t[12] == left
        assert x[1] == min((b << 16) // max(filtered >> 4, 256), 65535)
        assert x[5] == min((supply * SUPPLY_GAIN + 2**19) >> 20, 255)
        assert t[10] == sum(adc[i] for i in (2, 6, 10, 14)) and t[11] == sum(
            adc[i] for i in (3, 7, 11, 15)
        )
        assert sio[5] == t[PIN_CS] and sio[6] == sio[7] == 0
        assert x[2] == switch_word(sio[1], t)


def low_supply(m: Any) -> None:
    """Around the smallest supply sum that a ratio is taken of."""
    for whole in (0, 255, 256, 257, 258):
        t, x, adc, dma = tick_words(random.Random(5)), Logged(24), Logged(16), Logged(4)
        adc[0], adc[1], dma[2] = 100, whole, 7
        t[9], t[12] = whole << 4, 47
        m.sense(x, t, Logged(8), adc, dma, Logged(4))
        assert t[9] == whole << 4 and x[1] == (100 << 16) // max(whole, 256)


def standing_samples(m: Any) -> None:
    """Samples of a stopped DMA ring read 0; those of a running one are read."""
    for left, before, moves in ((100, 100, False), (100, 140, True), (2**28 - 1, 5, True)):
        t, x, sio, adc, dma, spi = (
            tick_words(random.Random(2)),
            Logged(24),
            Logged(8),
            Logged(16),
            Logged(4),
            Logged(4),
        )
        for i in range(16):
            adc[i] = 2000
        t[9], t[12], dma[2] = 8000 << 4, before, left
        m.sense(x, t, sio, adc, dma, spi)
        assert (x[1] > 0, x[5] > 0) == (moves, moves) and t[12] == left


def switch_word(levels: int, t: list[int]) -> int:
    word = sum(bit for at, bit in PIN_WORDS.items() if levels & t[at])
    return word + (0 if levels & t[PIN_CUTOFF] else CUTOFF)


def switches(m: Any) -> None:
    """Every switch alone and in drawn mixtures; the cutoff's contact is closed when healthy."""
    rng = random.Random(3)
    for _ in range(300):
        t = tick_words(rng)
        levels = rng.choice((0, rng.randrange(1 << 26), 1 << rng.randrange(26)))
        assert m.switches(levels, t) == switch_word(levels, t)


class Presses:
    """Expected debouncing: an edge is taken, then 60 ticks are ignored; 750 ticks held are a long press."""

    def __init__(self) -> None:
        self.down, self.quiet, self.held, self.counts, self.longs, self.long_bits = (
            0,
            0,
            0,
            {UP: 0, DOWN: 0, ENTER: 0, WORKSHOP: 0},
            0,
            0,
        )

    def tick(self, word: int) -> None:
        now = word & (UP | DOWN | ENTER | WORKSHOP)
        self.quiet = max(self.quiet - 1, 0)
        if now != self.down and self.quiet == 0:
            for bit in self.counts:
                self.counts[bit] += bool(now & ~self.down & bit)
            self.down, self.quiet, self.held = now, 60, 0
        elif now and now == self.down and self.held < 750:
            self.held += 1
            if self.held == 750:
                self.longs, self.long_bits = self.longs + 1, now


def latch(m: Any) -> None:
    """Presses and long presses of drawn sequences with bounces."""
    for seed in range(6):
        rng, t, x, model = random.Random(seed), Logged(T_WORDS), Logged(24), Presses()
        word, left = 0, 0
        for _ in range(6_000):
            if left == 0:
                word = rng.choice(
                    (
                        0,
                        UP,
                        DOWN,
                        ENTER,
                        WORKSHOP,
                        UP | ENTER,
                        RUN | DOWN,
                        CUTOFF,
                        KEY_LOW | WORKSHOP | UP,
                    )
                )
                left = rng.choice((1, 2, 3, 30, 59, 60, 61, 62, 120, 749, 750, 751, 760, 800))
            left -= 1
            x[2] = word
            m.latch(x, t)
            model.tick(word)
            assert [t[at] for at in range(18, 22)] == list(model.counts.values())
            assert (t[15], t[16], t[17], t[22], t[23]) == (
                model.down,
                model.quiet,
                model.held,
                model.longs,
                model.long_bits,
            )
            assert x[2] == word


def lease(m: Any) -> None:
    """The bench's lease: RUN counts for a number of ticks after a beat; an ordinary inflator's word is unchanged."""
    for leased in (0, 1):
        for word in (0, RUN, RUN | KEY_LOW, KEY_HIGH | ENTER, 8 | RUN | DOWN):
            t, x = Logged(T_WORDS), Logged(24)
            t[13], t[14] = leased, 5
            for n in range(9):
                x[2] = word
                m.lease(x, t)
                expected = word
                if leased:
                    expected |= HELD if word & RUN else 0
                    expected = expected | BEAT if n < 5 else expected & ~RUN
                assert x[2] == expected and t[14] == (max(4 - n, 0) if leased else 5)
