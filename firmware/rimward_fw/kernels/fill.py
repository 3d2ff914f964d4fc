"""Fill controller: requests air, vent and beep once a tick; the guard decides.

`step(f, y)` reads the inputs `y`, updates the state `f` and returns 1 WANT, 2 VENT, 4 BEEP. Plain integer functions over int32 arrays, no
loops, no value past 30 bits; `//` only by what is positive. Pressures are gauge pascal, air is counted in 1/1024 mL of free air (1/16 of
the guard's unit). FILL.md beside this file has the picture and the equations.

Parts, in the order in which they use one another: `fill_source` counts air, `fill_heat` follows the heat of the tyre's air, `fill_rest` reads
the tyre at rest, `fill_burst` lets air in, `fill_search` finds the tyre, `fill_plan` decides what comes next. `rimward.kernels.assemble`
makes one function of them.
"""

from rimward_protocol.compat import const, ptr32

from rimward_fw.kernels.fill_burst import _air_for, _begin_burst, _burst, _watch_burst
from rimward_fw.kernels.fill_heat import _heat, _judge, _refer
from rimward_fw.kernels.fill_numbers import _least, _most, _within
from rimward_fw.kernels.fill_plan import _plan
from rimward_fw.kernels.fill_rest import _first_sight, _go, _seen_again, _still, _stop
from rimward_fw.kernels.fill_search import _begin_search, _found, _search
from rimward_fw.kernels.fill_source import _count, _lag

# Inputs y.
_MEAN = const(1)
_OUT = const(2)
_SW = const(3)
_WHY = const(4)
_CAUSE = const(5)
_JOB = const(6)
_TARGET = const(7)
_VOL = const(9)
_CHUCK = const(11)  # 0 pin-open, 1 pressure-open
_AMBIENT = const(12)
_KIND = const(15)  # 0 compressor, 1 line
_COAST = const(17)
_CONN = const(18)
_SPIN = const(24)
_MANIFOLD = const(28)  # mL

_S_RUN = const(1)
_S_CONFIRM = const(64)
_S_BLEED = const(128)
_S_STOP = const(256)
_G_READY = const(16)
_G_TESTING = const(32)
_G_OFF = const(64)  # the guard saw the chuck come off
_VENT = const(2)
_BEEP = const(4)

# States, as FILL_STATES of the protocol.
_IDLE = const(0)
_READY = const(1)
_ASKING = const(2)
_SELF_TEST = const(3)
_PURGE = const(4)
_MEASURING = const(5)
_FILLING = const(6)
_SEAT_PAUSE = const(7)
_SETTLING = const(8)
_TOPPING_UP = const(10)
_BLEEDING = const(11)
_DONE = const(13)
_STOPPED = const(14)
_TRIPPED = const(15)

# State f.
_STATE = const(0)
_REASON = const(1)
_TYRE = const(2)  # what may be shown; -1 unknown
_CONN_F = const(3)
_JOB_F = const(4)
_CNT = const(5)  # ticks in this state
_PT = const(6)  # tyre at the last rest, hot
_START = const(7)  # tyre when first seen
_EG = const(8)  # how far it reads over its value at the casing's temperature
_SPREAD = const(9)  # how far the heat balances lie apart
_COLD = const(10)  # tyre less its excess
_SLOW = const(11)  # slow filter of the mean, * 16
_SPEED = const(13)  # of the source, 16384 = full
_AIR = const(14)
_AIR_0 = const(15)  # at the start of this burst
_AIR_REF = const(16)  # where the learning of the gain began
_COLD_REF = const(17)
_GAIN = const(18)  # Pa for a unit of air: cold = (air >> 8) * gain >> 8
_BURST = const(20)  # ticks of a line's next burst
_ON = const(21)
_OFF = const(22)
_SEEN = const(23)
_SEATED = const(24)
_TOPS = const(25)
_LEARNT = const(26)  # gain: 0 from the profile, 1 roughly, 2 from 20 kPa and more
_BEAT = const(12)
_CHOP = const(27)  # the source rests within a burst; of a line: ticks of the last burst
_VOLUME = const(28)  # learned, mL; 0 unknown
_RUN_F = const(29)
_BLEED_N = const(30)
_LIFT = const(33)
_CALM = const(36)
_SPRING = const(37)  # what the reading at rest holds over the tyre behind a closed core
_AIR_8 = const(38)
_MODEL = const(39)  # cold rise that the air since the last rest should have brought
_EG_0 = const(40)  # excess at the last rest
_TRIES = const(57)
_SINCE_REF = const(41)
_E1 = const(42)  # excess by each heat balance
_E2 = const(43)
_E3 = const(44)
_E4 = const(45)
_E5 = const(46)
_J1 = const(52)  # misfit of each
_J2 = const(53)
_J3 = const(54)
_J4 = const(55)
_J5 = const(56)
_FOUND_AIR = const(59)
_ASKED = const(61)
_WATCH_REF = const(62)
_RESTED = const(63)
_LEFT = const(34)  # of a line's burst: what is left of its lift 120 ms later
_LAST = const(35)  # ticks of a line's last burst
_SHORT = const(64)  # ticks of its shortest burst that lets air in
_RELAY = const(66)  # ticks for which the relay has been closed

_FLAT_PA = const(8_000)  # below this a reading is no tyre
_ABOVE_PA = const(3_000)
_LEAK_PA = const(6_000)  # Pa: what the heat balances may still err by when the watch begins
_WATCHED = const(4_000)  # ticks after done from which on the watch compares: until then the heat balances still learn
_AT_STOP_TICKS = const(500)  # the guard sees the stop reading before any air
_LET_GO_TICKS = const(1_500)  # 3 s in which a person may still answer the question about the volume
_COOLED = const(400)  # ticks: two and a half time constants of the manifold
_AMBIENT_MIN = const(20_000)  # Pa, under any place on earth
_BLEED_MIN = const(5)  # what stands in the manifold goes with every opening


def _begin(f, y):
    """A new connection or wheel: nothing is known of the tyre (G7)."""
    f[_CONN_F] = y[_CONN]
    f[_JOB_F] = y[_JOB]
    f[_STATE] = _IDLE if y[_JOB] == 0 else _READY
    f[_REASON] = 0
    f[_CNT] = 0
    f[_RUN_F] = 0
    f[_BEAT] = 0
    f[_SPEED] = 0
    f[_ON] = 0
    f[_OFF] = 0
    f[_AIR] = 0
    f[_AIR_8] = 0
    f[_SLOW] = y[_MEAN] << 4
    f[_SEATED] = 0
    f[_ASKED] = 0
    _forget(f, y)


def _forget(f, y):
    """Nothing is known of the tyre."""
    f[_TYRE] = -1
    f[_SEEN] = 0
    f[_LEARNT] = 0
    f[_TOPS] = 0
    f[_VOLUME] = 0
    f[_PT] = 0
    f[_COLD] = 0
    f[_EG] = 0
    f[_EG_0] = 0
    f[_SPREAD] = 0
    f[_MODEL] = 0
    f[_SINCE_REF] = 0
    f[_START] = 0
    f[_AIR_0] = f[_AIR]
    f[_AIR_REF] = f[_AIR]
    f[_COLD_REF] = 0
    f[_FOUND_AIR] = 0
    f[_TRIES] = 0
    f[_CALM] = 0
    f[_CHOP] = 0
    f[_BURST] = 3
    f[_SHORT] = 3
    f[_RELAY] = 0
    f[_LIFT] = 0
    f[_LEFT] = 0
    f[_LAST] = 0
    f[_SPRING] = 0
    f[_BLEED_N] = _BLEED_MIN
    f[_E1] = 0
    f[_E2] = 0
    f[_E3] = 0
    f[_E4] = 0
    f[_E5] = 0
    f[_J1] = 60
    f[_J2] = 0
    f[_J3] = 0
    f[_J4] = 0
    f[_J5] = 60
    f[_GAIN] = y[_AMBIENT] * 64 // (y[_VOL] + y[_MANIFOLD]) if y[_VOL] > 0 else 0


def _sample(f, y):
    """The tyre through a held-open core, long after the last air."""
    f[_PT] = f[_SLOW] >> 4
    if f[_OFF] < _COOLED:  # the manifold's own air still cools
        _refer(f)
    else:
        _judge(f)
    f[_EG_0] = f[_EG]
    f[_COLD] = f[_PT] - f[_EG]


def _settle(f, y):
    """No flow: first the rest, then the plan, again and again while it waits."""
    if f[_SEEN] == 0:
        if _still(f, y) != 0:
            if _found(f, y) != 0:
                _plan(f, y)
        return 0
    if f[_RESTED] == 0:
        if _still(f, y) != 0:
            f[_RESTED] = 1
            _seen_again(f, y)
            _plan(f, y)
    elif (f[_CNT] & 63) == 0:
        if y[_CHUCK] == 0:
            _sample(f, y)
        else:
            f[_PT] = f[_COLD] + f[_EG]
            f[_EG_0] = f[_EG]
        _plan(f, y)
    return 0


def _done(f, y):
    """The target stands; the watch for leaks goes on while the hose is on."""
    if y[_CHUCK] == 0 and f[_SEEN] != 0 and f[_CNT] > 250 and (f[_CNT] & 63) == 0 and f[_CNT] < 30_000:
        _sample(f, y)
        if f[_CNT] < _WATCHED:
            f[_WATCH_REF] = f[_COLD]
        elif f[_PT] < f[_WATCH_REF] - _LEAK_PA and y[_JOB] != 3:  # under what a sound tyre comes to when cold
            _stop(f, 50)
    return _BEEP if f[_CNT] < 50 else 0


def _bleed(f, y):
    """Lets air out in timed openings, each as long as the last one showed to be needed; only through a held-open core."""
    if y[_SW] & _S_BLEED == 0:
        return _stop(f, 49)
    if f[_CNT] <= f[_BLEED_N]:
        return _VENT
    if f[_CNT] < f[_BLEED_N] + 100:
        return 0
    fell = _most(f[_PT] - y[_MEAN], 160)
    f[_PT] = y[_MEAN]
    f[_EG] = f[_EG] - fell * 410 // 1434  # what leaves cools what stays
    f[_COLD] = f[_PT] - f[_EG]
    excess = f[_COLD] - y[_TARGET]
    f[_CNT] = 0
    if excess <= 1_000:
        f[_WATCH_REF] = f[_COLD]
        f[_REASON] = 0
        return _go(f, _DONE)
    more = f[_BLEED_N] * (_within(excess, 0, 50_000) >> 4) // (fell >> 4)
    f[_BLEED_N] = _within(more, _BLEED_MIN, _least(f[_BLEED_N] * 3, 1500))
    return 0


def _measure(f, y):
    """Before the first burst: a held-open core shows the tyre; behind a closed one the search has to find it."""
    if y[_CHUCK] == 0:
        if f[_CNT] < 50 or (_lag(f, y) > 500 or _lag(f, y) < -500) and f[_CNT] < 500:
            return 0
        if y[_MEAN] > _FLAT_PA and f[_SEEN] == 0:
            _first_sight(f, y, y[_MEAN])
        if f[_SEEN] != 0:
            _sample(f, y)
            if f[_LEARNT] == 0 and f[_PT] > y[_TARGET] + _ABOVE_PA:
                return _stop(f, 49)
            f[_CALM] = 0
            f[_RESTED] = 1
            _go(f, _SETTLING)
            return _plan(f, y)
    elif f[_SEEN] != 0:  # behind a closed core the reading says nothing: a small burst first
        part = y[_TARGET] - f[_COLD]
        if part > 2_000:
            f[_RESTED] = 0
            return _begin_burst(f, y, _TOPPING_UP, _air_for(f, _least(part >> 2, 10_000)))
        f[_RESTED] = 1
        return _go(f, _SETTLING)
    return _begin_search(f, y)


def _ask(f, y):
    """A question that the person confirms."""
    if y[_SW] & _S_CONFIRM != 0:
        if f[_STATE] == _SEAT_PAUSE:
            f[_SEATED] = 1
        else:
            f[_ASKED] = 1
        return _go(f, _READY)
    if f[_STATE] == _ASKING and y[_SW] & _S_RUN == 0 and f[_CNT] > _LET_GO_TICKS:
        return _stop(f, 48)
    return _BEEP if f[_CNT] < 100 else 0


def _stopped(f, y):
    """Stopped: a fresh hold tries again; held-open and above its target, the bleed button lets air out."""
    if y[_SW] & _S_BLEED != 0 and f[_REASON] == 49 and y[_CHUCK] == 0:
        f[_PT] = y[_MEAN]
        f[_BLEED_N] = _BLEED_MIN
        return _go(f, _BLEEDING)
    if y[_SW] & _S_RUN != 0 and f[_RUN_F] == 0 and f[_REASON] != 48:
        f[_TOPS] = 0
        return _go(f, _READY)
    return 0


def _decide(f, y):
    """The state machine. Returns fill's bits."""
    f[_CNT] = _least(f[_CNT] + 1, 32000)
    s = f[_STATE]
    run = y[_SW] & _S_RUN
    if y[_CAUSE] != 0:
        f[_REASON] = y[_CAUSE]
        f[_SEEN] = 0
        return _go(f, _TRIPPED)
    if s == _TRIPPED:
        f[_REASON] = 0
        return _go(f, _READY)
    if y[_OUT] & _G_OFF != 0 and s != _IDLE:
        _forget(f, y)
        return _stop(f, 7)
    if y[_SW] & _S_STOP != 0 and s != _IDLE and s != _DONE and s != _STOPPED:
        return _stop(f, 53 if s == _SEAT_PAUSE else 1)
    if s == _READY or s == _SELF_TEST:
        f[_CALM] = f[_CALM] + 1 if run != 0 and y[_WHY] == 2 else 0
        if run == 0:
            f[_STATE] = _READY
        elif f[_CALM] > _AT_STOP_TICKS:
            return _stop(f, 49)
        elif y[_OUT] & _G_READY != 0:
            f[_REASON] = 0
            return _go(f, _MEASURING)
        elif y[_OUT] & _G_TESTING != 0:
            f[_STATE] = _SELF_TEST
        return 0
    if s == _STOPPED:
        return _stopped(f, y)
    if s == _BLEEDING:
        return _bleed(f, y)
    if s == _SEAT_PAUSE or s == _ASKING:
        return _ask(f, y)
    if s == _DONE:
        return _done(f, y)
    if s == _IDLE:
        return 0
    if run == 0 and s != _SETTLING:
        f[_REASON] = 1
        f[_RESTED] = 0
        return _go(f, _READY)
    if s == _MEASURING:
        return _measure(f, y)
    if s == _PURGE:
        want = _search(f, y)
        f[_RESTED] = 0
        return want
    if s == _FILLING or s == _TOPPING_UP:
        f[_RESTED] = 0
        return _burst(f, y)
    return _settle(f, y)


def step(f: ptr32, y: ptr32) -> int:
    """One tick. `f`: 67 words of state, `y`: 30 words of input, both int32. Returns fill's bits; never raises."""
    if y[_CONN] != f[_CONN_F] or y[_JOB] != f[_JOB_F] or y[_JOB] == 0:
        _begin(f, y)
        return 0
    if y[_COAST] < 1 or y[_SPIN] < 1 or y[_MANIFOLD] < 1 or y[_AMBIENT] < _AMBIENT_MIN:
        return 0  # no arming writes such words
    _count(f, y)
    if y[_KIND] != 0:
        _watch_burst(f, y)
    f[_BEAT] = (f[_BEAT] + 1) & 7
    if f[_BEAT] == 0:
        _heat(f, y)
    bits = _decide(f, y)
    f[_RUN_F] = y[_SW] & _S_RUN
    f[_TYRE] = _most(f[_PT], 0) if f[_SEEN] != 0 else -1
    return bits
