"""Runs both kernels over recorded ticks and gives digests of every state word and output. CPython, MicroPython and numba alike.

A record is 25 int32: the guard's 24 inputs and one word that says what was done to its memory before the tick: -1 nothing, -2 a reset,
else 64 * bit + word, a flipped bit. Records are read in blocks, and nothing is allocated from tick to tick: the 32-bit build has a
small heap and must not be made to collect (its collector does not see what only WebAssembly locals hold).
"""

from array import array

import kernel_pairs
from rimward_fw.kernels import guard
from rimward_fw.kernels.order import couple as tick
from rimward_protocol import kernel_slots as slots
from rimward_protocol import kernel_words

RECORD = 25
RESET = -2
BLOCK = 500


def arrays():
    """Guard state and inputs, fill state and inputs, as after a reset."""
    g, x = (
        array("i", [0] * len(kernel_words.GUARD_STATE)),
        array("i", [0] * len(kernel_words.GUARD_INPUT)),
    )
    guard.boot(g)
    return (
        g,
        x,
        array("i", [0] * len(kernel_words.FILL_STATE)),
        array("i", [0] * len(kernel_words.FILL_INPUT)),
    )


def blocks(path):
    """The records, block by block, in one array that is used again."""
    block = array("i", [0] * (RECORD * BLOCK))
    with open(path, "rb") as file:
        while file.readinto(block) == 4 * RECORD * BLOCK:
            yield block


def put(g, x, at, records):
    """Put one record's memory event and inputs in place. Allocates nothing."""
    event = records[at + 24]
    if event == RESET:
        guard.boot(g)
    elif event >= 0:
        g[event & 63] = g[event & 63] ^ (1 << (event >> 6))
    i = 0
    while i < 24:
        x[i] = records[at + i]
        i += 1


def mixed(h, words):
    """A 24-bit digest carried on over some words, in small numbers only."""
    i, n = 0, len(words)
    while i < n:
        h = (h * 31 + (words[i] & 0xFFFF) + (words[i] >> 16)) & 0xFFFFFF
        i += 1
    return h


def new_job(dice, y):
    """Another job for the fill: its slow words."""
    _, _, job = kernel_pairs.words(dice, 1)
    for i in range(len(job)):
        y[6 + i] = job[i]


def draws(dice):
    """The states of `shake` for one block, drawn before anything is locked: the dice themselves pass 30 bits."""
    return array("i", [dice.upto(kernel_pairs.STATES) for _ in range(BLOCK // 125)])


def shake(drawn, f, n):
    """Sometimes the fill controller is put into a state that no fill reached: its arithmetic must be the same there too."""
    if n % 125 == 60:
        f[slots.F_STATE] = drawn[n // 125]


def digests(path, guard_step, fill_step, wrap):
    """A digest for each block over states, outputs and the fill's wish. `wrap` makes the array that the kernels get."""
    g, x, f, y = [wrap(a) for a in arrays()]
    dice, h, found = kernel_pairs.Dice(77), 0, []
    for records in blocks(path):
        new_job(dice, y)
        drawn = draws(dice)
        for n in range(BLOCK):
            put(g, x, n * RECORD, records)
            y[slots.Y_CONN] = x[slots.X_CONN]
            shake(drawn, f, n)
            h = (h * 31 + tick(guard_step, fill_step, g, x, f, y)) & 0xFFFFFF
            h = mixed(mixed(h, g), f)
        found.append(int(h))
    return found


def alone(path, guard_step, wrap):
    """The same for the guard alone, with the recorded request in place of the fill controller's."""
    g, x = [wrap(a) for a in arrays()[:2]]
    h, found = 0, []
    for records in blocks(path):
        for n in range(BLOCK):
            put(g, x, n * RECORD, records)
            h = mixed((h * 31 + guard_step(g, x)) & 0xFFFFFF, g)
        found.append(int(h))
    return found


def fill_states(path, guard_step, fill_step):
    """The states of the fill that these ticks reach."""
    g, x, f, y = arrays()
    dice, found = kernel_pairs.Dice(77), set()
    for records in blocks(path):
        new_job(dice, y)
        drawn = draws(dice)
        for n in range(BLOCK):
            put(g, x, n * RECORD, records)
            y[slots.Y_CONN] = x[slots.X_CONN]
            shake(drawn, f, n)
            tick(guard_step, fill_step, g, x, f, y)
            found.add(f[slots.F_STATE])
    return sorted(found)


def locked(path, guard_step, fill_step, lock, unlock):
    """All ticks with the heap locked: any allocation in either kernel raises. Returns the ticks done."""
    g, x, f, y = arrays()
    dice, done = kernel_pairs.Dice(77), 0
    for records in blocks(path):
        new_job(dice, y)
        drawn = draws(dice)
        n = 0
        lock()
        try:
            while n < BLOCK:
                put(g, x, n * RECORD, records)
                y[slots.Y_CONN] = x[slots.X_CONN]
                shake(drawn, f, n)
                tick(guard_step, fill_step, g, x, f, y)
                n += 1
        finally:
            unlock()
        done += n
    return done
