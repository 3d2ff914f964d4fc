"""At rest: what comes next. Part of the fill kernel."""

from rimward_protocol.compat import const

from rimward_fw.kernels.fill_burst import _air_for, _at_stop, _begin_burst
from rimward_fw.kernels.fill_numbers import _least, _most, _within
from rimward_fw.kernels.fill_rest import _began_empty, _go, _stop

# Inputs y.
_READ = const(0)
_MEAN = const(1)
_JOB = const(6)
_TARGET = const(7)
_SEAT = const(8)
_VOL = const(9)
_VOL_TOL = const(10)
_CHUCK = const(11)
_KIND = const(15)
_STOP_PA = const(16)
_RISE = const(27)
_Y_SPRING = const(30)

# State f.
_CNT = const(5)
_PT = const(6)
_START = const(7)
_SPREAD = const(9)
_COLD = const(10)
_GAIN = const(18)
_OFF = const(22)
_SEATED = const(24)
_TOPS = const(25)
_LEARNT = const(26)
_CHOP = const(27)
_VOLUME = const(28)
_SPRING = const(37)
_FOUND_AIR = const(55)
_ASKED = const(57)
_WATCH_REF = const(58)
_RESTED = const(59)

_ASKING = const(2)
_FILLING = const(6)
_SEAT_PAUSE = const(7)
_TOPPING_UP = const(10)
_DONE = const(13)

_TOL = const(700)
_TOL_CUT = const(2_400)  # where the stop reading cuts a compressor's bursts short: no end otherwise
_SURE_COMPRESSOR = const(2_200)
_SURE_LINE = const(5_000)
_WAIT_LONGEST = const(15_000)
_RUN_PA = const(20_000)  # Pa: more than that missing is no top-up
_NEAR_AMBIENT = const(15_000)  # a reading within the zero error: the hose may hang free
_BLOW_PA = const(16_000)  # a line's burst then lasts 0.2 s at most: a full tyre put on meanwhile would meet the open line
_LEAST_PA = const(700)
_LOW_BY_PA = const(80_000)  # half of it: a pump's first rest reads the tyre low by up to 40 kPa, since the hose came from ambient and cools
_APART = const(10_000)  # as in fill_burst
_WORTH = const(3)  # a top-up under RUN_PA waits until SPREAD is an eighth of what is missing: each one sets the look at the heat back by 2 s
_TOPS_MAX = const(250)
_CUT_MOST = const(60)  # top-ups behind a closed core that the stop reading still cuts short: each brings 0.1 kPa then
_PROBE_TICKS = const(750)  # behind a closed core only a burst shows the tyre
_SURE_SHUT = const(12_000)  # spring unknown: it errs by more
_SURE_SHUT_LINE = const(10_000)
_SURE_SPRING = const(6_000)
_SURE_SPRING_LINE = const(8_400)
_LEAK_FROM = const(320)  # ticks: the manifold's own air has cooled
_LEAK_LOOK = const(1_000)
_FALLS_PA = const(3_000)  # what the heat's rate may be off by, and noise
_HOSE_OR_TYRE = const(7)
_NOT_SEEN = const(65)
_LIMP_SEAT = const(100_000)
_ANY_VOLUME = const(255)  # %, tolerance while beads are seated: the room that they leave is no sign of another wheel
_OFF_OPEN = const(115)  # %, by which a compressor's volume may be off: its delivery
_OFF_SHUT = const(125)  # what a core holds when it closes differs from burst to burst
_OFF_LINE_LOW = const(165)  # a line's count: bursts that its figures make too small
_LEAKS = const(300)  # %, of the profile's volume: under that a line's count of short bursts may be to blame
_SHORTEST_LINE = const(34_816)  # 34 mL of free air: what a line's shortest burst counts


def _volume_differs(f, y):
    """0 as the profile says; 1 more than 1.4 times or less than 0.7 of it, 2 by a factor of two, each beyond the estimate's own uncertainty; 3 where
    a tyre on a line seems three times as large: no question, since its count of short bursts may be to blame, but its hose is looked at for a leak."""
    ratio = f[_VOLUME] * 100 // _most(y[_VOL], 1)
    if f[_VOLUME] == 0 or f[_ASKED] != 0 or y[_VOL_TOL] >= _ANY_VOLUME:
        return 0
    high = _OFF_OPEN if y[_CHUCK] == 0 else _OFF_SHUT
    much = 1 if ratio * 100 > 140 * high else 0
    if y[_KIND] != 0:
        if ratio > _LEAKS:
            return 3
        much = 0
        high = _OFF_LINE_LOW
    if much != 0 and ratio > high << 1 or ratio * high < 50 * 100:
        return 2
    return 1 if much != 0 or ratio * high < 70 * 100 else 0


def _part(f, y, gap):
    """How much of what is missing the next burst may bring, by what is known of the volume."""
    if f[_LEARNT] == 0:
        return gap >> 1
    if f[_LEARNT] == 1 or y[_KIND] != 0:
        return gap - (gap >> 2)
    return gap - (gap >> 4)


def _plan(f, y):
    """At rest and seen: bead, volume, done, wait, or the next burst. Returns 0."""
    if y[_JOB] == 3:
        return _go(f, _DONE)
    gap = y[_TARGET] - f[_COLD]
    seat = 0
    if y[_SEAT] > 0 and f[_SEATED] == 0 and f[_START] < _LIMP_SEAT:
        if f[_PT] >= y[_SEAT] - 3_000:
            return _go(f, _SEAT_PAUSE)
        seat = 1 if y[_SEAT] - f[_PT] < gap else 0
        gap = _least(gap, y[_SEAT] - f[_PT])
    differs = _volume_differs(f, y)
    if differs != 0 and y[_CHUCK] == 0:  # or it leaks, or the hose still empties through a kink, which a held-open core shows
        if f[_RESTED] == 1 and f[_CNT] >= _LEAK_FROM:
            f[_RESTED] = f[_CNT]
            f[_WATCH_REF] = f[_COLD]
        if f[_RESTED] == 1 or f[_CNT] - f[_RESTED] < _LEAK_LOOK:
            return 0
        if f[_WATCH_REF] - f[_COLD] > _FALLS_PA + (f[_SPREAD] >> 3):
            return _stop(f, _HOSE_OR_TYRE if f[_VOLUME] > y[_VOL] else _NOT_SEEN)
        if differs == 3:
            f[_VOLUME] = 0
    if differs == 2:
        return _stop(f, 48)
    if differs == 1:
        return _go(f, _ASKING)
    least = _LEAST_PA
    if y[_KIND] != 0:
        least = _most(least, (_SHORTEST_LINE >> 8) * f[_GAIN] >> 8)
    if y[_CHUCK] == 0:
        sure = _SURE_COMPRESSOR if y[_KIND] == 0 else _SURE_LINE
    elif y[_Y_SPRING] > 0 or _began_empty(f) != 0:  # learnt at an earlier fill or now: then the heat is what is known least
        sure = _SURE_SPRING if y[_KIND] == 0 else _SURE_SPRING_LINE
    else:
        sure = _SURE_SHUT if y[_KIND] == 0 else _SURE_SHUT_LINE
    over = _most(y[_READ] - y[_MEAN], 0) if y[_KIND] == 0 else 0  # a pump stops by the higher transducer
    cut = 1 if y[_KIND] == 0 and f[_CHOP] == 1 else 0
    if seat == 0 and gap - cut * _least(over, _APART) <= _most(_TOL_CUT if cut != 0 else _TOL, least >> 1):
        if f[_SPREAD] > sure and f[_CNT] < _WAIT_LONGEST:
            return 0
        f[_WATCH_REF] = f[_COLD]
        return _go(f, _DONE)
    room = y[_STOP_PA] - y[_RISE] - 1_500 - (f[_SPRING] if y[_CHUCK] != 0 else 0)
    often = 1 if cut != 0 and y[_CHUCK] != 0 and f[_TOPS] > _CUT_MOST else 0
    if often != 0 or f[_PT] + over > room:
        return _at_stop(f, y) if often != 0 or f[_COLD] > room or f[_CNT] > _WAIT_LONGEST else 0
    part = _part(f, y, gap)
    if y[_KIND] != 0 and f[_PT] < _NEAR_AMBIENT:
        part = _least(part, _BLOW_PA)
    if f[_TOPS] == 0 and f[_FOUND_AIR] > 0 and y[_CHUCK] != 0 and (_began_empty(f) != 0 or y[_KIND] == 0 and gap < _LOW_BY_PA):
        f[_TOPS] = 1  # about as much air as the search let in, and a second look
        return _begin_burst(f, y, _FILLING, _within(f[_FOUND_AIR], _air_for(f, _LEAST_PA), _air_for(f, part)))
    if seat != 0 or gap > _RUN_PA and part > f[_SPREAD]:  # beads seat by what they feel: hot, so nothing is waited for
        part = _most(part - (part >> 2), least) if seat != 0 else _least(part, gap - f[_SPREAD])
        f[_TOPS] = f[_TOPS] + 1
        return _begin_burst(f, y, _FILLING, _air_for(f, part))
    if f[_SPREAD] > sure and f[_SPREAD] > gap >> _WORTH and (y[_CHUCK] == 0 and f[_CNT] < _WAIT_LONGEST or f[_OFF] < _PROBE_TICKS):
        return 0
    if f[_SPREAD] > sure:
        part = _least(part, gap - f[_SPREAD])
    part = _most(part, least)
    f[_TOPS] = f[_TOPS] + 1
    if f[_TOPS] > _TOPS_MAX:
        return _stop(f, 52)
    return _begin_burst(f, y, _TOPPING_UP, _air_for(f, part))
