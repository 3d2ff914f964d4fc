"""Guard, part: what is known of a tyre is known only while the chuck is on it (G10).

Until flow into a tyre was seen in this connection a workshop line is opened only in bursts of 6 ms, each with a rest of
120 ms, and only while the reading, the guard band and the bound of one burst stay under the ceiling. A burst that a tyre
takes runs off again; one into a closed manifold stays, but for its warmth (at most 29 % of the rise, a third of that in
120 ms). The bound is 1.5 times the largest rise that no flow followed. A compressor needs no such rule: its dead-ended
manifold rises 1.7 kPa a tick, which the overrun predicts (G2).

Chuck off: the reading stood over 30 kPa at rest in this connection, then lies at ambient for 0.2 s with the source off.
"""

from rimward_protocol.compat import const, ptr32

_BAND_PA = const(8)
_FLAGS = const(16)

_CEIL = const(4)
_BAND = const(6)
_ON_TICKS = const(25)
_TEST = const(28)
_RAN = const(37)
_ARMED = const(38)
_SEEN = const(40)
_STOOD = const(41)
_SINCE = const(42)
_AT_AMBIENT = const(43)
_LIFT = const(44)
_BURST_FROM = const(45)
_BURST_PEAK = const(46)

_LINE = const(8)  # bit of x[FLAGS]
_BIAS = const(600_000)

_BURST_TICKS = const(3)  # 6 ms: shortest command that lets air in through valves of 5 to 25 ms dead time
_BURST_REST = const(60)  # 120 ms: dead time 25, coil 13, closing 20, sensor and filters 50 ms, so that the peak has been read
_LIFT_FIRST = const(110_000)  # Pa, before a burst was seen: the largest rise of a dead-ended manifold is 106 kPa
_LIFT_MIN = const(4_000)  # Pa, smaller rises say nothing
_STOOD_PA = const(30_000)
_STOOD_TICKS = const(250)  # 0.5 s: the slowest core has emptied the manifold into a nearly empty tyre by then
_GONE_PA = const(2_000)  # over the guard band, which bounds the zero error
_GONE_TICKS = const(100)
_BYTE = const(255)


def follow_burst(g: ptr32, read: int, was_on: int):
    """Follow the reading through a burst and the rest after it: flow into a tyre was seen, or the manifold is closed."""
    if was_on != 0:
        g[_SINCE] = 0
    else:
        g[_SINCE] = g[_SINCE] + 1 if g[_SINCE] < _BYTE else _BYTE
    if g[_SINCE] > _BURST_REST or g[_RAN] == 0:
        g[_BURST_FROM] = read
        g[_BURST_PEAK] = read
    elif read > g[_BURST_PEAK]:
        g[_BURST_PEAK] = read
    if g[_SINCE] == _BURST_REST and g[_RAN] != 0 and g[_SEEN] == 0:
        rise = g[_BURST_PEAK] - g[_BURST_FROM]
        if rise > _LIFT_MIN and (g[_BURST_PEAK] - read) * 2 > rise:
            g[_SEEN] = 1
        elif rise > g[_LIFT]:
            g[_LIFT] = rise


def chuck_off(g: ptr32, x: ptr32, read: int, active: int) -> int:
    """Return 1 in the tick in which the chuck is taken to be off; nothing is known any more, RUN must be released."""
    above = read - _BIAS - x[_BAND_PA]
    if active == 0 and g[_SINCE] >= _STOOD_TICKS and above > _STOOD_PA:
        g[_STOOD] = 1
    if active != 0 or g[_STOOD] == 0 or above > _GONE_PA:
        g[_AT_AMBIENT] = 0
    else:
        g[_AT_AMBIENT] = g[_AT_AMBIENT] + 1 if g[_AT_AMBIENT] < _BYTE else _BYTE
    if g[_AT_AMBIENT] < _GONE_TICKS:
        return 0
    forget_tyre(g)
    g[_TEST] = 0
    g[_RAN] = 0
    g[_ARMED] = 0
    return 1


def forget_tyre(g: ptr32):
    """Forget what this connection has shown of a tyre."""
    g[_SEEN] = 0
    g[_STOOD] = 0
    g[_AT_AMBIENT] = 0
    g[_LIFT] = 0


def burst_held(g: ptr32, x: ptr32, read: int, was_on: int) -> int:
    """Return 1 while a line may not be opened because no flow into a tyre was seen yet."""
    if g[_SEEN] != 0 or x[_FLAGS] & _LINE == 0:
        return 0
    lift = g[_LIFT] + (g[_LIFT] >> 1) if g[_LIFT] != 0 else _LIFT_FIRST
    if read + lift + g[_BAND] >= g[_CEIL] + _BIAS or g[_ON_TICKS] >= _BURST_TICKS:
        return 1
    return 1 if was_on == 0 and g[_RAN] != 0 and g[_SINCE] < _BURST_REST else 0
