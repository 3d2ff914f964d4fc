"""fill.py as machine code. Made by `python -m rimward.install.kernels` from fill.py: change that, then make this again."""
# ruff: noqa
# mypy: ignore-errors

import micropython
from rimward_protocol.compat import const

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
_VOL = const(9)
_COOL = const(22)
_CASING = const(23)
_PURGE = const(4)
_SETTLING = const(8)
_BLEEDING = const(11)
_CNT = const(5)
_PT_OLD = const(7)
_EG = const(8)
_THC = const(9)
_COLD = const(10)
_AIR_REF = const(16)
_COLD_REF = const(17)
_GAIN = const(18)
_DROP_K = const(21)
_DROP = const(22)
_KNEE = const(29)
_BEAT = const(33)
_REF_OK = const(42)
_PULSE = const(44)
_EG_REF = const(45)
_PT_REF = const(46)
_EG_OLD = const(48)
_PT_START = const(49)
_SUPPLIED_REF = const(51)
_SKIN = const(54)
_SENS = const(55)
_LOOK = const(56)
_LOST = const(57)
_DRAIN = const(48)
_SHUT = const(35)
_EBB = const(400)
_VOL_TOL = const(10)
_STOP_PA = const(16)
_PROBING = const(9)
_STOPPED = const(14)
_REASON = const(1)
_AIR_0 = const(15)
_LEARNT = const(32)
_CHOP = const(34)
_VOLUME = const(36)
_BASE = const(40)
_PEAK = const(41)
_CALM = const(43)
_EG_START = const(47)
_GAIN_S = const(53)
_LIFT = const(58)
_FLAT_PA = const(8000)
_BURST = const(10)
_CALM_TICKS = const(12)
_RUNS_OFF_PA = const(800)
_READ = const(0)
_WHY = const(4)
_JOB = const(6)
_TARGET = const(7)
_SEAT = const(8)
_RISE = const(27)
_FILLING = const(6)
_SEAT_PAUSE = const(7)
_LEAK_WATCH = const(12)
_GOAL = const(19)
_STAGE = const(20)
_SEATED = const(30)
_TOPS = const(31)
_PROBED = const(35)
_WATCH_REF = const(39)
_SUPPLIED_0 = const(52)
_TOL_PA = const(1200)
_TOP_PA = const(1500)
_PROBED_PA = const(4000)
_AIM = const(100)
_AIM_PROBE = const(800)
_ABOVE_PA = const(3000)
_TOPS_MAX = const(12)
_SW = const(3)
_CAUSE = const(5)
_CONN = const(18)
_WATCH = const(20)
_DROP_0 = const(26)
_S_RUN = const(1)
_S_CONFIRM = const(64)
_S_BLEED = const(128)
_S_STOP = const(256)
_G_READY = const(16)
_G_TESTING = const(32)
_WANT = const(1)
_VENT = const(2)
_BEEP = const(4)
_IDLE = const(0)
_READY = const(1)
_SELF_TEST = const(3)
_MEASURING = const(5)
_DONE = const(13)
_TRIPPED = const(15)
_TYRE = const(2)
_CONN_F = const(3)
_JOB_F = const(4)
_RUN_F = const(37)
_BLEED_N = const(38)
_NOTHING_PA = const(1500)
_LATE_PA = const(2800)
_LEAK_PA = const(4000)
_BLEED_MIN = const(5)


def _div(a, b):
    return a // b


def _least(a, b):
    return a if a < b else b


def _most(a, b):
    return a if a > b else b


def _size(a):
    return a if a >= 0 else -a


def _lag(f, y):
    return y[_MEAN] - (f[_SLOW] >> 4)


@micropython.viper
def _rate(y: ptr32) -> int:
    t2 = y[_MEAN]
    t3 = 0
    if t2 > 0:
        t3 = t2
    else:
        t3 = 0
    t1 = t3 >> 8
    t4 = 0
    if t1 < 4095:
        t4 = t1
    else:
        t4 = 4095
    u = t4
    t5 = y[_D0] - (u * y[_D1] >> 8) + ((u * u >> 12) * y[_D2] >> 8)
    t6 = y[_D0] >> 4
    t7 = 0
    if t5 > t6:
        t7 = t5
    else:
        t7 = t6
    return t7


@micropython.viper
def _through(f: ptr32, y: ptr32) -> int:
    t1 = y[_MEAN] + y[_AMBIENT]
    t2 = 0
    if t1 > 20000:
        t2 = t1
    else:
        t2 = 20000
    p1 = t2
    t3 = 0
    if y[_CHUCK] != 0:
        t3 = y[_CRACK]
    else:
        t3 = 0
    p2 = f[_PT] + y[_AMBIENT] + t3
    if f[_SEEN] == 0 or f[_OFF] > _EBB_LINE or p2 >= p1:
        return 0
    full = (p1 >> 8) * y[_PATH] >> 8
    t4 = int(_div(int(_div(p2 * 10, p1 >> 10)), 10)) - 307
    t5 = 0
    if t4 > 0:
        t5 = t4
    else:
        t5 = 0
    over = int(_div(t5 * 10, 7))
    rest = (1 << 20) - over * over
    if rest <= 64:
        return 0
    half = rest + (1 << 20) >> 11
    half = half + int(_div(rest, half)) >> 1
    half = half + int(_div(rest, half)) >> 1
    half = half + int(_div(rest, half)) >> 1
    return full * half >> 10


@micropython.viper
def _count(f_, y_) -> int:
    f = ptr32(f_)
    y = ptr32(y_)
    if y[_OUT] & _G_ON == _G_ON:
        t1 = f[_ON] + 1
        t2 = 0
        if t1 < 32000:
            t2 = t1
        else:
            t2 = 32000
        f[_ON] = t2
        f[_OFF] = 0
    else:
        if f[_OFF] == 0:
            f[_SNAP] = f[_SLOW] >> 4
            t3 = 0
            if f[_ON] >= _STEADY:
                t3 = f[_FLOW] >> 4
            else:
                t3 = 0
            f[_SNAP_FLOW] = t3
            f[_SNAP_AIR] = f[_AIR]
        t4 = f[_OFF] + 1
        t5 = 0
        if t4 < 32000:
            t5 = t4
        else:
            t5 = 32000
        f[_OFF] = t5
    speed = f[_SPEED]
    if f[_OFF] <= _GATE_LAG and f[_ON] > 0:
        if y[_KIND] == 0:
            speed = speed + int(_div(_FULL - speed, y[_SPIN]))
        else:
            t6 = speed + int(_div(_FULL, y[_SPIN]))
            t7 = 0
            if t6 < _FULL:
                t7 = t6
            else:
                t7 = _FULL
            speed = t7
    else:
        t8 = speed - int(_div(_FULL, y[_COAST]))
        t9 = 0
        if t8 > 0:
            t9 = t8
        else:
            t9 = 0
        speed = t9
        f[_ON] = 0
    f[_SPEED] = speed
    t10 = int(_rate(y_))
    air = t10 * speed >> 14
    t11 = f[_SUPPLIED] + air
    t12 = 0
    if t11 < 536870911:
        t12 = t11
    else:
        t12 = 536870911
    f[_SUPPLIED] = t12
    if y[_KIND] != 0:
        t13 = int(_through(f_, y_))
        air = t13
    t14 = f[_AIR] + air
    t15 = 0
    if t14 < 536870911:
        t15 = t14
    else:
        t15 = 536870911
    f[_AIR] = t15
    f[_FLOW] = f[_FLOW] + ((air << 4) - f[_FLOW] >> 4)
    return air


@micropython.viper
def _coast(f: ptr32, y_) -> int:
    y = ptr32(y_)
    share = f[_SPEED] >> 7
    t1 = int(_rate(y_))
    flow = t1 * share >> 7
    more = ((flow * share >> 7) * y[_COAST] >> 1) + flow * _GATE_LAG
    if y[_KIND] != 0 and f[_STATE] != _TOPPING_UP:
        t3 = 0
        if y[_CHUCK] != 0:
            t3 = y[_CRACK]
        else:
            t3 = 0
        t2 = y[_MEAN] + (y[_MEAN] - (f[_SLOW] >> 4) >> 1) - f[_PT] - t3
        t4 = 0
        if t2 > 0:
            t4 = t2
        else:
            t4 = 0
        stored = t4
        t5 = 0
        if stored < 900000:
            t5 = stored
        else:
            t5 = 900000
        more = more + (t5 * int(_div(y[_MANIFOLD] << 18, y[_AMBIENT])) >> 8)
    return more


@micropython.viper
def _burst(f: ptr32, y_) -> int:
    y = ptr32(y_)
    t2 = int(_rate(y_))
    t1 = t2 - (f[_FLOW] >> 4)
    t3 = 0
    if t1 > 0:
        t3 = t1
    else:
        t3 = 0
    net = t3
    return _LINE_LEAD * int(_div(net * (int(_div(y[_AMBIENT] * 7, 5)) >> 6), y[_MANIFOLD] << 4))


@micropython.viper
def _warmth(y: ptr32, pa: int) -> int:
    if y[_KIND] != 0:
        return 410
    t1 = 0
    if pa > 0:
        t1 = pa
    else:
        t1 = 0
    high = t1 >> 4
    return 410 + int(_div(62 * high, high + (y[_AMBIENT] >> 4)))


@micropython.viper
def _loss(f: ptr32, y: ptr32) -> int:
    t1 = f[_COLD] + y[_AMBIENT]
    t2 = 0
    if t1 > 20000:
        t2 = t1
    else:
        t2 = 20000
    full = t2
    return int(_div(f[_EG] * (y[_COOL] * f[_SKIN] >> 10) + (full >> 1), full))


def _drained(f, y):
    if y[_CHUCK] != 0 and y[_KIND] == 0:
        return 1 if f[_OFF] >= _SHUT and _lag(f, y) > -(y[_MEAN] + y[_AMBIENT] >> 7) else 0
    return 1 if f[_OFF] >= (_EBB if y[_KIND] == 0 else _EBB_LINE) or (f[_OFF] >= _DRAIN and _size(_lag(f, y) + 2 * _loss(f, y)) < 600) else 0


@micropython.viper
def _see(f_, y_) -> int:
    f = ptr32(f_)
    y = ptr32(y_)
    t1 = int(_count(f_, y_))
    air = t1
    p = y[_MEAN]
    f[_SLOW] = f[_SLOW] + ((p << 4) - f[_SLOW] >> 4)
    t2 = p + y[_AMBIENT]
    t3 = 0
    if t2 > 20000:
        t3 = t2
    else:
        t3 = 20000
    absolute = t3
    t4 = 0
    if y[_CHUCK] == 0 or f[_KNEE] != 0:
        t4 = 1
    else:
        t4 = 0
    open_ = t4
    t5 = 0
    if y[_CHUCK] != 0:
        t5 = y[_CRACK]
    else:
        t5 = 0
    crack = t5
    drop = 0
    if y[_KIND] == 0:
        q = f[_FLOW] >> 4
        t6 = int(_div((q * q >> 4) * f[_DROP_K], absolute >> 8))
        t7 = absolute >> 2
        t8 = 0
        if t6 < t7:
            t8 = t6
        else:
            t8 = t7
        drop = t8
        part = int(_div(drop << 10, absolute))
        drop = drop + ((drop * part >> 10) * (768 + part) >> 10)
    f[_DROP] = drop
    t11 = 1
    if not f[_SPEED] > 0:
        t10 = 0
        if y[_KIND] == 0:
            t10 = _DRAIN
        else:
            t10 = _EBB_LINE
        if not f[_OFF] < t10:
            t11 = 0
    t9 = 0
    if t11 != 0:
        t9 = 1
    else:
        t9 = 0
    if t9 != 0:
        if open_ != 0 and f[_SEEN] != 0 and (f[_STATE] != _BLEEDING) and (f[_PULSE] != 0 or y[_CHUCK] == 0 or f[_STATE] != _SETTLING):
            if y[_KIND] == 0:
                f[_PT] = p - crack - drop
            else:
                t13 = 0
                if y[_CHUCK] == 0:
                    t12 = int(_drained(f_, y_))
                    if t12 != 0:
                        if f[_STATE] != _SETTLING:
                            t13 = 1
                if t13 != 0:
                    f[_PT] = p
                else:
                    t14 = int(_warmth(y_, p))
                    f[_PT] = f[_PT] + ((air * f[_GAIN] >> 10) * (1024 + t14) >> 16)
    else:
        t16 = 0
        if y[_CHUCK] == 0:
            if f[_SEEN] != 0:
                if f[_STATE] != _SETTLING:
                    if f[_STATE] != _BLEEDING:
                        t15 = int(_drained(f_, y_))
                        if t15 != 0:
                            t16 = 1
        if t16 != 0:
            f[_PT] = p
    return 0


def _over(f, y):
    full = _most(f[_COLD] + y[_AMBIENT], 20000) >> 8
    return f[_EG] - ((f[_EG] >> 4) * full * 13 >> 16) + (full * (f[_THC] >> 8) >> 8)


def _held(y, pa):
    return _least(_most(pa, 0), 200000) * ((y[_MANIFOLD] << 10) // _most(y[_VOL], 1) & 4095) >> 10


def _final(f, y):
    return f[_COLD] + (_held(y, f[_EG]) if y[_KIND] != 0 else 0)


@micropython.viper
def _heat(f_, y_) -> int:
    f = ptr32(f_)
    y = ptr32(y_)
    t1 = f[_COLD] + y[_AMBIENT]
    t2 = 0
    if t1 > 20000:
        t2 = t1
    else:
        t2 = 20000
    full = t2
    t3 = int(_loss(f_, y_))
    loss = t3
    casing = loss * y[_CASING] >> 8
    lost = (full >> 8) * casing >> 16
    t6 = 1
    if not f[_SPEED] > 0:
        t5 = 0
        if y[_KIND] == 0:
            t5 = _DRAIN
        else:
            t5 = _EBB_LINE
        if not f[_OFF] < t5:
            t6 = 0
    t4 = 0
    if t6 != 0:
        t4 = 1
    else:
        t4 = 0
    if t4 != 0:
        t7 = int(_warmth(y_, f[_PT]))
        c = t7
        t10 = 0
        if y[_KIND] != 0:
            t9 = 1
            if not y[_CHUCK] != 0:
                t8 = int(_drained(f_, y_))
                if not t8 == 0:
                    if not f[_STATE] == _SETTLING:
                        t9 = 0
            if t9 != 0:
                t10 = 1
        if t10 != 0:
            f[_PT] = f[_PT] - loss
        t12 = f[_PT] - f[_PT_OLD]
        t13 = -400000
        t14 = 0
        if t12 > t13:
            t14 = t12
        else:
            t14 = t13
        t11 = t14
        t15 = 0
        if t11 < 400000:
            t15 = t11
        else:
            t15 = 400000
        rise = t15
        f[_EG] = f[_EG] + int(_div(c * rise - (loss << 10), 1024 + c)) - lost
    else:
        f[_EG] = f[_EG] - loss - lost
    t17 = f[_EG]
    t18 = -200000
    t19 = 0
    if t17 > t18:
        t19 = t17
    else:
        t19 = t18
    t16 = t19
    t20 = 0
    if t16 < 200000:
        t20 = t16
    else:
        t20 = 200000
    f[_EG] = t20
    t24 = 1
    if not f[_SPEED] > 0:
        t23 = 0
        if y[_KIND] == 0:
            t23 = _DRAIN
        else:
            t23 = _EBB_LINE
        if not f[_OFF] < t23:
            t24 = 0
    t22 = 0
    if t24 != 0:
        t22 = 1
    else:
        t22 = 0
    t21 = 0
    if t22 == 0:
        t21 = loss
    else:
        t21 = int(_div(loss * 5, 7))
    f[_SENS] = f[_SENS] - int(_div(f[_SENS] * (y[_COOL] * f[_SKIN] >> 10), full)) + t21
    t25 = f[_LOST] + loss
    t26 = 0
    if t25 < 100000:
        t26 = t25
    else:
        t26 = 100000
    f[_LOST] = t26
    f[_EG_OLD] = f[_EG_OLD] - int(_div(f[_EG_OLD] * y[_COOL] + (full >> 1), full))
    f[_THC] = f[_THC] + casing - (f[_THC] * 5 >> 16)
    t30 = 0
    if y[_CHUCK] != 0:
        t29 = 1
        if not f[_SPEED] > 0:
            t28 = 0
            if y[_KIND] == 0:
                t28 = _DRAIN
            else:
                t28 = _EBB_LINE
            if not f[_OFF] < t28:
                t29 = 0
        t27 = 0
        if t29 != 0:
            t27 = 1
        else:
            t27 = 0
        if t27 == 0:
            t30 = 1
    if t30 != 0:
        t31 = int(_over(f_, y_))
        over = t31
        t32 = 0
        if y[_KIND] != 0:
            t34 = 0
            if loss > 0:
                t34 = loss
            else:
                t34 = 0
            t33 = t34
            t35 = 0
            if t33 < 200000:
                t35 = t33
            else:
                t35 = 200000
            t36 = y[_VOL]
            t37 = 0
            if t36 > 1:
                t37 = t36
            else:
                t37 = 1
            t32 = t35 * (int(_div(y[_MANIFOLD] << 10, t37)) & 4095) >> 10
        else:
            t32 = 0
        f[_COLD] = f[_COLD] + t32
        f[_PT] = f[_COLD] + over
    t38 = int(_over(f_, y_))
    f[_COLD] = f[_PT] - t38
    f[_PT_OLD] = f[_PT]
    return 0


def _first_sight(f, y, pa):
    if f[_SEEN] != 0 and f[_STATE] == _PURGE and (y[_KIND] != 0):
        f[_EG] = f[_EG] + _most(pa - f[_PT], 0) * 410 // 1434
    f[_PT] = pa
    if f[_SEEN] == 0:
        f[_SEEN] = 1
        f[_PT_OLD] = pa
        f[_EG] = 0
        f[_THC] = 0
        f[_COLD] = pa
        f[_AIR_REF] = f[_AIR]
        f[_SUPPLIED_REF] = f[_SUPPLIED]
        f[_COLD_REF] = pa
        f[_PT_START] = pa
        f[_REF_OK] = 1 if y[_CHUCK] == 0 and f[_SPEED] == 0 else 0
    else:
        f[_PT_OLD] = pa
        f[_COLD] = pa - _over(f, y)


def _compare(f):
    gone = f[_EG_REF] - f[_EG]
    if f[_EG_REF] > 0 and gone * 3 > f[_EG_REF]:
        fell = _least(_most(f[_PT_REF] - f[_PT], gone >> 1), gone << 1)
        f[_EG] = f[_EG] * ((fell << 8) // gone) >> 8
        f[_EG_REF] = 0


def _look(f, y):
    if f[_LOOK] < 0 or y[_KIND] == 0 or f[_PULSE] < 500 or (f[_EG] < 8000):
        return 0
    if f[_LOOK] == 0:
        if f[_OFF] > 200:
            f[_LOOK] = -1
        elif _drained(f, y) != 0:
            f[_LOOK] = 1
            f[_CNT] = 0
        return 1
    if f[_BEAT] != 0 or f[_CNT] < 32:
        return 1
    if f[_LOOK] == 1:
        f[_LOOK] = _most(f[_SLOW] >> 4, 2)
        f[_LOST] = 0
        return 1
    if f[_CNT] < 32 + _least(f[_PULSE] >> 3, 400) and f[_OFF] < _EBB_LINE - 5:
        return 1
    lost = f[_LOST]
    fell = f[_LOOK] - (f[_SLOW] >> 4)
    fell = fell + (_held(y, f[_SNAP] - f[_LOOK]) * (5 if y[_CHUCK] == 0 else 2) >> 7)
    f[_LOOK] = -1
    lost = lost - _held(y, lost) - (lost >> 5)
    f[_PT] = f[_PT] + lost - fell
    if lost > 500:
        share = _most(1024 - (f[_SENS] << 10) // f[_EG], 0)
        off = _least(_most((fell - lost << 10) // lost, -300), 300) * share // ((share * share >> 10) + 123)
        off = _least(_most(off, -150), 150)
        f[_EG] = f[_EG] - ((f[_SENS] >> 4) * off >> 6)
        f[_SKIN] = f[_SKIN] + off
        f[_SENS] = 0
    return 0


def _go(f, state):
    f[_STATE] = state
    f[_CNT] = 0
    return 0


def _stop(f, reason):
    f[_REASON] = reason
    f[_STATE] = _STOPPED
    f[_CNT] = 0
    return 0


def _below(f, y, pa):
    return 1 if f[_REF_OK] == 1 and (pa + y[_AMBIENT]) * 4 < (f[_PT] + y[_AMBIENT]) * 3 else 0


def _hides(f, y):
    if f[_OFF] >= _EBB_LINE and _lag(f, y) < -_RUNS_OFF_PA:
        return 1
    return 1 if f[_PULSE] != 0 and f[_REF_OK] != 0 and (_drained(f, y) != 0) and (y[_MEAN] < _FLAT_PA or _below(f, y, y[_MEAN]) != 0) else 0


def _knee(f, y):
    p = y[_MEAN]
    if y[_KIND] == 0:
        f[_CALM] = f[_CALM] + 1 if f[_ON] >= 24 and _lag(f, y) * 3 < (f[_FLOW] >> 4) * 34 else 0
        if f[_CALM] >= _CALM_TICKS and p > _FLAT_PA:
            f[_CALM] = 0
            f[_KNEE] = 1
            _first_sight(f, y, p - y[_CRACK] - f[_DROP])
        return 1
    if f[_CHOP] == 0:
        lift = f[_LIFT] + (f[_LIFT] >> 3)
        if f[_ON] == 0:
            f[_BASE] = p
            if (f[_SEEN] == 0 or f[_REF_OK] != 1) and p + lift > y[_STOP_PA]:
                return _stop(f, 49)
        f[_PEAK] = p
        if f[_ON] >= (2 if f[_STATE] == _PROBING else 1 if f[_LIFT] == 0 or f[_BASE] + 5 * lift > y[_STOP_PA] else _BURST):
            f[_CHOP] = 1
        return 1 - f[_CHOP]
    f[_PEAK] = _most(f[_PEAK], p)
    if f[_LIFT] == 0 and f[_OFF] == 16:
        f[_LIFT] = _most(f[_PEAK] - f[_BASE], 1)
    if f[_OFF] >= 40:
        kept = f[_PEAK] - f[_BASE] - (f[_PEAK] - p) * 5
        if f[_PEAK] - f[_BASE] < 2 * f[_LIFT]:
            kept = 3 * (f[_PEAK] - f[_BASE]) - (f[_PEAK] - p) * 5
        if kept >= 0 or p < _FLAT_PA:
            f[_CHOP] = 0
        elif _lag(f, y) > -(p + y[_AMBIENT] >> 6) or f[_OFF] > 150:
            if f[_SEEN] != 0 and _below(f, y, p - y[_CRACK]) != 0:
                return _stop(f, 50)
            f[_CHOP] = 0
            f[_KNEE] = 1
            _first_sight(f, y, p - y[_CRACK])
            f[_AIR_0] = f[_AIR]
    return 0


def _learn(f, y):
    if f[_OFF] <= (_EBB if y[_KIND] == 0 else _EBB_LINE):
        now = y[_MEAN] + (_lag(f, y) >> 1) - (y[_CRACK] if y[_CHUCK] != 0 else 0)
        c = _warmth(y, now)
        if f[_REF_OK] == 0 and y[_KIND] != 0:
            f[_REF_OK] = 2
            return 1
        if f[_LEARNT] == 0 and y[_KIND] == 0:
            came = (f[_AIR] - f[_AIR_REF] >> 8) * f[_GAIN] >> 8
            if f[_REF_OK] != 0:
                came = (_least(now - f[_COLD_REF], 400000) << 10) // (1024 + c)
            age = (f[_PULSE] >> 1) + f[_OFF]
            left = _most(1024 - _least(age, 2000) * y[_COOL] // (_most(now + y[_AMBIENT], 20000) >> 7), 0)
            f[_EG] = (came * c >> 10) * left >> 10
            f[_THC] = 0
        else:
            gone = f[_EG_START] - f[_EG_OLD]
            model = _least(_most(f[_PT] - f[_PT_START] + gone, 500), 1000000)
            rose = _least(_most(now - f[_PT_START] + gone, model >> 1), model << 1)
            f[_EG] = f[_EG_OLD] + ((f[_EG] - f[_EG_OLD]) * ((rose << 10) // model) >> 10)
        _first_sight(f, y, now)
        f[_PT] = now
    came = f[_AIR] - f[_AIR_REF]
    given = f[_SUPPLIED] - f[_SUPPLIED_REF]
    rise = f[_COLD] - f[_COLD_REF]
    after = (f[_AIR] - f[_SNAP_AIR] >> 8) * f[_GAIN] >> 8
    drop = f[_SNAP] - y[_MEAN] + after
    q = f[_SNAP_FLOW]
    if y[_KIND] == 0 and q > 200 and (drop > 1000):
        absolute = f[_SNAP] + y[_AMBIENT]
        drop = drop - ((drop >> 4) * (drop >> 4) // (absolute >> 8) * 3 >> 2)
        f[_DROP_K] = _least(_most(drop * (absolute >> 8) // (q * q >> 4), 100), 6000) if drop < 40000 else f[_DROP_K]
    if f[_REF_OK] != 1:
        f[_REF_OK] = 1
        f[_AIR_REF] = f[_AIR]
        f[_SUPPLIED_REF] = f[_SUPPLIED]
        f[_COLD_REF] = f[_COLD]
    elif rise > (4000 if f[_LEARNT] == 0 else 10000) and came > 4096:
        gain = (_least(rise, 1000000) << 8) // (came >> 8)
        fresh = 1 - f[_LEARNT]
        nominal = y[_AMBIENT] * 64 // _most(y[_VOL], 1)
        f[_GAIN] = _least(_most(gain, nominal >> 1), nominal << 1)
        if given > 4096:
            f[_GAIN_S] = _least(_most((_least(rise, 1000000) << 8) // (given >> 8), nominal >> 1), nominal << 1)
        f[_LEARNT] = 1
        if rise > 6000:
            f[_AIR_REF] = f[_AIR]
            f[_SUPPLIED_REF] = f[_SUPPLIED]
            f[_COLD_REF] = f[_COLD]
            if _rate(y) > y[_D0] >> 2 and given > 4096 and (y[_KIND] == 0 or fresh != 0):
                f[_VOLUME] = _most(y[_AMBIENT] * 64 // _most((_least(rise, 1000000) << 8) // (given >> 8), 1) - y[_MANIFOLD], 1)
                if _size(f[_VOLUME] - y[_VOL]) * 100 > y[_VOL] * y[_VOL_TOL]:
                    return 0
    return 1


def _plan(f, y):
    aim = y[_TARGET] - (_AIM_PROBE if y[_CHUCK] != 0 else _AIM)
    rest = aim - _final(f, y)
    if y[_SEAT] > 0 and f[_SEATED] == 0:
        if f[_PT] >= y[_SEAT] - 3000:
            return _go(f, _SEAT_PAUSE)
        rest = _least(rest, y[_SEAT] - f[_PT])
    if rest <= (_PROBED_PA if f[_PROBED] != 0 else _TOL_PA if f[_TOPS] == 0 else _TOP_PA) or y[_JOB] == 3:
        f[_WATCH_REF] = f[_COLD]
        f[_EG_REF] = f[_EG] if y[_CHUCK] == 0 and f[_EG] > 2000 else 0
        f[_PT_REF] = f[_PT]
        return _go(f, _LEAK_WATCH)
    room = y[_STOP_PA] - y[_RISE] - 1500 - (y[_CRACK] if y[_CHUCK] != 0 else 0)
    if f[_COLD] > room:
        return _stop(f, 54)
    if f[_PT] > room:
        return 0
    f[_AIR_0] = f[_AIR]
    f[_SUPPLIED_0] = f[_SUPPLIED]
    f[_PULSE] = 1
    f[_EG_START] = f[_EG]
    f[_EG_OLD] = f[_EG]
    f[_PT_START] = f[_PT]
    f[_KNEE] = 1 if y[_CHUCK] == 0 or (f[_OFF] < _EBB_LINE + 20 and f[_REF_OK] != 2) else 0
    f[_CHOP] = 0
    if f[_LEARNT] == 0 and rest > 6000:
        f[_GOAL] = (_least(rest >> 1, 10000) << 8) // f[_GAIN] << 8
        return _go(f, _PURGE)
    if rest > (25000 if y[_KIND] == 0 else 14000):
        part = rest - (rest >> (2 if y[_KIND] != 0 else 4)) - 1000
        f[_STAGE] = f[_COLD] + part
        f[_GOAL] = (part << 8) // f[_GAIN] << 8
        f[_TOPS] = f[_TOPS] + 1
        return _go(f, _FILLING)
    f[_TOPS] = f[_TOPS] + 1
    if f[_TOPS] > _TOPS_MAX:
        return _stop(f, 52)
    f[_GOAL] = (rest << 8) // (f[_GAIN] if y[_KIND] == 0 else f[_GAIN_S]) << 8
    return _go(f, _TOPPING_UP)


@micropython.viper
def _chopped(f_, y_) -> int:
    f = ptr32(f_)
    y = ptr32(y_)
    lag = y[_MEAN] - (f[_SLOW] >> 4)
    if f[_CHOP] == 0:
        t1 = 0
        if lag > 0:
            t1 = lag
        else:
            t1 = 0
        ahead = t1 * (y[_COAST] + 28) >> 5
        if y[_KIND] != 0 and f[_ON] > 0:
            t3 = int(_burst(f_, y_))
            t2 = t3
            t4 = 0
            if ahead > t2:
                t4 = ahead
            else:
                t4 = t2
            ahead = t4
        if y[_READ] + ahead + y[_RISE] + 300 >= y[_STOP_PA] or (f[_ON] == 0 and f[_OFF] > 0 and (y[_WHY] == 2)):
            f[_CHOP] = 1
    elif f[_OFF] > 300:
        f[_STATE] = _SETTLING
        f[_CNT] = 0
    elif y[_KIND] == 0:
        t5 = 0
        if f[_OFF] >= 16 and y[_READ] < y[_STOP_PA] - y[_RISE] - 1500:
            t5 = 0
        else:
            t5 = 1
        f[_CHOP] = t5
    else:
        t9 = 0
        if f[_OFF] >= 16:
            t6 = int(_burst(f_, y_))
            t8 = 1
            if not y[_READ] + t6 + y[_RISE] < y[_STOP_PA] - 1500:
                t7 = 0
                if lag >= 0:
                    t7 = lag
                else:
                    t7 = 0 - lag
                if not (t7 < 600 and y[_READ] < y[_STOP_PA] - 4000):
                    t8 = 0
            if t8 != 0:
                t9 = 1
        if t9 != 0:
            f[_CHOP] = 0
    return 1 - f[_CHOP]


@micropython.viper
def _pulse(f_, y_) -> int:
    f = ptr32(f_)
    y = ptr32(y_)
    s = f[_STATE]
    if y[_WHY] > 3 and f[_OFF] > 50:
        t1 = y[_WHY]
        f[_REASON] = t1
        f[_STATE] = _STOPPED
        f[_CNT] = 0
        return 0
    t2 = 0
    if y[_KIND] == 0 or s != _TOPPING_UP:
        t2 = f[_AIR] - f[_AIR_0]
    else:
        t2 = f[_SUPPLIED] - f[_SUPPLIED_0]
    came = t2
    t3 = int(_coast(f_, y_))
    coming = t3
    if f[_KNEE] == 0:
        t10 = 0
        if f[_STATE] == _PROBING:
            t4 = f[_PT] + y[_CRACK] - f[_BASE]
            t6 = 0
            if t4 > 0:
                t6 = t4
            else:
                t6 = 0
            t5 = t6
            t7 = 0
            if t5 < 1000000:
                t7 = t5
            else:
                t7 = 1000000
            t8 = f[_GAIN]
            t9 = 0
            if t8 > 1:
                t9 = t8
            else:
                t9 = 1
            if f[_SUPPLIED] - f[_SUPPLIED_0] > int(_div(int(_div((y[_MANIFOLD] << 10) * (t7 >> 8), y[_AMBIENT] >> 8)) * 3, 2)) + int(_div(4000 << 8, t9)) * 256:
                t10 = 1
        if t10 != 0:
            f[_PULSE] = 0
            f[_STATE] = _SETTLING
            f[_CNT] = 0
            return 0
        t17 = 1
        if not (f[_ON] > 150 and y[_READ] < _FLAT_PA):
            t11 = y[_STOP_PA]
            t13 = 0
            if t11 > 0:
                t13 = t11
            else:
                t13 = 0
            t12 = t13
            t14 = 0
            if t12 < 1000000:
                t14 = t12
            else:
                t14 = 1000000
            t15 = f[_GAIN]
            t16 = 0
            if t15 > 1:
                t16 = t15
            else:
                t16 = 1
            if not f[_SUPPLIED] - f[_SUPPLIED_0] > int(_div(int(_div((y[_MANIFOLD] << 10) * (t14 >> 8), y[_AMBIENT] >> 8)) * 3, 2)) + int(_div(30000 << 8, t16)) * 256:
                t17 = 0
        if t17 != 0:
            f[_REASON] = 51
            f[_STATE] = _STOPPED
            f[_CNT] = 0
            return 0
        if f[_CNT] > 5000:
            t19 = 0
            if y[_READ] > y[_STOP_PA] - y[_RISE] - 8000:
                t19 = 54
            else:
                t19 = 51
            t18 = t19
            f[_REASON] = t18
            f[_STATE] = _STOPPED
            f[_CNT] = 0
            return 0
        f[_AIR_0] = f[_AIR]
        if y[_CHUCK] != 0:
            t20 = int(_knee(f_, y_))
            return t20
        t21 = int(_chopped(f_, y_))
        return t21
    if s == _PURGE or s == _PROBING:
        if f[_SEEN] != 0 and f[_PT] > y[_TARGET] + _ABOVE_PA and (f[_LEARNT] == 0):
            f[_REASON] = 49
            f[_STATE] = _STOPPED
            f[_CNT] = 0
            return 0
        if s == _PROBING or came + coming >= f[_GOAL] or (y[_KIND] != 0 and y[_CHUCK] != 0 and (f[_REF_OK] == 0)):
            f[_PULSE] = f[_CNT]
            if s == _PROBING:
                f[_PULSE] = 0
                t22 = 0
                if f[_SPEED] > 0:
                    t22 = coming
                else:
                    t22 = 0
                f[_PT] = f[_PT] + ((t22 >> 8) * f[_GAIN] >> 8)
                f[_PT_OLD] = f[_PT]
            f[_STATE] = _SETTLING
            f[_CNT] = 0
            return 0
        t23 = int(_chopped(f_, y_))
        return t23
    t24 = 0
    if came + coming >= f[_GOAL]:
        t24 = 1
    else:
        t24 = 0
    by_count = t24
    if s == _FILLING:
        if y[_KIND] == 0:
            t25 = 0
            if came > f[_GOAL] + (f[_GOAL] >> 1):
                t25 = 1
            else:
                t25 = 0
            by_count = t25
        if f[_COLD] + ((coming >> 8) * f[_GAIN] >> 8) >= f[_STAGE]:
            by_count = 1
    if by_count != 0:
        f[_PULSE] = f[_CNT]
        f[_STATE] = _SETTLING
        f[_CNT] = 0
        return 0
    t26 = int(_chopped(f_, y_))
    return t26


def _measure(f, y):
    if y[_CHUCK] == 0:
        if f[_CNT] < 50 or (_size(_lag(f, y)) > 500 and f[_CNT] < 500):
            return 0
        if y[_MEAN] > _FLAT_PA:
            _first_sight(f, y, y[_MEAN])
        if f[_SEEN] != 0 and f[_PT] > y[_TARGET] + _ABOVE_PA and (f[_LEARNT] == 0):
            return _stop(f, 49)
        if f[_SEEN] != 0 and f[_LEARNT] != 0:
            return _go(f, _SETTLING)
    rest = y[_TARGET] - (f[_COLD] if f[_SEEN] != 0 else 0)
    f[_GOAL] = (_least(_most(rest >> 2, 1500), 10000) << 8) // _most(f[_GAIN], 1) << 8
    f[_AIR_0] = f[_AIR]
    f[_SUPPLIED_0] = f[_SUPPLIED]
    f[_KNEE] = 1 if f[_SEEN] != 0 and y[_CHUCK] == 0 else 0
    f[_CHOP] = 0
    return _go(f, _PURGE if f[_LEARNT] == 0 else _PROBING)


def _begin(f, y):
    f[_CONN_F] = y[_CONN]
    f[_JOB_F] = y[_JOB]
    f[_STATE] = _IDLE if y[_JOB] == 0 else _READY
    f[_REASON] = 0
    f[_TYRE] = -1
    f[_SEEN] = 0
    f[_LEARNT] = 0
    f[_SEATED] = 0
    f[_TOPS] = 0
    f[_PROBED] = 0
    f[_REF_OK] = 0
    f[_VOLUME] = 0
    f[_CNT] = 0
    f[_PT] = 0
    f[_PT_OLD] = 0
    f[_EG] = 0
    f[_THC] = 0
    f[_COLD] = 0
    f[_AIR] = 0
    f[_AIR_0] = 0
    f[_AIR_REF] = 0
    f[_SUPPLIED] = 0
    f[_SUPPLIED_REF] = 0
    f[_SUPPLIED_0] = 0
    f[_PULSE] = 1
    f[_EG_REF] = 0
    f[_EG_START] = 0
    f[_EG_OLD] = 0
    f[_PT_START] = 0
    f[_RUN_F] = 0
    f[_CALM] = 0
    f[_BEAT] = 0
    f[_COLD_REF] = 0
    f[_KNEE] = 0
    f[_CHOP] = 0
    f[_SPEED] = 0
    f[_FLOW] = 0
    f[_ON] = 0
    f[_OFF] = 0
    f[_SLOW] = y[_MEAN] << 4
    f[_DROP_K] = y[_DROP_0]
    f[_GAIN] = y[_AMBIENT] * 64 // y[_VOL] if y[_VOL] > 0 else 0
    f[_GAIN_S] = y[_AMBIENT] * 64 // (y[_VOL] + y[_MANIFOLD]) if y[_VOL] > 0 else 0
    f[_SKIN] = 1024
    f[_SENS] = 0
    f[_LOOK] = 0
    f[_LOST] = 0
    f[_LIFT] = 0
    f[_BLEED_N] = _BLEED_MIN


def _rest(f, y):
    s = f[_STATE]
    if s == _SETTLING:
        if y[_KIND] != 0 and y[_CHUCK] != 0 and (_hides(f, y) != 0):
            return _stop(f, 50)
        if _look(f, y) == 0 and _drained(f, y) != 0:
            if f[_CNT] < 400 or f[_CNT] & 127 == 0:
                if y[_MEAN] < _NOTHING_PA and f[_OFF] < 400:
                    f[_SEEN] = 0
                    _stop(f, 51)
                elif (f[_PULSE] != 0 or y[_CHUCK] == 0) and _learn(f, y) == 0:
                    _stop(f, 48)
                else:
                    _plan(f, y)
    elif s == _SEAT_PAUSE:
        if y[_SW] & _S_CONFIRM != 0:
            f[_SEATED] = 1
            _go(f, _READY)
        return _BEEP if f[_CNT] < 100 else 0
    elif s == _LEAK_WATCH:
        if f[_PROBED] != 0:
            _go(f, _DONE)
        elif y[_CHUCK] == 0 and f[_COLD] < f[_WATCH_REF] - _LEAK_PA:
            _stop(f, 50)
        elif y[_CHUCK] == 0 and f[_CNT] & 63 == 63 and (y[_JOB] != 3):
            _compare(f)
            if f[_EG_REF] == 0 and _final(f, y) < y[_TARGET] - _LATE_PA and (y[_SW] & _S_RUN != 0):
                _plan(f, y)
        elif f[_CNT] >= y[_WATCH]:
            if y[_CHUCK] != 0 and y[_SW] & _S_RUN != 0 and (y[_JOB] != 3):
                f[_PROBED] = 1
                f[_AIR_0] = f[_AIR]
                f[_SUPPLIED_0] = f[_SUPPLIED]
                f[_KNEE] = 0
                f[_CHOP] = 0
                f[_CALM] = 0
                f[_BASE] = y[_MEAN]
                _go(f, _PROBING)
            else:
                _go(f, _DONE)
        return _BEEP if f[_CNT] < 50 else 0
    return 0


def _bleed(f, y):
    if y[_SW] & _S_BLEED == 0:
        _stop(f, 49)
        return 0
    if f[_CNT] <= f[_BLEED_N]:
        return _VENT
    if f[_CNT] < f[_BLEED_N] + 100:
        return 0
    fell = _most(f[_PT] - y[_MEAN], 160)
    f[_EG] = f[_EG] - fell * 410 // 1434
    f[_PT] = y[_MEAN]
    f[_PT_OLD] = y[_MEAN]
    f[_COLD] = f[_PT] - f[_EG]
    excess = f[_COLD] - y[_TARGET]
    f[_CNT] = 0
    if excess <= 1000:
        f[_WATCH_REF] = f[_COLD]
        f[_EG_REF] = 0
        f[_REASON] = 0
        f[_PROBED] = 0
        _go(f, _LEAK_WATCH)
    more = f[_BLEED_N] * (_least(_most(excess, 0), 50000) >> 4) // (fell >> 4)
    f[_BLEED_N] = _least(_least(_most(more, _BLEED_MIN), f[_BLEED_N] * 3), 1500)
    return 0


@micropython.viper
def _decide(f_, y_) -> int:
    f = ptr32(f_)
    y = ptr32(y_)
    t1 = f[_CNT] + 1
    t2 = 0
    if t1 < 32000:
        t2 = t1
    else:
        t2 = 32000
    f[_CNT] = t2
    s = f[_STATE]
    run = y[_SW] & _S_RUN
    t3 = 0
    if run != 0 and f[_RUN_F] == 0:
        t3 = 1
    else:
        t3 = 0
    fresh = t3
    f[_RUN_F] = run
    if y[_CAUSE] != 0:
        f[_REASON] = y[_CAUSE]
        f[_SEEN] = 0
        f[_STATE] = _TRIPPED
        f[_CNT] = 0
        return 0
    if s == _TRIPPED:
        f[_REASON] = 0
        f[_STATE] = _READY
        f[_CNT] = 0
        return 0
    if y[_SW] & _S_STOP != 0 and s != _IDLE and (s != _DONE) and (s != _STOPPED):
        t5 = 0
        if s == _SEAT_PAUSE:
            t5 = 53
        else:
            t5 = 1
        t4 = t5
        f[_REASON] = t4
        f[_STATE] = _STOPPED
        f[_CNT] = 0
        return 0
    if s == _READY or s == _SELF_TEST:
        if run == 0:
            f[_STATE] = _READY
        elif y[_OUT] & _G_READY != 0:
            f[_REASON] = 0
            f[_STATE] = _MEASURING
            f[_CNT] = 0
        elif y[_OUT] & _G_TESTING != 0:
            f[_STATE] = _SELF_TEST
        return 0
    if s == _STOPPED:
        if y[_SW] & _S_BLEED != 0 and f[_REASON] == 49 and (y[_CHUCK] == 0):
            f[_PT] = y[_MEAN]
            f[_PT_OLD] = y[_MEAN]
            f[_BLEED_N] = _BLEED_MIN
            f[_STATE] = _BLEEDING
            f[_CNT] = 0
        elif fresh != 0 and f[_REASON] != 48:
            f[_TOPS] = 0
            f[_STATE] = _READY
            f[_CNT] = 0
        return 0
    if s == _BLEEDING:
        t6 = int(_bleed(f_, y_))
        return t6
    if run == 0 and s != _SETTLING and (s != _SEAT_PAUSE) and (s != _LEAK_WATCH) and (s != _DONE) and (s != _IDLE):
        f[_REASON] = 1
        f[_STATE] = _READY
        f[_CNT] = 0
        return 0
    if s == _MEASURING:
        _measure(f_, y_)
        return 0
    if s == _PURGE or s == _FILLING or s == _TOPPING_UP or (s == _PROBING):
        if f[_SEEN] == 0 and y[_CHUCK] == 0 and (y[_MEAN] > _FLAT_PA) and (f[_ON] > 10):
            f[_KNEE] = 1
            _first_sight(f_, y_, 0)
        t7 = int(_pulse(f_, y_))
        return t7
    t8 = int(_rest(f_, y_))
    return t8


@micropython.viper
def step(f_, y_) -> int:
    f = ptr32(f_)
    y = ptr32(y_)
    if y[_CONN] != f[_CONN_F] or y[_JOB] != f[_JOB_F] or y[_JOB] == 0:
        _begin(f_, y_)
        return 0
    _see(f_, y_)
    f[_BEAT] = f[_BEAT] + 1 & 7
    if f[_BEAT] == 0:
        _heat(f_, y_)
    t1 = int(_decide(f_, y_))
    bits = t1
    t2 = 0
    if f[_SEEN] != 0 and (f[_REF_OK] != 0 or f[_STATE] != _PURGE):
        t3 = f[_PT]
        t4 = 0
        if t3 > 0:
            t4 = t3
        else:
            t4 = 0
        t2 = t4
    else:
        t2 = -1
    f[_TYRE] = t2
    return bits
