"""Bursts: how much air, and the source held under the stop reading. Part of the fill kernel."""

from rimward_protocol.compat import const

from rimward_fw.kernels.fill_numbers import _least, _most, _within
from rimward_fw.kernels.fill_rest import _go, _stop
from rimward_fw.kernels.fill_source import _coming, _lag, _shut_rise

# Inputs y.
_READ = const(0)
_MEAN = const(1)
_OUT = const(2)
_WHY = const(4)
_TARGET = const(7)
_CHUCK = const(11)
_AMBIENT = const(12)
_D0 = const(13)
_KIND = const(15)
_STOP_PA = const(16)
_COAST = const(17)
_RISE = const(27)
_MANIFOLD = const(28)

# State f.
_CNT = const(5)
_PT = const(6)
_EG = const(8)
_COLD = const(10)
_TOPS = const(25)
_SEEN = const(23)
_SPRING = const(37)
_AIR = const(14)
_AIR_0 = const(15)
_GAIN = const(18)
_GOAL = const(19)
_BURST = const(20)
_ON = const(21)
_OFF = const(22)
_CHOP = const(27)
_BLEED_N = const(30)
_BASE = const(31)
_PEAK = const(32)
_LIFT = const(33)
_LEFT = const(34)
_LAST = const(35)
_SHORT = const(60)
_AIR_B = const(61)
_RELAY = const(62)
_WATCH_REF = const(58)

_DONE = const(13)
_SETTLING = const(8)
_LONGEST = const(3_000)  # ticks of one burst: the guard's watch for a rise has its answer at the rest
_HOSE_OR_TYRE = const(7)
_GONE = const(2)  # as SEEN: `step` forgets the tyre
_NOT_READY = const(9)
_UNREADY = const(1_000)  # ticks: longer than any window of the guard's sensor rules
_REASON_TICKS = const(50)
_REFUSED = const(400)  # ticks
_REFUSED_SHUT = const(1_250)  # ticks: a hose of 100 mL can be let down by 60 kPa meanwhile
_VENT = const(2)
_OFTEN = const(63)  # ticks between two openings of the vent, less one: the reading has come to rest
_UNWATCHED = const(320)  # ticks: for 250 after a burst the guard takes a fall that stands for flow into a tyre; no vent may look like that
_SHOWN = const(5)  # as the length of a bleed opening at the start: any number but 0, which says that the reading is the hose's alone
_HOSE_PA = const(45_000)  # no vent under that: the guard takes a hose that comes to ambient for a chuck taken off
_DENSE_PA = const(150_000)  # an opening lowers 40 mL by 16 kPa at most; what the air regains as it warms, 29 %, stays under the guard's 6 kPa of rise
_RELIEVED = const(40)  # ticks after an opening until a burst may begin
_AT_STOP = const(54)
_NEAR_STOP = const(2_400)  # Pa under the target that end a fill where no burst fits any more
_APART = const(10_000)  # Pa by which one of two transducers within their class lies over the mean, for nearly all pairs
_COLD_ENOUGH = const(2_000)  # Pa of excess: less of it makes no room for a burst
_COOL_LONGEST = const(15_000)  # ticks without air
_LONGEST_SHORT = const(14)  # ticks: a command of 28 ms opens a valve of 25 ms dead time
_NOTHING = const(2_000)  # Pa: a burst that lifts the manifold less let nothing in
_CLOSED = const(20)  # ticks after which the relay's valve is open: contact 10, dead time 25 ms
_HELD_PA = const(15_000)  # a tyre known to hold more holds the reading up through a held-open core
_START_PA = const(6_000)  # Pa under the room from which on a held-back pump starts again
_GONE_PA = const(8_000)  # as in fill
_FREE_PA = const(15_000)  # a tyre that shows less may be none: zero error 10, play 2.5, noise; a reading so far over the target's is no missing air
_WAIT = const(60)  # ticks in which a line's burst has come whole and been read
_MARGIN = const(2_500)
_UNASKED_PA = const(20_000)  # over what the last burst left: what a hose regains as it warms is under 6
_EDGE = const(300)  # Pa under the guard's limit up to which a burst still begins: noise of the filtered reading
_OPEN = const(45)  # ticks after which the valves are open and the reading shows it: dead time 25, opening 12, sensors and filters 50 ms
_OVER = const(18_500)  # over the stop reading and still under the guard's over-pressure, which lies two guard bands (20 kPa) above
_CUTOFF_LOW = const(496_000)  # trips at 502 to 538 kPa and 927 to 963 kPa
_CUTOFF_HIGH = const(920_000)
_LOOK_PA = const(30_000)  # Pa over the last rest from which on no burst behind a closed core goes over the stop reading before the next rest: widest spring
_RUNS_OFF = const(8_000)  # Pa in 16 ticks: no burst while the last one runs off so fast that the guard would see a hose come off, nor while air comes unasked


def _air_for(f, pa):
    """Air that lifts the cold tyre by `pa`, 1/1024 mL."""
    return (_most(pa, 0) << 8) // _most(f[_GAIN], 1) << 8


def _patience(y):
    """Ticks without air after which no burst is waited for any more."""
    return _REFUSED if y[_KIND] == 0 or y[_CHUCK] == 0 else _REFUSED_SHUT


def _given(y):
    """Ticks for which the guard may refuse before the fill ends with its reason: where readings disagree for a moment they agree again or trip."""
    return _UNREADY if y[_WHY] == _NOT_READY else _REASON_TICKS


def _rested(f):
    """1 unless the vent was open just before."""
    return 1 if f[_OFF] < _UNWATCHED or f[_OFF] & _OFTEN > _RELIEVED else 0


def _let_down(f, y):
    """Let a line's hose behind a closed core down while its next burst would come too near to ceiling or stop reading: from less the same
    burst passes the core's opening. It lowers no tyre, and the reading is the tyre's again after a burst that ran off. Returns VENT."""
    if y[_CHUCK] == 0 or f[_OFF] < _UNWATCHED or y[_MEAN] < _HOSE_PA or f[_OFF] & _OFTEN >= (2 if y[_MEAN] > _DENSE_PA else 3):
        return 0
    f[_BLEED_N] = 0
    return _VENT


def _at_stop(f, y):
    """No burst fits under the stop reading: done where the higher transducer, which counts there, shows the target; else that reason."""
    if y[_TARGET] - f[_COLD] - _within(y[_READ] - y[_MEAN], 0, _APART) <= _NEAR_STOP:
        f[_WATCH_REF] = f[_COLD]
        return _go(f, _DONE)
    return _stop(f, _AT_STOP)


def _begin_burst(f, y, state, goal):
    """Enter a state that wants air, so much of it."""
    f[_AIR_0] = f[_AIR]
    f[_GOAL] = goal
    f[_CHOP] = 0 if y[_KIND] == 0 else 1
    return _go(f, state)


def _room(y):
    """Return the reading up to which a compressor runs."""
    return y[_STOP_PA] - y[_RISE] - 300


def _pump(f, y, coming):
    """Run a compressor on while what is coming stays under the stop reading: CHOP 1 while it waits there, 2 once it runs again. Returns WANT."""
    room = _room(y)
    if f[_CHOP] != 1:
        lag = _most(_lag(f, y), 0)
        ahead = lag * y[_COAST] >> 5
        if y[_CHUCK] != 0 and y[_READ] > f[_PT] + f[_SPRING] + _LOOK_PA:  # the core may be closed yet, and the reading is late while the pump gathers speed
            ahead = _most(ahead, _shut_rise(y, coming))
        ahead = ahead + (lag * 28 >> 5)
        if y[_READ] + ahead >= room or f[_ON] == 0 and f[_OFF] > 0 and y[_WHY] == 2:
            f[_CHOP] = 1
    elif f[_OFF] >= 16 and y[_READ] < room - _START_PA:
        f[_CHOP] = 2
    return 0 if f[_CHOP] == 1 else 1


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
        elif f[_LEFT] * 4 < f[_LIFT] * 3:
            f[_BLEED_N] = _most(f[_BLEED_N], _SHOWN)


def _unasked(f, y):
    """1 where a line lifts the hose although no burst was asked for since: a valve that does not shut, opened by the other."""
    lower = (y[_MEAN] << 1) - y[_READ]  # of the two transducers: one that fails is no valve
    return 1 if y[_KIND] != 0 and f[_LAST] > 0 and f[_OFF] > _WAIT and lower > f[_BASE] + f[_LEFT] + _UNASKED_PA else 0


def _valves(f, y, coming):
    """Open a line for a burst of the length that the last one's rise allows. Returns WANT."""
    room = y[_STOP_PA] - y[_RISE] - _MARGIN
    if f[_CHOP] == 0:
        left = f[_GOAL] - (f[_AIR] - f[_AIR_0]) - coming
        enough = 1 if f[_ON] >= f[_BURST] else 0
        if f[_ON] >= _OPEN:  # the reading follows what the valves do
            enough = 1 if y[_READ] + _most(_lag(f, y), 0) * 4 >= room or y[_CHUCK] == 0 and f[_PT] < _FREE_PA else 0  # or it may hang free
        if enough != 0 or f[_ON] >= f[_SHORT] and left <= 0 or 0 < f[_OFF] <= _WAIT:  # or the guard has cut it
            f[_CHOP] = 1
        return 1 - f[_CHOP]
    if f[_OFF] > _WAIT and _rested(f) != 0 and f[_RELAY] > _CLOSED and y[_READ] < room + _MARGIN - _EDGE and -_RUNS_OFF < _lag(f, y) < _RUNS_OFF:
        f[_BURST] = _longer(f, y, room)
        more = f[_BURST] - _least(f[_LAST], _OPEN)
        if y[_READ] + f[_LIFT] + more * (_slope(f, y) if more > 0 else _share(f)) < room:
            f[_CHOP] = 0
        elif f[_BURST] == f[_SHORT] and y[_READ] + f[_LEFT] < y[_STOP_PA] + _OVER and y[_READ] + f[_LIFT] < _cutoff(y):
            if y[_CHUCK] == 0:
                f[_CHOP] = 0  # its peak passes before it counts
            elif y[_READ] > f[_PT] + f[_SPRING] + _LOOK_PA:
                return _go(f, _SETTLING)  # a tyre that others fill as well is seen at rest alone
            elif f[_LEFT] * 4 < f[_LIFT] * 3:  # the last one ran off: the tyre holds less than its peak
                f[_CHOP] = 0
    if f[_CHOP] != 0 and (y[_WHY] == 2 or f[_RELAY] > _CLOSED):
        if f[_AIR] != f[_AIR_0] and f[_OFF] >= _UNWATCHED:  # what came is read before the hose is let down
            return _go(f, _SETTLING)
        return _let_down(f, y)
    return 1 - f[_CHOP]


def _slope(f, y):
    """Pa by which one tick more lifts the manifold: as the last burst did, a closed manifold's rise at least."""
    closed = y[_D0] * (y[_AMBIENT] >> 6) // (y[_MANIFOLD] << 4) * 7 >> 2
    return _most(_share(f), closed)


def _share(f):
    """Pa of the last burst's rise for each of its ticks, those in which its valves shut among them: a shorter one lifts less by that at most."""
    return f[_LIFT] // (_least(f[_LAST], _OPEN) + 8)


def _cutoff(y):
    """Return the reading that must not be passed for a moment: the lowest trip of the independent cutoff of this range."""
    return _CUTOFF_LOW if y[_STOP_PA] < _CUTOFF_LOW else _CUTOFF_HIGH


def _longer(f, y, room):
    """Ticks of the next burst: what keeps its peak under the room."""
    spare = room - y[_READ] - f[_LIFT]
    last = _least(f[_LAST], _OPEN)  # in what a longer one lasted over that the air went on
    if spare >= 0:
        return _within(last + spare // _slope(f, y), f[_SHORT], _OPEN)
    return _within(last - (-spare) // _most(_share(f), 500) - 1, f[_SHORT], _OPEN)


def _burst(f, y):
    """Run a state that wants air: until its air has come, the rest answers a question, or the guard has long refused. Returns WANT."""
    if y[_WHY] > 3 and f[_OFF] > _given(y):  # a budget is spent, the pressure fell in the flow, a condition has gone: no waiting for it
        return _stop(f, y[_WHY])
    if y[_CHUCK] == 0 and f[_OFF] > _WAIT and f[_PT] > _HELD_PA and y[_MEAN] * 2 < f[_PT]:  # the guard misses a tyre from 60 kPa on
        f[_SEEN] = _GONE
        return _stop(f, _HOSE_OR_TYRE)
    if y[_KIND] != 0 and f[_OFF] > _WAIT and f[_CNT] > _WAIT:
        if y[_CHUCK] == 0:  # nothing of the burst is left near ambient: a rest tells a limp tyre from a hose that hangs free
            empty = 1 if f[_OFF] == _WAIT + 1 and f[_PT] < _FREE_PA and f[_LEFT] == 0 else 0
            if y[_MEAN] > y[_TARGET] + f[_EG] + _FREE_PA:
                empty = 1  # others fill this tyre as well, or a slow core hides it
        else:  # a closed core keeps the hose over its tyre: a rest tells whether that is gone
            empty = 1 if f[_AIR] != f[_AIR_0] and y[_MEAN] + _GONE_PA < f[_PT] else 0
        if empty != 0:
            return _go(f, _SETTLING)
    coming = _coming(f, y)
    came = f[_AIR] - f[_AIR_0] + coming
    wait = _patience(y)
    late = 1 if f[_OFF] > wait and f[_CNT] > wait else 0
    if y[_KIND] == 0:
        if f[_CHOP] == 1 and f[_OFF] > _WAIT and f[_AIR] != f[_AIR_0] and y[_READ] >= _room(y) - _START_PA:
            late = 1  # cut at the stop reading, and the tyre stands too near it for a start in this burst
    elif late != 0 and f[_AIR] == f[_AIR_0]:  # no burst fits under the stop reading: one may when the tyre is cooler
        if f[_EG] < _COLD_ENOUGH or f[_OFF] > _COOL_LONGEST:
            return _at_stop(f, y)
        f[_TOPS] = f[_TOPS] - 1
    if came >= f[_GOAL] and (y[_KIND] == 0 or f[_ON] == 0 or f[_ON] >= f[_SHORT]) or f[_CNT] > _LONGEST or late != 0:
        return _go(f, _SETTLING)
    return _pump(f, y, coming) if y[_KIND] == 0 else _valves(f, y, coming)
