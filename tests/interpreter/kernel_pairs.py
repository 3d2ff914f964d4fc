"""On MicroPython: the kernels as written and as machine code, side by side, over made-up fills. Prints the ticks that were equal.

A small model of a tyre closes the loop. Switches, profiles, sensors and now and then the memory itself are shaken; both sides get the same.
"""

from array import array

from rimward_fw.control import arming, builtin, configuration
from rimward_fw.kernels import fill, guard
from rimward_protocol import kernel_slots as slots
from rimward_protocol import kernel_words, layout

STATES = 17


class Dice:
    """The same numbers on every machine."""

    def __init__(self, seed):
        self.s = seed

    def upto(self, n):
        self.s = (self.s * 1103 + 12345) & 0xFFFFF
        return (self.s >> 3) % n


def words(dice, conn):
    """Slow words of one connection, from a profile changed at random."""
    values = layout.unpack(layout.PROFILE, builtin.profile(500000, 300000))
    values["chuck"] = 1 + dice.upto(2)
    values["seat_pause_pa"] = (0, 150_000, 200_000)[dice.upto(3)]
    values["target_pa"] = 150_000 + dice.upto(20) * 10_000
    values["volume_ml"] = 900 + dice.upto(800)
    here = {
        "ambient_pa": 90_000 + dice.upto(12_000),
        "t0_ck": 28_000 + dice.upto(2_000),
        "guard_pa": 10_000,
        "conn": conn,
    }
    here["job"] = (1, 1, 1, 2, 3)[dice.upto(5)]
    here["watch_ticks"] = 200 + dice.upto(300)
    code, x, y = arming.limits(values, configuration.HARDWARE[dice.upto(2)], here)
    y[-1] = (0, 9_000, 40_000)[conn % 3]  # spring of an earlier fill
    return code, x, y


def code_of(pa):
    """Transducer word of a pressure, as an uncalibrated one gives it."""
    return (pa + 125_012) * 512 // 9766


def run(fast_guard, fast_fill, seed, ticks, shake):
    """Both pairs for so many ticks. Returns the number done; raises on the first difference."""
    dice = Dice(seed)
    g = array("i", [0] * len(kernel_words.GUARD_STATE))
    f = array("i", [0] * len(kernel_words.FILL_STATE))
    x = array("i", [0] * len(kernel_words.GUARD_INPUT))
    y = array("i", [0] * len(kernel_words.FILL_INPUT))
    guard.boot(g)
    g2, f2 = array("i", g), array("i", f)
    pa, tyre, air, sw, conn, out = 0, dice.upto(100_000), 0, 2, 1, 0
    for n in range(ticks):
        if n % 6000 == 0:
            conn += 1
            code, slow, fills = words(dice, conn)
            for i in range(18):
                x[6 + i] = slow[i]
            for i in range(len(fills)):
                y[6 + i] = fills[i]
            tyre = dice.upto(60_000)
            sw = 2
        if n % 6000 == 300:
            sw |= 1
        if dice.upto(1500) == 0:
            sw ^= 1
        sw = sw & 15
        if dice.upto(100) == 0:
            sw |= (0, 0, 64, 128, 256, 32)[dice.upto(6)]
        if shake:
            shaken(dice, x, y, g, g2, f, f2)
        x[slots.X_A] = code_of(pa) + dice.upto(5)
        x[slots.X_B] = (
            code_of(pa) + dice.upto(9) if x[slots.X_FLAGS] == 0 else code_of(pa) + dice.upto(9)
        )
        x[slots.X_A] += (x[slots.X_AMBIENT] - 101_325) * 512 // 9766
        x[slots.X_SW], x[slots.X_LOAD], x[slots.X_GAP], x[slots.X_SUPPLY] = sw, 4, 16, 78
        y[slots.Y_READ], y[slots.Y_MEAN] = (
            g[slots.G_READ] - 600_000,
            ((g[slots.G_FA] + g[slots.G_FB]) >> 5) - 600_000,
        )
        y[slots.Y_OUT], y[slots.Y_SW], y[slots.Y_WHY], y[slots.Y_CAUSE] = (
            out,
            sw,
            g[slots.G_WHY],
            g[slots.G_CAUSE],
        )
        one, two = fill.step(f, y), fast_fill(f2, y)
        x[slots.X_SW] = x[slots.X_SW] & 0xFFEF | (one & 1) << 4
        out, out2 = guard.step(g, x), fast_guard(g2, x)
        if one != two or out != out2 or g != g2 or f != f2:
            raise AssertionError(
                (seed, n, one, two, out, out2, list(g), list(g2), list(f), list(f2))
            )
        air = min(air + 60, 700) if out & 3 == 3 else max(air - 40, 0)
        tyre += air // 12
        pa = tyre + air * 12 if air else pa - (pa - tyre) // 8
        if out & 4 or one & 2:
            tyre -= tyre // 64
        if dice.upto(8000) == 0:
            tyre += 30_000
    return ticks


def shaken(dice, x, y, g, g2, f, f2):
    """Sometimes: a misplaced word, a state that no fill reached, a flipped bit in memory."""
    if dice.upto(400) == 0:
        f[slots.F_STATE] = f2[slots.F_STATE] = dice.upto(STATES)
    if dice.upto(900) == 0:
        i = dice.upto(24)
        x[i] = (dice.upto(2) * 2 - 1) * dice.upto(70_000)
    if dice.upto(700) == 0:
        x[slots.X_CHK] = 0x1FFFFFFF - sum([x[i] for i in range(7, 24) if i != 15])
    if dice.upto(3000) == 0:
        i = dice.upto(40)
        g[i] = g2[i] = dice.upto(70_000)
    if g[slots.G_CAUSE] == 32 and dice.upto(50) == 0:
        guard.boot(g)
        guard.boot(g2)
    if dice.upto(1000) == 0:
        i = (2, 5, 6, 7, 8, 9, 10, 20, 29, 30, 31, 41)[dice.upto(12)]
        f[i] = f2[i] = dice.upto(400_000)
