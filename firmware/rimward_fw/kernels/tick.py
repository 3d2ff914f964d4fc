"""One tick of the whole machine: fill says what it would like, the guard decides. The order is part of the record."""

from rimward_protocol.compat import const

_BIAS = const(600_000)


def tick(guard_step, fill_step, g, x, f, y):
    """Runs fill on the guard's last readings, hands its one bit over, runs the guard.

    `x` holds this tick's inputs. Returns the guard's output bits with fill's bits shifted left by eight.
    The kernels come as arguments so that a compiler on the host can bind its own versions of the same source.
    """
    y[0] = g[39] - _BIAS
    y[1] = ((g[8] + g[9]) >> 5) - _BIAS
    y[3] = x[2]
    y[4] = g[3]
    y[5] = g[0]
    bits = fill_step(f, y)
    x[2] = (x[2] & 0xFFEF) | ((bits & 1) << 4)
    out = guard_step(g, x)
    y[2] = out
    return out | bits << 8
