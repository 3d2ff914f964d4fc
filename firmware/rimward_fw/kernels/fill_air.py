"""The fill's air: what the source gave, what has reached the tyre, what still comes. See `fill`; part of the same kernel."""

from rimward_protocol.compat import const

from rimward_fw.kernels.fill_numbers import _least, _most

# As in `fill`, which tells what they are.
_MEAN = const(1)
_OUT = const(2)
_CHUCK = const(11)
_AMBIENT = const(12)
_D0 = const(13)
_D1 = const(14)
_KIND = const(15)
_COAST = const(17)
_CRACK = const(21)
_SPIN = const(24)
_D2 = const(25)
_MANIFOLD = const(28)
_PATH = const(29)
_G_ON = const(3)
_TOPPING_UP = const(10)
_STATE = const(0)
_PT = const(6)
_SLOW = const(11)
_FLOW = const(12)
_SPEED = const(13)
_AIR = const(14)
_SNAP = const(23)
_SNAP_FLOW = const(24)
_SNAP_AIR = const(25)
_ON = const(26)
_OFF = const(27)
_SEEN = const(28)
_SUPPLIED = const(50)
_FULL = const(16384)
_GATE_LAG = const(4)
_EBB_LINE = const(600)
_LINE_LEAD = const(4)
_STEADY = const(80)


def _lag(f, y):
    """Slope of the mean reading: the gap to its slow filter is 16 ticks of it."""
    return y[_MEAN] - (f[_SLOW] >> 4)


def _rate(y):
    """Free air a tick at full speed and the pressure of now, in 1/1024 mL."""
    u = _least(_most(y[_MEAN], 0) >> 8, 4095)
    return _most(y[_D0] - ((u * y[_D1]) >> 8) + (((u * u >> 12) * y[_D2]) >> 8), y[_D0] >> 4)


def _through(f, y):
    """Air of this tick from a line's manifold into the tyre, by ISO 6358 with critical ratio 0.3: the valves say little of it."""
    p1 = _most(y[_MEAN] + y[_AMBIENT], 20_000)
    p2 = f[_PT] + y[_AMBIENT] + (y[_CRACK] if y[_CHUCK] != 0 else 0)
    if f[_SEEN] == 0 or f[_OFF] > _EBB_LINE or p2 >= p1:
        return 0
    full = ((p1 >> 8) * y[_PATH]) >> 8
    over = _most(p2 * 10 // (p1 >> 10) // 10 - 307, 0) * 10 // 7  # (ratio - 0.3) / 0.7 in 1/1024
    rest = (1 << 20) - over * over
    if rest <= 64:
        return 0
    half = (rest + (1 << 20)) >> 11  # root of `rest` in 1/1024, by Newton from above
    half = (half + rest // half) >> 1
    half = (half + rest // half) >> 1
    half = (half + rest // half) >> 1
    return (full * half) >> 10


def _count(f, y):
    """Air admitted: the source's speed follows the gate, its delivery falls with pressure. Returns the free air of this tick, * 16."""
    if y[_OUT] & _G_ON == _G_ON:
        f[_ON] = _least(f[_ON] + 1, 32000)
        f[_OFF] = 0
    else:
        if f[_OFF] == 0:
            f[_SNAP] = f[_SLOW] >> 4
            f[_SNAP_FLOW] = f[_FLOW] >> 4 if f[_ON] >= _STEADY else 0
            f[_SNAP_AIR] = f[_AIR]
        f[_OFF] = _least(f[_OFF] + 1, 32000)
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
    air = (_rate(y) * speed) >> 14
    f[_SUPPLIED] = _least(f[_SUPPLIED] + air, 0x1FFFFFFF)
    if y[_KIND] != 0:
        air = _through(f, y)
    f[_AIR] = _least(f[_AIR] + air, 0x1FFFFFFF)
    f[_FLOW] = f[_FLOW] + (((air << 4) - f[_FLOW]) >> 4)
    return air


def _coast(f, y):
    """Air that still comes once the gate closes now."""
    share = f[_SPEED] >> 7
    flow = (_rate(y) * share) >> 7
    more = ((flow * share >> 7) * y[_COAST] >> 1) + flow * _GATE_LAG
    if y[_KIND] != 0 and f[_STATE] != _TOPPING_UP:
        stored = _most(y[_MEAN] + (_lag(f, y) >> 1) - f[_PT] - (y[_CRACK] if y[_CHUCK] != 0 else 0), 0)
        more = more + ((_least(stored, 900_000) * ((y[_MANIFOLD] << 18) // y[_AMBIENT])) >> 8)
    return more


def _refill(f, y, pa):
    """Air that lifts the manifold by `pa`, half as much again for its warmth."""
    return (y[_MANIFOLD] << 10) * (_least(_most(pa, 0), 1_000_000) >> 8) // (y[_AMBIENT] >> 8) * 3 // 2


def _burst(f, y):
    """How far the shortest opening of a line's valves lifts the manifold: what comes in less what goes on. The reading's slope is late."""
    net = _most(_rate(y) - (f[_FLOW] >> 4), 0)
    return _LINE_LEAD * (net * ((y[_AMBIENT] * 7 // 5) >> 6) // (y[_MANIFOLD] << 4))
