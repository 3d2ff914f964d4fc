"""The fill's states that want air, and what comes next. See `fill`; part of the same kernel."""

from rimward_protocol.compat import const

from rimward_fw.kernels.fill_air import _burst, _coast, _lag, _refill
from rimward_fw.kernels.fill_find import _go, _knee, _stop
from rimward_fw.kernels.fill_numbers import _least, _most, _size
from rimward_fw.kernels.fill_tyre import _final, _first_sight

# As in `fill`, which tells what they are.
_READ = const(0)
_MEAN = const(1)
_WHY = const(4)
_JOB = const(6)
_TARGET = const(7)
_SEAT = const(8)
_CHUCK = const(11)
_KIND = const(15)
_STOP_PA = const(16)
_COAST = const(17)
_CRACK = const(21)
_RISE = const(27)
_PURGE = const(4)
_FILLING = const(6)
_SEAT_PAUSE = const(7)
_SETTLING = const(8)
_PROBING = const(9)
_TOPPING_UP = const(10)
_LEAK_WATCH = const(12)
_STATE = const(0)
_CNT = const(5)
_PT = const(6)
_PT_OLD = const(7)
_EG = const(8)
_COLD = const(10)
_SPEED = const(13)
_AIR = const(14)
_AIR_0 = const(15)
_GAIN = const(18)
_GOAL = const(19)
_STAGE = const(20)
_ON = const(26)
_OFF = const(27)
_SEEN = const(28)
_KNEE = const(29)
_SEATED = const(30)
_TOPS = const(31)
_LEARNT = const(32)
_CHOP = const(34)
_PROBED = const(35)
_WATCH_REF = const(39)
_REF_OK = const(42)
_BASE = const(40)
_PULSE = const(44)
_EG_REF = const(45)
_PT_REF = const(46)
_EG_START = const(47)
_EG_OLD = const(48)
_PT_START = const(49)
_SUPPLIED = const(50)
_SUPPLIED_0 = const(52)
_GAIN_S = const(53)
_EBB_LINE = const(600)
_FLAT_PA = const(8_000)
_TOL_PA = const(1_200)
_TOP_PA = const(1_500)
_PROBED_PA = const(4_000)
_AIM = const(100)
_AIM_PROBE = const(800)
_ABOVE_PA = const(3_000)
_TOPS_MAX = const(12)


def _plan(f, y):
    """At rest: what is still missing decides what comes next."""
    aim = y[_TARGET] - (_AIM_PROBE if y[_CHUCK] != 0 else _AIM)
    rest = aim - _final(f, y)
    if y[_SEAT] > 0 and f[_SEATED] == 0:
        if f[_PT] >= y[_SEAT] - 3_000:
            return _go(f, _SEAT_PAUSE)
        rest = _least(rest, y[_SEAT] - f[_PT])
    if rest <= (_PROBED_PA if f[_PROBED] != 0 else _TOL_PA if f[_TOPS] == 0 else _TOP_PA) or y[_JOB] == 3:
        f[_WATCH_REF] = f[_COLD]
        f[_EG_REF] = f[_EG] if y[_CHUCK] == 0 and f[_EG] > 2_000 else 0
        f[_PT_REF] = f[_PT]
        return _go(f, _LEAK_WATCH)
    room = y[_STOP_PA] - y[_RISE] - 1_500 - (y[_CRACK] if y[_CHUCK] != 0 else 0)
    if f[_COLD] > room:
        return _stop(f, 54)
    if f[_PT] > room:
        return 0  # too hot to go on: wait
    f[_AIR_0] = f[_AIR]
    f[_SUPPLIED_0] = f[_SUPPLIED]
    f[_PULSE] = 1
    f[_EG_START] = f[_EG]
    f[_EG_OLD] = f[_EG]
    f[_PT_START] = f[_PT]
    f[_KNEE] = 1 if y[_CHUCK] == 0 or f[_OFF] < _EBB_LINE + 20 and f[_REF_OK] != 2 else 0
    f[_CHOP] = 0
    if f[_LEARNT] == 0 and rest > 6_000:
        f[_GOAL] = (_least(rest >> 1, 10_000) << 8) // f[_GAIN] << 8
        return _go(f, _PURGE)
    if rest > (25_000 if y[_KIND] == 0 else 14_000):
        part = rest - (rest >> (2 if y[_KIND] != 0 else 4)) - 1_000  # a line is fast and its count rough: in quarters
        f[_STAGE] = f[_COLD] + part
        f[_GOAL] = (part << 8) // f[_GAIN] << 8
        f[_TOPS] = f[_TOPS] + 1
        return _go(f, _FILLING)
    f[_TOPS] = f[_TOPS] + 1
    if f[_TOPS] > _TOPS_MAX:
        return _stop(f, 52)
    f[_GOAL] = (rest << 8) // (f[_GAIN] if y[_KIND] == 0 else f[_GAIN_S]) << 8
    return _go(f, _TOPPING_UP)


def _chopped(f, y):
    """Keeps the manifold under the stop reading: 0 while the gate has to rest."""
    lag = _lag(f, y)
    if f[_CHOP] == 0:
        ahead = (_most(lag, 0) * (y[_COAST] + 28)) >> 5
        if y[_KIND] != 0 and f[_ON] > 0:
            ahead = _most(ahead, _burst(f, y))
        if y[_READ] + ahead + y[_RISE] + 300 >= y[_STOP_PA] or f[_ON] == 0 and f[_OFF] > 0 and y[_WHY] == 2:
            f[_CHOP] = 1
    elif f[_OFF] > 300:
        _go(f, _SETTLING)  # too near the limit: let it cool, then see
    elif y[_KIND] == 0:
        f[_CHOP] = 0 if f[_OFF] >= 16 and y[_READ] < y[_STOP_PA] - y[_RISE] - 1_500 else 1
    elif f[_OFF] >= 16 and (y[_READ] + _burst(f, y) + y[_RISE] < y[_STOP_PA] - 1_500 or _size(lag) < 600 and y[_READ] < y[_STOP_PA] - 4_000):
        f[_CHOP] = 0
    return 1 - f[_CHOP]


def _pulse(f, y):
    """States that want air: the check pulse, the run, the top-up, the probe."""
    s = f[_STATE]
    if y[_WHY] > 3 and f[_OFF] > 50:  # a budget is spent, the pressure fell in the flow, a condition has gone: no waiting for it
        return _stop(f, y[_WHY])
    came = f[_AIR] - f[_AIR_0] if y[_KIND] == 0 or s != _TOPPING_UP else f[_SUPPLIED] - f[_SUPPLIED_0]
    coming = _coast(f, y)
    if f[_KNEE] == 0:
        if f[_STATE] == _PROBING and f[_SUPPLIED] - f[_SUPPLIED_0] > _refill(f, y, f[_PT] + y[_CRACK] - f[_BASE]) + (4_000 << 8) // _most(f[_GAIN], 1) * 256:
            f[_PULSE] = 0  # no knee where the model has it: air enough, what is known stays
            return _go(f, _SETTLING)
        if f[_ON] > 150 and y[_READ] < _FLAT_PA or f[_SUPPLIED] - f[_SUPPLIED_0] > _refill(f, y, y[_STOP_PA]) + (30_000 << 8) // _most(f[_GAIN], 1) * 256:
            return _stop(f, 51)
        if f[_CNT] > 5_000:
            return _stop(f, 54 if y[_READ] > y[_STOP_PA] - y[_RISE] - 8_000 else 51)
        f[_AIR_0] = f[_AIR]
        if y[_CHUCK] != 0:
            return _knee(f, y)
        return _chopped(f, y)
    if s == _PURGE or s == _PROBING:
        if f[_SEEN] != 0 and f[_PT] > y[_TARGET] + _ABOVE_PA and f[_LEARNT] == 0:
            _stop(f, 49)
            return 0
        if s == _PROBING or came + coming >= f[_GOAL] or y[_KIND] != 0 and y[_CHUCK] != 0 and f[_REF_OK] == 0:
            f[_PULSE] = f[_CNT]
            if s == _PROBING:
                f[_PULSE] = 0
                f[_PT] = f[_PT] + (((coming if f[_SPEED] > 0 else 0) >> 8) * f[_GAIN] >> 8)
                f[_PT_OLD] = f[_PT]
            _go(f, _SETTLING)
            return 0
        return _chopped(f, y)
    by_count = 1 if came + coming >= f[_GOAL] else 0
    if s == _FILLING:
        if y[_KIND] == 0:
            by_count = 1 if came > f[_GOAL] + (f[_GOAL] >> 1) else 0
        if f[_COLD] + ((coming >> 8) * f[_GAIN] >> 8) >= f[_STAGE]:
            by_count = 1
    if by_count != 0:
        f[_PULSE] = f[_CNT]
        return _go(f, _SETTLING)
    return _chopped(f, y)


def _measure(f, y):
    """Before the first pulse: a held-open core shows the tyre; else the check pulse has to find it."""
    if y[_CHUCK] == 0:
        if f[_CNT] < 50 or _size(_lag(f, y)) > 500 and f[_CNT] < 500:
            return 0
        if y[_MEAN] > _FLAT_PA:
            _first_sight(f, y, y[_MEAN])
        if f[_SEEN] != 0 and f[_PT] > y[_TARGET] + _ABOVE_PA and f[_LEARNT] == 0:
            return _stop(f, 49)
        if f[_SEEN] != 0 and f[_LEARNT] != 0:
            return _go(f, _SETTLING)
    rest = y[_TARGET] - (f[_COLD] if f[_SEEN] != 0 else 0)
    f[_GOAL] = (_least(_most(rest >> 2, 1_500), 10_000) << 8) // _most(f[_GAIN], 1) << 8
    f[_AIR_0] = f[_AIR]
    f[_SUPPLIED_0] = f[_SUPPLIED]
    f[_KNEE] = 1 if f[_SEEN] != 0 and y[_CHUCK] == 0 else 0
    f[_CHOP] = 0
    return _go(f, _PURGE if f[_LEARNT] == 0 else _PROBING)
