"""Both kernels over recorded ticks, on CPython, MicroPython and compiled by numba alike: what every tick puts out and leaves in memory.

A record says: how the wish reaches the guard (0 from the fill, 1 as recorded), what was done to the guard's memory before the tick (-1
nothing, -2 a reset, else 64 * bit + word: a flipped bit), the state the fill is put into (-1 left alone), the guard's inputs and the
fill's slow words. Only `one_tick` touches the kernels; it and `run_block` are compiled as they stand.
"""

from array import array

from rimward_protocol import kernel_slots as slots
from rimward_protocol import kernel_words

HEAD = 3
G, X, F, Y = (
    len(kernel_words.GUARD_STATE),
    len(kernel_words.GUARD_INPUT),
    len(kernel_words.FILL_STATE),
    len(kernel_words.FILL_INPUT),
)
SLOW = slots.FILL_SLOW
RECORD = HEAD + X + Y - SLOW
WIDTH = 1 + G + F  # of what a tick leaves: output bits, then both memories
BIAS = slots.BIAS_PA


def one_tick(guard_step, fill_step, tick, g, x, f, y, own):
    """One tick of both. `own` 0: as the inflator does it; 1: the same order, but with the recorded request in `x` instead of this fill controller's."""
    if own == 0:
        return tick(guard_step, fill_step, g, x, f, y)
    y[slots.Y_READ] = g[slots.G_READ] - BIAS
    y[slots.Y_MEAN] = ((g[slots.G_FA] + g[slots.G_FB]) >> 5) - BIAS
    y[slots.Y_SW] = x[slots.X_SW]
    y[slots.Y_WHY] = g[slots.G_WHY]
    y[slots.Y_CAUSE] = g[slots.G_CAUSE]
    bits = fill_step(f, y)
    out = guard_step(g, x)
    y[slots.Y_OUT] = out
    return out | bits << 8


def run_block(guard_step, guard_boot, fill_step, tick, g, x, f, y, records, count, left):
    """Run `count` ticks from `records` and write what each leaves into `left`."""
    for n in range(count):
        at = n * RECORD
        event = records[at + 1]
        if event == -2:
            guard_boot(g)
        elif event >= 0:
            g[event & 63] = g[event & 63] ^ (1 << (event >> 6))
        if records[at + 2] >= 0:
            f[slots.F_STATE] = records[at + 2]
        for i in range(X):
            x[i] = records[at + HEAD + i]
        for i in range(SLOW, Y):
            y[i] = records[at + HEAD + X + i - SLOW]
        out = one_tick(guard_step, fill_step, tick, g, x, f, y, records[at])
        to = n * WIDTH
        left[to] = out
        for i in range(G):
            left[to + 1 + i] = g[i]
        for i in range(F):
            left[to + 1 + G + i] = f[i]


def memory(start=None):
    """(g, x, f, y): as after a reset, or as `start` (all four one after the other) says."""
    from rimward_fw.kernels import guard

    made = [array("i", [0] * size) for size in (G, X, F, Y)]
    if start is None:
        guard.boot(made[0])
    else:
        at = 0
        for words_ in made:
            for i in range(len(words_)):
                words_[i] = start[at]
                at += 1
    return made


def digests(path, ticks_a_block):
    """Plain kernels over a file: a head of G + X + F + Y words of memory, then records. One SHA-256 a block of ticks."""
    from rimward_fw.kernels import fill, guard, order
    from rimward_protocol.compat import sha256

    found = []
    with open(path, "rb") as file:
        start = array("i", [0] * (G + X + F + Y))
        file.readinto(start)
        g, x, f, y = memory(start)
        records = array("i", [0] * (RECORD * ticks_a_block))
        left = array("i", [0] * (WIDTH * ticks_a_block))
        while True:
            got = file.readinto(records) // (4 * RECORD)
            if not got:
                return found
            run_block(
                guard.step, guard.boot, fill.step, order.couple, g, x, f, y, records, got, left
            )
            found.append(sha256(memoryview(left)[: got * WIDTH]))
