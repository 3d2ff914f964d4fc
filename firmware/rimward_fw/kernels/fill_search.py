"""The search: bursts until a tyre takes air. Part of the fill kernel."""

from rimward_protocol.compat import const

from rimward_fw.kernels.fill_burst import _air_for, _begin_burst, _given, _let_down, _patience, _rested
from rimward_fw.kernels.fill_numbers import _least, _most, _within
from rimward_fw.kernels.fill_rest import _began_empty, _dead_end, _first_sight, _go, _stop, _tyre_now, _warm_fall
from rimward_fw.kernels.fill_source import _coming, _lag, _rate, _shut_rise

# Inputs y.
_READ = const(0)
_MEAN = const(1)
_WHY = const(4)
_TARGET = const(7)
_CHUCK = const(11)
_AMBIENT = const(12)
_KIND = const(15)
_STOP_PA = const(16)
_COAST = const(17)
_RISE = const(27)
_MANIFOLD = const(28)
_Y_SPRING = const(30)  # learnt at an earlier fill of this wheel; 0 unknown

# State f.
_CNT = const(5)
_PT = const(6)
_START = const(7)
_EG = const(8)
_COLD = const(10)
_SPEED = const(13)
_AIR = const(14)
_AIR_0 = const(15)
_COLD_REF = const(17)
_GAIN = const(18)
_GOAL = const(19)
_ON = const(21)
_OFF = const(22)
_TOPS = const(25)
_CHOP = const(27)
_BLEED_N = const(30)
_BASE = const(31)
_LIFT = const(33)
_CALM = const(36)
_SPRING = const(37)
_TRIES = const(53)
_KNEE = const(54)
_LEFT = const(34)
_LAST = const(35)
_SHORT = const(60)
_RELAY = const(62)
_GAS = const(42)
_GAS_MOST = const(43)
_FOUND_AIR = const(55)
_FOUND_PA = const(56)

_PURGE = const(4)
_SETTLING = const(8)
_NOTHING_PA = const(2_500)
_ROSE_PA = const(1_500)  # through a held-open core: the reading against the one before any air, whatever the zero error
_ABOVE_PA = const(3_000)
_KNEE_TICKS = const(12)
_EMPTY_PA = const(36_000)  # as in fill_rest
_SPRING_MIN = const(2_000)  # closing pressure of cores, 2 to 28 kPa
_SPRING_MAX = const(28_000)
_SPRING_UNKNOWN = const(7_500)  # near the least: what is not known may not lift the tyre over its target
_SEARCH_PA = const(12_000)
_SEARCH_SHUT_PA = const(3_000)  # the rise has shown the core open: it needs no more
_STEADY_PA = const(600)  # Pa in 16 ticks, as in guard_tyre
_LIFT_MIN = const(2_500)  # Pa: noise of the filtered reading is 1 kPa
_AT_REST = const(6)  # a hose that falls by more than 1/64 of its last rise in 16 ticks is not at rest
_SLOPES_APART = const(100)  # Pa: the mean's slope against the higher reading's
_RISES = const(8_000)  # Pa in 16 ticks: no burst while air comes unasked
_KNEE_SURE_PA = const(12_000)  # one burst that lifts so much and runs off shows a tyre; of a smaller one two, one alone may be a valve just moving
_LOOK_AGAIN = const(250)  # ticks: by then a slow core has let the excess go, steady or not
_UNWATCHED = const(320)  # as in fill_burst
_RELIEFS = const(3)  # a tyre that so many rounds do not show cannot be found under the guard's bound
_ABOVE_TARGET = const(49)
_NOT_SEEN = const(65)
_HOSE_OR_TYRE = const(7)
_NO_TYRE = const(51)
_UNSEEN = const(14)  # ticks: 28 ms by which sensors and filters are late
_FREE_SLOPE = const(3_500)  # Pa in 16 ticks: as steeply as a pump lifts a hose that hangs free
_TELLS_PA = const(15_000)  # a hose cools by that much after the last try: air that lifts it by less tells nothing
_SHORT_PA = const(5_000)  # the least that a later try has to have let in: its count is rough
_CURVED = const(13)  # sixteenths: a limp tyre opens with pressure, and the first air lifts it less
_TOOK_MOST = const(5_000_000)  # 1/1024 mL: keeps the product under 30 bits
_NO_TYRE_PA = const(60_000)  # so much air in the profile's volume without a trace of pressure: no tyre


def _refill(y, pa):
    """Air that lifts the manifold by `pa` at room temperature, 1/1024 mL."""
    return (y[_MANIFOLD] << 10) * (_within(pa, 0, 1_000_000) >> 8) // (y[_AMBIENT] >> 8)


def _begin_search(f, y):
    """Start, or go on."""
    f[_KNEE] = 0
    f[_CALM] = 0
    f[_FOUND_PA] = y[_MEAN]
    if y[_KIND] == 0:
        f[_LIFT] = _most(-_lag(f, y), 0)  # a pump has no bursts: it is how fast the hose still cools
    if f[_TRIES] == 0:
        f[_START] = y[_MEAN]
    return _begin_burst(f, y, _PURGE, _air_for(f, _SEARCH_PA if y[_CHUCK] == 0 else _SEARCH_SHUT_PA))


def _dead_slope(f, y):
    """Pa in 16 ticks by which the source would now lift a closed manifold."""
    air = (_rate(y) * f[_SPEED]) >> 14
    return air * (y[_AMBIENT] >> 6) // (y[_MANIFOLD] << 4) * 22


def _steady(f, y):
    """1 where a burst may begin: no air comes unasked, and behind a closed core the reading is as steady as the guard wants it (guard_tyre)."""
    slope = _lag(f, y)
    if y[_CHUCK] == 0:
        return 1 if slope < _RISES else 0
    most = _most(y[_READ] >> 6, _STEADY_PA) - _SLOPES_APART
    return 1 if -most < slope < most else 0


def _fits(f, y):
    """1 where a line's next burst, a fifth higher than the last, stays under the stop reading."""
    return 1 if y[_READ] + f[_LIFT] + f[_LIFT] // 5 + 2_000 < y[_STOP_PA] else 0


def _unseen(f, y):
    """Stop: behind a closed core the reading is the hose's alone, the tyre holds as much or takes no air; through an open one it holds this."""
    return _stop(f, _NOT_SEEN if y[_CHUCK] != 0 else _ABOVE_TARGET)


def _leaves(f, y):
    """Return the cause where no tyre keeps the air: a hose that hangs free empties at once; from one that holds for a while a leak or
    an open tyre takes it."""
    if y[_KIND] == 0:
        return _HOSE_OR_TYRE if f[_LEFT] > _FREE_SLOPE else _NO_TYRE
    return _HOSE_OR_TYRE if f[_LEFT] * 4 > f[_LIFT] else _NO_TYRE


def _search(f, y):
    """Run a compressor until the rise slows to a third of a closed manifold's; a line by its shortest bursts. Returns WANT."""
    if y[_WHY] > 3 and f[_OFF] > _given(y):
        return _stop(f, y[_WHY])
    wait = _patience(y)
    if f[_OFF] > wait and f[_CNT] > wait:
        return _unseen(f, y) if y[_KIND] != 0 and y[_WHY] == 2 else _go(f, _SETTLING)
    came = f[_AIR] - f[_AIR_0]
    if y[_KIND] == 0:
        lag = _most(_lag(f, y), 0)
        coming = _coming(f, y)
        ahead = lag * (y[_COAST] + 28) >> 5
        if y[_CHUCK] != 0 and f[_CALM] == 0:  # no sign of an open core yet: the reading is late while the pump gathers speed
            late = ((_rate(y) * f[_SPEED]) >> 14) * _UNSEEN
            ahead = _most(ahead, _shut_rise(y, coming + late) * 5 >> 2)  # a hose may be smaller than the nominal one
        if y[_READ] + ahead >= y[_STOP_PA] - y[_RISE] - 300 or f[_ON] == 0 and f[_OFF] > 0 and f[_CNT] > 2 and y[_WHY] == 2:
            return _go(f, _SETTLING)
        f[_LEFT] = _most(f[_LEFT], _lag(f, y)) if f[_CNT] > 1 else 0  # steepest so far: a pump that delivers less than it says is no tyre
        f[_CALM] = f[_CALM] + 1 if f[_ON] >= 30 and _lag(f, y) * 3 < _dead_slope(f, y) and _lag(f, y) * 2 < f[_LEFT] else 0
        if f[_CALM] >= _KNEE_TICKS:
            f[_KNEE] = 1
        if f[_KNEE] != 0 and came + coming > f[_GOAL] + _refill(y, y[_MEAN] - f[_FOUND_PA]):
            return _go(f, _SETTLING)
        return 1
    if f[_CHOP] == 0:
        f[_CHOP] = 1 if f[_ON] >= f[_SHORT] or 0 < f[_OFF] <= 60 else 0
        return 1 - f[_CHOP]
    ready = 1 if f[_OFF] > 61 and _rested(f) != 0 and f[_RELAY] > 20 and _fits(f, y) != 0 and _steady(f, y) != 0 else 0
    ran_off = 1 if f[_LIFT] > _LIFT_MIN and (y[_READ] - f[_BASE]) * 2 < f[_LIFT] else 0
    look = 1 if f[_OFF] == 61 or f[_OFF] == _LOOK_AGAIN else 0
    if ready != 0 and y[_CHUCK] != 0 and f[_OFF] <= _LOOK_AGAIN and f[_LEFT] * 2 >= f[_LIFT]:  # a slow core: little had gone by then
        if ran_off != 0 and _lag(f, y) < -(f[_LIFT] >> _AT_REST) - _SLOPES_APART:
            ran_off = 0  # it still falls: so does a hose that cools after many bursts
            ready = ready if f[_OFF] == _LOOK_AGAIN else 0
        else:
            look = 1
    if look != 0 and f[_LAST] > 0 and f[_CNT] > 61:
        f[_LEFT] = _most(y[_READ] - f[_BASE], 0)
        f[_CALM] = f[_CALM] + 1 if ran_off != 0 else 0
        seen = 1 if f[_CALM] > 1 or f[_CALM] == 1 and f[_LIFT] > _KNEE_SURE_PA else 0
        if y[_CHUCK] == 0:
            seen = 1 if came > f[_GOAL] or y[_MEAN] > f[_START] + _ROSE_PA * 2 else 0
        if seen != 0:
            f[_KNEE] = 1
            f[_BLEED_N] = _most(f[_BLEED_N], 5)
            return _go(f, _SETTLING)
        if y[_CHUCK] != 0 and y[_MEAN] - _SPRING_MAX > y[_TARGET] + _ABOVE_PA:
            return _go(f, _SETTLING)  # a slow core hides how much it has taken: no more until the hose has come to rest
    if f[_OFF] == _UNWATCHED and y[_CHUCK] != 0:
        f[_TRIES] = f[_TRIES] + 1
        if f[_TRIES] > _RELIEFS:
            return _unseen(f, y)
    if ready != 0:
        f[_CHOP] = 0
    elif f[_CHOP] != 0 and (y[_WHY] == 2 or _fits(f, y) == 0):
        return _let_down(f, y)
    return 1 - f[_CHOP]


def _found(f, y):
    """At rest after a burst of the search: was there a tyre?"""
    if _dead_end(f, y) != 0:
        return 0
    came = f[_AIR] - f[_AIR_0]
    went = came - _refill(y, y[_MEAN] - f[_FOUND_PA])
    f[_FOUND_AIR] = f[_FOUND_AIR] + _most(went, 0)
    took = f[_FOUND_AIR]
    if y[_CHUCK] == 0:
        seen = 1 if y[_MEAN] > f[_START] + _ROSE_PA else 0
    else:
        tells = 1 if came > _refill(y, _TELLS_PA) and went > came >> 1 else 0
        if f[_TRIES] > 1 and y[_MEAN] < y[_TARGET] + _SPRING_MAX:  # short runs under the stop reading open the core, and the rest does not rise
            cooled = _refill(y, f[_LIFT] << 3)
            tells = 1 if came > _refill(y, _SHORT_PA) and went - cooled > came * 5 >> 3 else tells
        seen = 1 if y[_MEAN] > _NOTHING_PA and (f[_KNEE] != 0 or f[_BLEED_N] != 0 and tells != 0) else 0
    if seen == 0:
        if took > (_air_for(f, _NO_TYRE_PA) if y[_KIND] == 0 else _air_for(f, _NO_TYRE_PA) * 4):
            return _stop(f, _leaves(f, y))
        if y[_MEAN] > _EMPTY_PA and y[_MEAN] < f[_FOUND_PA] + 1_500 and f[_TRIES] > 0:
            return _unseen(f, y)
        f[_TRIES] = _least(f[_TRIES] + 1, 6)
        return _begin_search(f, y)
    if y[_CHUCK] != 0:
        if y[_MEAN] - _SPRING_MAX > y[_TARGET] + _ABOVE_PA:
            return _unseen(f, y)
        if y[_MEAN] < _EMPTY_PA:
            shown = (took >> 8) * f[_GAIN] >> 9  # of a line, whose shortest bursts count too much; a pump's by half more, as few tyres are so limp
            shown = shown + (shown >> 1) if y[_KIND] == 0 else shown
            f[_SPRING] = _within(y[_MEAN] + _warm_fall(f, y) - shown, _SPRING_MIN, _SPRING_MAX)
        else:
            f[_SPRING] = _within(y[_Y_SPRING], _SPRING_MIN, _SPRING_MAX) if y[_Y_SPRING] > 0 else _SPRING_UNKNOWN
    f[_EG] = 0
    f[_GAS] = 0
    f[_GAS_MOST] = 0
    _first_sight(f, y, _tyre_now(f, y) + _warm_fall(f, y))
    if y[_CHUCK] == 0 and y[_MEAN] > y[_TARGET] + _ABOVE_PA:
        return _unseen(f, y)
    return 1


def _spring_again(f, y):
    """Learn the spring again from the second burst into a tyre that began empty: what as much air as the search let in now lifts the reading by
    is the most that the first rest held of the tyre, however limp."""
    took = _least(f[_FOUND_AIR], _TOOK_MOST)
    f[_FOUND_AIR] = 0
    if f[_TOPS] != 1 or y[_CHUCK] == 0 or f[_PT] != f[_START] or _began_empty(f) == 0:
        return
    first = f[_START] + f[_SPRING]
    rise = _within(y[_MEAN] + _warm_fall(f, y) - first, 0, _EMPTY_PA)
    came = f[_AIR] - f[_AIR_0] - _refill(y, rise)
    if came < took >> 2 or took < 1:
        return
    held = rise * (took >> 8) // _most(came >> 8, 1) * _CURVED >> 4
    f[_SPRING] = _within(first - held, _SPRING_MIN, _SPRING_MAX)
    f[_START] = first - f[_SPRING]
    f[_PT] = f[_START]
    f[_COLD] = f[_START]
    f[_COLD_REF] = f[_START]
