"""Bursts: how much air, and the source held under the stop reading. Part of the fill kernel."""

from rimward_protocol.compat import const

from rimward_fw.kernels.fill_numbers import _least, _most, _within
from rimward_fw.kernels.fill_rest import _go, _stop
from rimward_fw.kernels.fill_source import _coming, _lag

# Inputs y.
_READ = const(0)
_MEAN = const(1)
_OUT = const(2)
_WHY = const(4)
_CHUCK = const(11)
_AMBIENT = const(12)
_D0 = const(13)
_KIND = const(15)
_STOP_PA = const(16)
_COAST = const(17)
_RISE = const(27)
_MANIFOLD = const(28)

# State f.
_STATE = const(0)
_CNT = const(5)
_COLD = const(10)
_AIR = const(14)
_AIR_0 = const(15)
_GAIN = const(18)
_GOAL = const(19)
_BURST = const(20)
_ON = const(21)
_OFF = const(22)
_SEEN = const(23)
_CHOP = const(27)
_BASE = const(31)
_PEAK = const(32)
_LIFT = const(33)
_LEFT = const(34)
_LAST = const(35)
_SHORT = const(64)
_AIR_B = const(65)
_RELAY = const(66)

_SETTLING = const(8)
_LONGEST = const(3_000)  # ticks of one burst: the guard's watch for a rise has its answer at the rest
_REFUSED = const(400)  # ticks
_AT_STOP = const(54)
_LONGEST_SHORT = const(14)  # ticks: a command of 28 ms opens a valve of 25 ms dead time
_NOTHING = const(2_000)  # Pa: a burst that lifts the manifold less let nothing in
_CLOSED = const(20)  # ticks after which the relay's valve is open: contact 10, dead time 25 ms
_WAIT = const(60)  # ticks in which a line's burst has come whole and been read
_MARGIN = const(2_500)
_OPEN = const(45)  # ticks after which the valves are open and the reading shows it: dead time 25, opening 12, sensors and filters 50 ms
_OVER = const(16_000)  # over the stop reading and still under the guard's over-pressure, which lies two guard bands (20 kPa) above
_CUTOFF_LOW = const(496_000)  # trips at 502 to 538 kPa and 927 to 963 kPa
_CUTOFF_HIGH = const(920_000)
_RUNS_OFF = const(8_000)  # Pa in 16 ticks: no burst while the last one runs off so fast that the guard would see a hose come off


def _air_for(f, pa):
    """Air that lifts the cold tyre by `pa`, 1/1024 mL."""
    return (_most(pa, 0) << 8) // _most(f[_GAIN], 1) << 8


def _begin_burst(f, y, state, goal):
    """Enter a state that wants air, so much of it."""
    f[_AIR_0] = f[_AIR]
    f[_GOAL] = goal
    f[_CHOP] = 0 if y[_KIND] == 0 else 1
    return _go(f, state)


def _pump(f, y):
    """A compressor runs on while what is coming stays under the stop reading. Returns WANT."""
    room = y[_STOP_PA] - y[_RISE] - 300
    if f[_CHOP] == 0:
        ahead = (_most(_lag(f, y), 0) * (y[_COAST] + 28)) >> 5
        if y[_READ] + ahead >= room or f[_ON] == 0 and f[_OFF] > 0 and y[_WHY] == 2:
            f[_CHOP] = 1
    elif f[_OFF] >= 16 and y[_READ] < room - 6_000:
        f[_CHOP] = 0
    return 1 - f[_CHOP]


def _watch_burst(f, y):
    """How far a line's burst lifts the manifold, and what is left of that 120 ms later. One that let nothing in is
    not counted, and the next ones are longer. Every tick."""
    f[_RELAY] = _least(f[_RELAY] + 1, 255) if y[_OUT] & 2 != 0 else 0
    if f[_ON] == 1:
        f[_BASE] = y[_READ]
        f[_PEAK] = y[_READ]
        f[_AIR_B] = f[_AIR]
    if f[_ON] > 0:
        f[_LAST] = f[_ON]
    f[_PEAK] = _most(f[_PEAK], y[_READ])
    if f[_OFF] == _WAIT and f[_LAST] > 0:
        f[_LIFT] = _most(f[_PEAK] - f[_BASE], 1)
        f[_LEFT] = _most(y[_READ] - f[_BASE], 0)
        if f[_LIFT] < _NOTHING:
            f[_AIR] = f[_AIR_B]
            f[_SHORT] = _within(f[_LAST] + 1, f[_SHORT], _LONGEST_SHORT)


def _valves(f, y):
    """A line comes in bursts of the length that the last one's rise allows. Returns WANT."""
    room = y[_STOP_PA] - y[_RISE] - _MARGIN
    if f[_CHOP] == 0:
        left = f[_GOAL] - (f[_AIR] - f[_AIR_0]) - _coming(f, y)
        enough = 1 if f[_ON] >= f[_BURST] else 0
        if f[_ON] >= _OPEN:  # the reading follows what the valves do
            enough = 1 if y[_READ] + _most(_lag(f, y), 0) * 4 >= room else 0
        if enough != 0 or f[_ON] >= f[_SHORT] and left <= 0 or 0 < f[_OFF] <= _WAIT:  # or the guard has cut it
            f[_CHOP] = 1
        return 1 - f[_CHOP]
    if f[_OFF] > _WAIT and f[_RELAY] > _CLOSED and y[_READ] < room and _lag(f, y) > -_RUNS_OFF:
        f[_BURST] = _longer(f, y, room)
        if y[_READ] + f[_LIFT] + (f[_BURST] - f[_LAST]) * _slope(f, y) < room:
            f[_CHOP] = 0
        elif f[_BURST] == f[_SHORT] and y[_READ] + f[_LEFT] < y[_STOP_PA] + _OVER and y[_READ] + f[_LIFT] < _cutoff(y):
            f[_CHOP] = 0  # its peak passes before it counts
    return 1 - f[_CHOP]


def _slope(f, y):
    """Pa by which one tick more lifts the manifold: as the last burst did, a closed manifold's rise at least."""
    closed = y[_D0] * (y[_AMBIENT] >> 6) // (y[_MANIFOLD] << 4) * 7 >> 2
    return _most(f[_LIFT] // (f[_LAST] + 8), closed)


def _cutoff(y):
    """Reading that must not be passed for a moment: the lowest trip of the independent cutoff of this range."""
    return _CUTOFF_LOW if y[_STOP_PA] < _CUTOFF_LOW else _CUTOFF_HIGH


def _longer(f, y, room):
    """Ticks of the next burst: what keeps its peak under the room."""
    spare = room - y[_READ] - f[_LIFT]
    if spare >= 0:
        return _within(f[_LAST] + spare // _slope(f, y), f[_SHORT], _OPEN)
    return _within(f[_LAST] - (-spare) // _most(f[_LIFT] // (f[_LAST] + 8), 500) - 1, f[_SHORT], _OPEN)


def _burst(f, y):
    """A state that wants air: until its air has come, the rest answers a question, or the guard has long refused. Returns WANT."""
    if y[_WHY] > 3 and f[_OFF] > 50:  # a budget is spent, the pressure fell in the flow, a condition has gone: no waiting for it
        return _stop(f, y[_WHY])
    came = f[_AIR] - f[_AIR_0] + _coming(f, y)
    if f[_OFF] > _REFUSED and f[_CNT] > _REFUSED and y[_KIND] != 0 and f[_AIR] == f[_AIR_0]:  # no burst of it fits under the stop reading
        return _stop(f, _AT_STOP)
    if came >= f[_GOAL] or f[_CNT] > _LONGEST or f[_OFF] > _REFUSED and f[_CNT] > _REFUSED:
        return _go(f, _SETTLING)
    return _pump(f, y) if y[_KIND] == 0 else _valves(f, y)
