"""Guard, part: knowledge of a tyre lasts only while the chuck is on it (G10).

Until flow into a tyre was seen in this connection, a workshop line behind a pressure-open chuck opens only in bursts of 6 ms with
120 ms of rest between them, at a steady reading, and only while reading, guard band and the bound of one burst stay under the
ceiling. Steady, since the hose of a half-seated chuck runs off, and pushed on it would look like flow. Valves with a longer
dead time admit nothing in such a burst: each burst without a rise lengthens the next by 2 ms, up to 22 ms, so the first burst that
admits air passes the dead time by at most 2 ms. After a burst into a tyre the reading falls again and then is steady, which a leak
is not; after one into a closed manifold it stays, apart from cooling (at most 29 % of the rise, a third of that in 120 ms; after
many quick bursts what earlier ones left to cool may be more than half of the last one's rise within 0.5 s, and counts as flow). A
burst that begins at ambient shows no flow: a chuck that is put on while it falls stops it just so. The bound is 1.5 times the
largest rise of a closed manifold, at least 20 kPa more; before one was seen 110 kPa, and before any air 200 from 30 kPa on. Flow
that was seen is forgotten once the manifold is at ambient with the source off.

An open vent lowers the manifold; such a fall is no flow. While the vent is open no air is admitted, and no rise or fall counts until
a burst that begins 120 ms after it shut (dead time 25, closing 20, sensor and filters 50 ms). A compressor needs no such rule: its
dead-ended manifold rises 1.7 kPa a tick, which the overrun predicts (G2).

Chuck off: a steady reading over 30 kPa at rest in this connection, then with the source off a reading at ambient for 0.2 s, or less than a
third of that steady reading where it was over 60 kPa. A tyre on the chuck holds the reading up: a closing core keeps all but 6 kPa and the
heat of a burst (30 kPa at most), an open one lets it fall no further than to the tyre's pressure, half of what may look steady before.

A line's relay is closed while RUN is held. Both readings then rising by more than 16 kPa in 32 ms, 120 ms after the gate went off, are a
chuck just put on a tyre or a gate valve stuck open; either ends the connection as chuck off does, and the next one begins with the self-test.
"""

from rimward_protocol.compat import const, ptr32

_BAND_PA = const(8)
_FLAGS = const(16)

_WHY = const(3)
_CEIL = const(4)
_BAND = const(6)
_FA = const(8)
_FB = const(9)
_SL = const(10)
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
_BURST_MORE = const(47)

_LINE = const(8)  # bit of x[FLAGS]
_BIAS = const(600_000)

_BURST_TICKS = const(3)  # 6 ms: shortest command that lets air in through valves of 5 to 25 ms dead time
_BURST_REST = const(60)  # 120 ms: dead time 25, coil 13, closing 20, sensor and filters 50 ms, so that the peak has been read
_LIFT_FIRST = const(110_000)  # Pa, before a burst was seen, from a hose that was let down: the largest rise of a dead-ended manifold is 106 kPa
_LIFT_FAST = const(200_000)  # the first burst, from a hose that was not: valves that open in 5 and shut in 25 ms lift the smallest one by 190 kPa
_LET_DOWN = const(30_000)
_LIFT_MORE = const(20_000)  # Pa over the largest rise at least: 2 ms more of a valve that has just begun to open
_LIFT_MIN = const(4_000)  # Pa, smaller rises say nothing
_NOTHING_PA = const(2_000)  # Pa: under that a burst let nothing in; noise of the filtered reading is 1 kPa
_MORE_MAX = const(8)  # ticks: 3 + 8 and 4.6 ms of the gate's drop-out open a valve of 25 ms dead time
_SEEN_LAST = const(250)  # 0.5 s: within that a leak through which a burst falls to half does not stand
_STILL_PA = const(600)  # Pa in 16 ticks: noise of the filtered readings
_SHUT_TICKS = const(40)  # 80 ms: gate 6, dead time 25, coil 3, closing 20, sensor and filters 25 ms
_STOOD_PA = const(30_000)
_RUSH = const(18)  # filtered reading over the slow filter, as a power of two: 16 kPa in 16 ticks. A line through its restrictor lifts a closed manifold by 60 and more
_STOOD_TICKS = const(125)  # 0.25 s: the slope has passed its turn at the peak; the slowest core of the table empties a hose by 8 % in 16 ticks
_FELL_PA = const(60_000)
_GONE_PA = const(2_000)  # over the guard band, which bounds the zero error
_STAYS_PA = const(5_000)  # over the guard band: an open hose that still empties, read with 2 kPa of hysteresis, lies under that
_GONE_TICKS = const(100)
_BYTE = const(255)
_NO_BURST = const(0x3FFFFF)  # as BURST_FROM, over every reading: no rise or fall counts until the next burst


def stands(read: int, lag: int) -> int:
    """Return 1 while the reading is steady: it moves by less than 1/64 in 16 ticks, or 600 Pa if that is more. A leak that halves the
    manifold's pressure in 0.5 s moves it by 1/23."""
    most = (read - _BIAS) >> 6
    most = most if most > _STILL_PA else _STILL_PA
    return 1 if lag < most and lag > -most else 0


def follow_burst(g: ptr32, x: ptr32, read: int, lag: int, was_on: int, vented: int):
    """Follow the reading through a burst and its rest: flow into a tyre, or a closed manifold. An open vent ends the watch."""
    if vented != 0:
        g[_BURST_FROM] = _NO_BURST
        g[_STOOD] = 1 if g[_STOOD] != 0 else 0  # the vent lowers the reading, not the tyre: its level says nothing any more
    if was_on != 0 or vented != 0:
        g[_SINCE] = 0
    else:
        g[_SINCE] = g[_SINCE] + 1 if g[_SINCE] < _BYTE else _BYTE
    if read > g[_BURST_PEAK]:
        g[_BURST_PEAK] = read
    watched = 1 if g[_BURST_FROM] != _NO_BURST and g[_RAN] != 0 and g[_SEEN] == 0 and _BURST_REST <= g[_SINCE] <= _SEEN_LAST else 0
    rise = g[_BURST_PEAK] - g[_BURST_FROM]
    fall = g[_BURST_PEAK] - read
    least = _STAYS_PA + _BIAS + x[_BAND_PA]
    if watched != 0 and rise > _LIFT_MIN and fall * 2 > rise and stands(read, lag) != 0 and read > least and g[_BURST_FROM] > least:
        g[_SEEN] = 1
    elif watched != 0 and g[_SINCE] == _BURST_REST:
        if rise < _NOTHING_PA:
            g[_BURST_MORE] = g[_BURST_MORE] + 1 if g[_BURST_MORE] < _MORE_MAX else _MORE_MAX
        elif rise > g[_LIFT] and (g[_LIFT] != 0 or fall * 4 <= rise):
            g[_LIFT] = rise


def rushes(g: ptr32, x: ptr32) -> int:
    """Return 1 where the reading of a line whose relay is closed rises faster than a tyre behind the chuck can: both transducers, since one that
    jumps alone is no air."""
    return 1 if (g[_FA] - g[_SL]) >> _RUSH > 0 and (g[_FB] - g[_SL]) >> _RUSH > 0 and g[_WHY] == 0 and g[_RAN] != 0 and x[_FLAGS] & _LINE != 0 else 0


def chuck_off(g: ptr32, x: ptr32, read: int, lag: int, active: int) -> int:
    """Return 1 in the tick in which the chuck counts as off; what is known of the tyre is reset and RUN must be released."""
    above = read - _BIAS - x[_BAND_PA]
    off = 0
    if active == 0:
        if g[_SINCE] >= _STOOD_TICKS and above > _STOOD_PA and stands(read, lag) != 0:
            g[_STOOD] = read
        if g[_SINCE] >= _SHUT_TICKS:
            if above > _GONE_PA:
                g[_AT_AMBIENT] = 0
            else:
                g[_SEEN] = 0
                g[_AT_AMBIENT] = g[_AT_AMBIENT] + 1 if g[_AT_AMBIENT] < _BYTE else _BYTE
                off = 1 if g[_STOOD] != 0 and g[_AT_AMBIENT] >= _GONE_TICKS else 0
            stood = g[_STOOD] - _BIAS
            if stood > _FELL_PA and (read - _BIAS) * 3 < stood:
                off = 1
        if g[_SINCE] >= _BURST_REST or g[_BURST_FROM] == _NO_BURST:
            off = off | rushes(g, x)
    if off != 0:
        forget_tyre(g)
        g[_TEST] = 0
        g[_RAN] = 0
        g[_ARMED] = 0
    return off


def begin_burst(g: ptr32, read: int, was_on: int):
    """Store the reading before a burst that begins in this tick."""
    if was_on == 0:
        g[_BURST_FROM] = read
        g[_BURST_PEAK] = read


def forget_tyre(g: ptr32):
    """Reset what this connection has shown of a tyre."""
    g[_SEEN] = 0
    g[_STOOD] = 0
    g[_AT_AMBIENT] = 0
    g[_LIFT] = 0
    g[_BURST_MORE] = 0


def burst_near(g: ptr32, x: ptr32, read: int) -> int:
    """Return 1 while one burst of a line could reach the ceiling, no flow into a tyre having been seen."""
    if g[_SEEN] != 0 or x[_FLAGS] & _LINE == 0:
        return 0
    more = g[_LIFT] >> 1
    lift = g[_LIFT] + (more if more > _LIFT_MORE else _LIFT_MORE)
    if g[_LIFT] == 0:
        lift = _LIFT_FIRST if g[_RAN] != 0 or read < _LET_DOWN + _BIAS else _LIFT_FAST
    return 1 if read + lift + g[_BAND] >= g[_CEIL] + _BIAS else 0


def burst_held(g: ptr32, x: ptr32, read: int, lag: int, was_on: int) -> int:
    """Return 1 while the gate must wait: burst at its length, rest not over, reading not steady, or chuck possibly coming off."""
    if g[_STOOD] != 0 and g[_AT_AMBIENT] != 0:
        return 1
    if g[_SEEN] != 0 or x[_FLAGS] & _LINE == 0:
        return 0
    if g[_ON_TICKS] >= _BURST_TICKS + g[_BURST_MORE]:
        return 1
    return 1 if was_on == 0 and (g[_SINCE] < _BURST_REST or stands(read, lag) == 0) else 0
