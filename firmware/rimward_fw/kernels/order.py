"""Order of the kernels within a tick: fill controller on the guard's last readings, its bits WANT and VENT handed over, guard. Part of the record."""

from rimward_protocol.compat import const, ptr32

# Fill inputs y.
_Y_READ = const(0)
_Y_MEAN = const(1)
_Y_OUT = const(2)
_Y_SW = const(3)
_Y_WHY = const(4)
_Y_CAUSE = const(5)

_X_SW = const(2)

# Guard state g.
_G_CAUSE = const(0)
_G_WHY = const(3)
_G_FA = const(8)
_G_FB = const(9)
_G_READ = const(39)

_WANT_AT = const(4)  # bits of x[SW]
_WANT = const(16)
_VENT_AT = const(12)  # the fill controller's bit 1 becomes bit 13
_VENT = const(8192)
_BIAS = const(600_000)


def couple(guard, fill, g: ptr32, x: ptr32, f: ptr32, y: ptr32) -> int:
    """Run both kernels once. `x` holds this tick's inputs. Return the guard's output bits, the fill controller's shifted left by 8.

    `guard` and `fill` are the step functions, so that a compiler on the host can bind its own versions of the same source.
    """
    y[_Y_READ] = g[_G_READ] - _BIAS
    y[_Y_MEAN] = ((g[_G_FA] + g[_G_FB]) >> 5) - _BIAS
    y[_Y_SW] = x[_X_SW]
    y[_Y_WHY] = g[_G_WHY]
    y[_Y_CAUSE] = g[_G_CAUSE]
    bits = int(fill(f, y))
    x[_X_SW] = (x[_X_SW] & (0xFFFF - _WANT - _VENT)) | ((bits & 1) << _WANT_AT) | ((bits & 2) << _VENT_AT)
    out = int(guard(g, x))
    y[_Y_OUT] = out
    return out | bits << 8
