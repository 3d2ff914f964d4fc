"""Air that the source gave, counted from gate and delivery curve, and the filters of the reading. Part of the fill kernel."""

from rimward_protocol.compat import const

from rimward_fw.kernels.fill_numbers import _least, _most

# Inputs y.
_MEAN = const(1)
_OUT = const(2)
_AMBIENT = const(12)
_D0 = const(13)
_D1 = const(14)
_KIND = const(15)
_COAST = const(17)
_SPIN = const(24)
_D2 = const(25)
_MANIFOLD = const(28)

# State f.
_SLOW = const(11)
_SPEED = const(13)
_AIR = const(14)
_ON = const(21)
_OFF = const(22)

_G_ON = const(3)  # gate and relay: in the self-test each is opened alone
_FULL = const(16384)
_GATE_LAG = const(4)  # ticks for which the pulse gate holds after its last edge
_COUNT_MAX = const(32000)
_AIR_MAX = const(0x1FFFFFFF)
_SHUT_AHEAD = const(300_000)  # 1/1024 mL: keeps the product under 30 bits


def _lag(f, y):
    """Slope of the mean reading, Pa in 16 ticks: the gap to its slow filter."""
    return y[_MEAN] - (f[_SLOW] >> 4)


def _rate(y):
    """Free air a tick at full speed and the pressure of now, 1/1024 mL: parabola through the source's figures, a sixteenth at least."""
    u = _least(_most(y[_MEAN], 0) >> 8, 4095)
    return _most(y[_D0] - ((u * y[_D1]) >> 8) + (((u * u >> 12) * y[_D2]) >> 8), y[_D0] >> 4)


def _count(f, y):
    """Count this tick's air. A compressor speeds up exponentially, a line's valves open evenly; both stop evenly."""
    if y[_OUT] & _G_ON == _G_ON:
        f[_ON] = _least(f[_ON] + 1, _COUNT_MAX)
        f[_OFF] = 0
    else:
        f[_OFF] = _least(f[_OFF] + 1, _COUNT_MAX)
    speed = f[_SPEED]
    if f[_OFF] <= _GATE_LAG and f[_ON] > 0:
        if y[_KIND] == 0:
            speed = speed + (_FULL - speed) // y[_SPIN]
        else:
            speed = _least(speed + _FULL // y[_SPIN], _FULL)
    else:
        speed = _most(speed - _FULL // y[_COAST], 0)
        f[_ON] = 0
    f[_SPEED] = speed
    f[_AIR] = _least(f[_AIR] + ((_rate(y) * speed) >> 14), _AIR_MAX)
    f[_SLOW] = f[_SLOW] + (((y[_MEAN] << 4) - f[_SLOW]) >> 4)


def _coming(f, y):
    """Air that still comes if the gate closes now, 1/1024 mL."""
    share = f[_SPEED] >> 7
    flow = (_rate(y) * share) >> 7
    return ((flow * share >> 7) * y[_COAST] >> 1) + flow * _GATE_LAG


def _shut_rise(y, air):
    """Pa by which air that still comes, or came and is not read yet, lifts a closed manifold."""
    return _least(air, _SHUT_AHEAD) * (y[_AMBIENT] >> 6) // (y[_MANIFOLD] << 4) * 11 >> 3
