"""Places of the kernels' words that others need. The kernels keep their own inlined indices; all names are in `wordnames`."""

from rimward_protocol.compat import const

WORDS_G = const(40)
WORDS_X = const(24)
WORDS_F = const(59)
WORDS_Y = const(30)

CEIL_SLOT = const(7)  # guard's inputs
CHECK_SLOT = const(15)
A_SEALED = const(1)  # of the guard's flags word
STRAIGHT_SIDE = const(4)
TYRE = const(2)  # fill's state
COLD = const(10)
JOB = const(6)  # fill's inputs
TARGET = const(7)

FAST_INPUTS = const(6)  # a, b, sw, load, gap, supply change every tick; the rest at most one a tick
CHECK = const(0x1FFFFFFF)
BIAS_PA = const(600_000)  # added to pressures inside the guard, so that every stored word is positive
TICK_MS = const(2)
FILL_SLOW = const(6)  # first word of fill's inputs that the main loop writes


def __getattr__(name):
    """The names, and what tools work out of them, fetched when first asked for."""
    if name.startswith("_"):
        raise AttributeError(name)
    from rimward_fw.kernels import wordnames

    return getattr(wordnames, name)
