"""Fill controller: requests air, vent and beep once a tick; the guard decides. FILL.md has the parts, the picture and the equations.

`step(f, y)` returns 1 WANT, 2 VENT, 4 BEEP. Integers, no loops, none past 30 bits, `//` only by positives. Gauge pascal; air in 1/1024 mL."""

from rimward_protocol.compat import const, ptr32

from rimward_fw.kernels.fill_burst import _air_for, _begin_burst, _burst, _unasked, _watch_burst
from rimward_fw.kernels.fill_heat import _cooled, _heat, _judge, _refer
from rimward_fw.kernels.fill_numbers import _least, _most, _within
from rimward_fw.kernels.fill_plan import _plan
from rimward_fw.kernels.fill_rest import _dead_end, _first_sight, _forget, _go, _jumps, _seen_again, _still, _stop, _tyre_now
from rimward_fw.kernels.fill_search import _begin_search, _found, _search, _spring_again, _unseen
from rimward_fw.kernels.fill_source import _count, _lag

_READ = const(0)  # inputs y from here
_MEAN = const(1)
_OUT = const(2)
_SW = const(3)
_WHY = const(4)
_CAUSE = const(5)
_JOB = const(6)
_TARGET = const(7)
_CHUCK = const(11)  # 0 pin-open, 1 pressure-open
_AMBIENT = const(12)
_KIND = const(15)  # 0 compressor, 1 line
_STOP_PA = const(16)
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
_HOSE_OR_TYRE = const(7)
_SENSORS_DISAGREE = const(18)
_RISING_WHILE_OFF = const(22)
_GONE = const(2)  # as SEEN, within a tick: the tyre is forgotten at its end
_IDLE = const(0)  # states, as FILL_STATES of the protocol
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
_STATE = const(0)  # state f from here
_REASON = const(1)
_TYRE = const(2)  # what may be shown; -1 unknown
_CONN_F = const(3)
_JOB_F = const(4)
_CNT = const(5)  # ticks in this state
_PT = const(6)  # tyre at the last rest, hot
_START = const(7)  # and when it was first seen
_EG = const(8)  # how far it reads over its value at the casing's temperature
_COLD = const(10)  # tyre less its excess
_SLOW = const(11)  # slow filter of the mean, * 16
_SPEED = const(13)  # of the source, 16384 = full
_AIR = const(14)
_AIR_0 = const(15)  # at the start of this burst
_AIR_REF = const(16)  # where the learning of the gain began
_COLD_REF = const(17)
_ON = const(21)
_OFF = const(22)
_SEEN = const(23)
_SEATED = const(24)
_TOPS = const(25)
_LEARNT = const(26)  # gain: 0 from the profile, 1 roughly, 2 from 20 kPa and more
_BEAT = const(12)
_RUN_F = const(29)
_BLEED_N = const(30)
_CALM = const(36)
_AIR_8 = const(38)
_MODEL = const(39)  # cold rise that the air since the last rest should have brought
_EG_0 = const(40)  # excess at the last rest
_GAS = const(42)
_ASKED = const(57)
_WATCH_REF = const(58)
_RESTED = const(59)
_ROUGH = const(64)
_FLAT_PA = const(11_000)  # below this a reading is no tyre: zero error 10
_ABOVE_PA = const(3_000)
_SPRING_MAX = const(28_000)  # closing pressure of a core
_LEAK_PA = const(6_000)  # Pa: what the heat may still be off by when the watch begins
_WENT_PA = const(1_000)  # rise that the counted air should have brought
_GONE_PA = const(8_000)  # errors of two readings and of the core's closing
_BLOWN_PA = const(15_000)  # rise that the counted air should have brought; of it a limp tyre shows a fourteenth at least by half a line's count; 1 kPa more behind a closed core
_FIRST_OFF = const(4_000)  # Pa by which a line's first reading, its hose let down before, may hold its self-test's air
_FIRST_PA = const(30_000)  # a first reading under that may be the self-test's air on its way through a slow core
_NEAR_AMBIENT = const(15_000)  # zero error 10, play 2.5, noise
_LOW_LOOKS = const(4)  # each 128 ms after the last: meanwhile a chuck taken off has shown itself to the guard
_WATCHED = const(4_000)  # ticks after done from which on the watch compares: until then rests still tell the heat
_LET_DOWN_TICKS = const(90)
_LIFT_FAST = const(200_000)  # Pa: as far as a first burst may lift a hose (guard_tyre), 110 kPa from under 30
_LOW_PA = const(28_000)
_CHECKED = const(-2)  # as RESTED
_ROUGH_MOST = const(12_800)  # Pa * 64: 200 Pa a tick, 2.5 times the most that sound transducers show
_AT_STOP_TICKS = const(500)  # the guard sees the stop reading before any air
_LET_GO_TICKS = const(1_500)  # 3 s in which a person may still answer the question about the volume
_AMBIENT_MIN = const(20_000)  # Pa, under any place on earth
_BLEED_MIN = const(5)  # ticks: every opening empties the manifold as well


def _begin(f, y):
    """Begin a new connection or wheel: nothing is known of the tyre (G7)."""
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
    f[_SEEN] = _GONE


def _sample(f, y):
    """Take the tyre through a held-open core, long after the last air."""
    f[_PT] = f[_SLOW] >> 4
    if f[_OFF] < _cooled(f, y):  # the manifold's own air still cools
        _refer(f)
    else:
        _judge(f, y)
    f[_EG_0] = f[_EG]
    f[_MODEL] = 0
    f[_COLD] = f[_PT] - f[_EG]
    if f[_AIR] == f[_AIR_REF]:  # no air since: it is the reference that is better known now
        f[_COLD_REF] = f[_COLD]


def _gone(f, y):
    """1 where the tyre is not on the hose any more: air went in, and the reading fell by more than heat explains or hardly rose near ambient."""
    now = _tyre_now(f, y)
    rise = now - f[_PT]
    first = 1 if f[_TOPS] < 2 else 0
    if y[_KIND] != 0 and y[_CHUCK] != 0:  # play hides a single rise of a limp tyre: all of them count
        judged = 1 if first == 0 and now - f[_START] < f[_TOPS] << 8 else 0
    else:
        judged = 1 if first == 0 or y[_KIND] != 0 else 0
    if judged != 0 and f[_MODEL] > _BLOWN_PA + (y[_CHUCK] << 10) and now < _NEAR_AMBIENT and rise < (f[_MODEL] >> 5) - first * _FIRST_OFF:
        return 1
    if first != 0 and f[_PT] < _FIRST_PA:
        return 0
    return 1 if f[_MODEL] > _WENT_PA and -rise > _GONE_PA + _most(f[_EG_0], 0) else 0


def _settle(f, y):
    """No flow: first the rest, then the plan, again and again while it waits."""
    if f[_SEEN] == 0:
        if _still(f, y) != 0:
            if _found(f, y) != 0:
                _plan(f, y)
        return 0
    if f[_RESTED] <= 0:
        if _still(f, y) != 0:
            if f[_BLEED_N] == 0:  # the hose was let down and no burst has shown the tyre since: the counted air alone
                f[_RESTED] = 1
                f[_COLD] = f[_COLD] + f[_MODEL]
                f[_MODEL] = 0
                f[_PT] = f[_COLD] + f[_EG]
                f[_EG_0] = f[_EG]
                _refer(f)
                f[_AIR_0] = f[_AIR]
                return _plan(f, y)
            if f[_RESTED] != _CHECKED:
                if _gone(f, y) != 0:
                    f[_SEEN] = _GONE
                    return _stop(f, 7)
                if _dead_end(f, y) == 0:
                    _spring_again(f, y)
                    f[_RESTED] = _CHECKED  # read in the next tick: each has its time
                return 0
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
    """Hold the target; the watch for leaks goes on while the hose is on."""
    if y[_CHUCK] == 0 and f[_SEEN] != 0 and f[_CNT] > 250 and (f[_CNT] & 63) == 0 and f[_CNT] < 30_000:
        _sample(f, y)
        low = 1 if f[_PT] < f[_WATCH_REF] - _LEAK_PA and y[_JOB] != 3 else 0  # under what a sound tyre comes to when cold
        if f[_CNT] < _WATCHED:
            f[_WATCH_REF] = f[_COLD]
            low = 0
        f[_CALM] = f[_CALM] + 1 if low != 0 else 0
        if f[_CALM] > _LOW_LOOKS:
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
    f[_GAS] = f[_GAS] - fell * 410 // 1434  # what leaves cools what stays
    f[_EG] = f[_GAS]
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


def _let_down_first(f, y):
    """Return VENT while a line's hose behind a closed core stands so high that the fastest valves' first burst could reach the stop reading.
    Before any air alone: later the guard would take the vented air's warming for a valve that leaks."""
    high = 1 if y[_READ] > _LOW_PA and y[_READ] + _LIFT_FAST >= y[_STOP_PA] else 0
    return _VENT if high != 0 and f[_AIR] == 0 and y[_KIND] != 0 and y[_CHUCK] != 0 else 0


def _measure(f, y):
    """Before the first burst: a held-open core shows the tyre; behind a closed one the search has to find it."""
    if y[_KIND] != 0 and f[_SEEN] == 0:
        if f[_CNT] == 1:  # a line's self-test lifts the hose: to the guard that is no tyre that stood
            return _VENT
        if f[_CNT] < _LET_DOWN_TICKS and _let_down_first(f, y) != 0:
            return _VENT
    if y[_CHUCK] == 0 or y[_KIND] != 0 and f[_SEEN] == 0:  # nor is its air a part of the first burst's rise
        if f[_CNT] < (50 if y[_KIND] == 0 else 150) or (_lag(f, y) > 250 or _lag(f, y) < -250) and f[_CNT] < 500:
            return 0
    if y[_CHUCK] == 0:
        if f[_MODEL] > _WENT_PA:
            if _dead_end(f, y) == 0:
                f[_MODEL] = 0  # it goes on in the next tick: each has its time
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
        if f[_LEARNT] == 0 and -part > _SPRING_MAX:
            return _stop(f, 49)
        if part > 2_000:
            f[_RESTED] = 0
            return _begin_burst(f, y, _TOPPING_UP, _air_for(f, _least(part >> 2, 10_000)))
        f[_RESTED] = 1
        return _go(f, _SETTLING)
    return _begin_search(f, y)


def _ask(f, y):
    """Ask what the person confirms."""
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
    """Stay stopped: a fresh hold tries again; held-open and above its target, the bleed button lets air out."""
    if y[_SW] & _S_BLEED != 0 and f[_REASON] == 49 and y[_CHUCK] == 0:
        f[_PT] = y[_MEAN]
        f[_BLEED_N] = _BLEED_MIN
        return _go(f, _BLEEDING)
    if y[_SW] & _S_RUN != 0 and f[_RUN_F] == 0 and f[_REASON] != 48 and f[_REASON] != _SENSORS_DISAGREE:
        f[_TOPS] = 0
        return _go(f, _READY)
    return 0


def _decide(f, y):
    """Run the state machine. Returns fill's bits."""
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
        f[_SEEN] = _GONE
        return 0 if s == _DONE else _stop(f, 7)  # after done it is the normal end
    if y[_SW] & _S_STOP != 0 and s != _IDLE and s != _DONE and s != _STOPPED:
        return _stop(f, 53 if s == _SEAT_PAUSE else 1)
    if s == _READY or s == _SELF_TEST:
        f[_CALM] = f[_CALM] + 1 if run != 0 and y[_WHY] == 2 else 0
        if run == 0:
            f[_STATE] = _READY
        elif f[_CALM] > _AT_STOP_TICKS:
            return _unseen(f, y)
        elif y[_OUT] & _G_READY != 0:
            f[_REASON] = 0
            return _go(f, _MEASURING)
        elif y[_OUT] & _G_TESTING != 0:
            f[_STATE] = _SELF_TEST
        elif 0 < f[_CALM] < _LET_DOWN_TICKS:  # the hose stands too high for the guard's bound of a first burst
            return _let_down_first(f, y)
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
    if _unasked(f, y) != 0:
        return _stop(f, _RISING_WHILE_OFF)
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
    """One tick. `f`: 65 words of state, `y`: 31 words of input, both int32. Returns fill's bits; never raises."""
    bits = 0
    if y[_CONN] != f[_CONN_F] or y[_JOB] != f[_JOB_F] or y[_JOB] == 0:
        _begin(f, y)
    elif y[_COAST] < 1 or y[_SPIN] < 1 or y[_MANIFOLD] < 1 or y[_AMBIENT] < _AMBIENT_MIN:
        return 0  # no arming writes such words
    else:
        _count(f, y)
        _jumps(f, y)
        if y[_KIND] != 0:
            _watch_burst(f, y)
        f[_BEAT] = (f[_BEAT] + 1) & 7
        if f[_BEAT] == 0:
            _heat(f, y)
        bits = _decide(f, y)
        if f[_STATE] == _STOPPED and f[_CNT] == 0 and f[_REASON] == _HOSE_OR_TYRE and f[_ROUGH] > _ROUGH_MOST:
            f[_REASON] = _SENSORS_DISAGREE  # what seems to fall is one transducer that jumps
        f[_RUN_F] = y[_SW] & _S_RUN
    if f[_SEEN] == _GONE:
        _forget(f, y)
    f[_TYRE] = _most(f[_PT], 0) if f[_SEEN] != 0 else -1
    return bits
