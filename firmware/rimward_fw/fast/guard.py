"""guard.py as machine code. Made by `python -m rimward.install.kernels` from guard.py: change that, then make this again."""
# ruff: noqa
# mypy: ignore-errors

import micropython
from rimward_protocol.compat import const

_A = const(0)
_B = const(1)
_SW = const(2)
_LOAD = const(3)
_GAP = const(4)
_SUPPLY = const(5)
_AMBIENT = const(6)
_CEIL_PA = const(7)
_BAND_PA = const(8)
_RISE_PA = const(9)
_AIR_MAX = const(10)
_TIME_MAX = const(11)
_NORISE = const(12)
_TEST_LEN = const(13)
_CONN = const(14)
_CHK = const(15)
_FLAGS = const(16)
_GAIN_A = const(17)
_OFF_A = const(18)
_GAIN_B = const(19)
_OFF_B = const(20)
_D0 = const(21)
_D1 = const(22)
_HORIZON = const(23)
_RUN = const(1)
_KEY_LOW = const(2)
_KEY_HIGH = const(4)
_CUTOFF = const(8)
_WANT = const(16)
_CLEAR = const(32)
_CAUSE = const(0)
_CAUSE_N = const(1)
_STOP = const(2)
_WHY = const(3)
_CEIL = const(4)
_CEIL_N = const(5)
_BAND = const(6)
_CONN_G = const(7)
_FA = const(8)
_FB = const(9)
_SL = const(10)
_LAST_A = const(11)
_FREF_A = const(12)
_LAST_B = const(13)
_FREF_B = const(14)
_NR_REF = const(15)
_OFF_REF = const(16)
_TEST_REF = const(17)
_TIME = const(18)
_AIR = const(19)
_RANGE_A = const(20)
_RANGE_B = const(21)
_DISAGREE = const(22)
_FRZ_A = const(23)
_FRZ_B = const(24)
_ON_TICKS = const(25)
_NR_CNT = const(26)
_OFF_CNT = const(27)
_TEST = const(28)
_OVER = const(29)
_KEY_CNT = const(30)
_CUT_CNT = const(31)
_SUP_CNT = const(32)
_BARO_CNT = const(33)
_REST = const(34)
_WARM = const(35)
_ON = const(36)
_RAN = const(37)
_ARMED = const(38)
_READ = const(39)
_O_GATE = const(1)
_O_RELAY = const(2)
_O_VENT = const(4)
_O_LATCHED = const(8)
_O_READY = const(16)
_O_TESTING = const(32)
_LOW_CEIL = const(500000)
_HIGH_CEIL = const(900000)
_BAND_MIN = const(1000)
_RISE_MIN = const(500)
_HORIZON_MIN = const(8)
_TEST_MIN = const(50)
_D0_MIN = const(8)
_OFF_MIN = const(-400000)
_OFF_MAX = const(600000)
_GAIN_MIN = const(9000)
_ZERO_MIN = const(-30000)
_CHECK = const(536870911)
_WORD = const(1048575)
_BIAS = const(600000)
_RATIO_LOW = const(3277)
_RATIO_HIGH = const(62259)
_SHORT = const(3)
_AGREE_16 = const(480000)
_AGREE_TICKS = const(25)
_FROZEN_TICKS = const(100)
_FROZEN_PA = const(8000)
_RISE_STEP = const(3000)
_BLANK = const(250)
_CREEP_TICKS = const(1024)
_CREEP_PA = const(150)
_RISE_OFF = const(6000)
_STEP_LAG = const(12000)
_OVER_TICKS = const(50)
_TEST_RISE = const(3000)
_TEST_GAP = const(30)
_TEST_DONE = const(16000)
_DROP_PA = const(25000)
_DROP_TICKS = const(25)
_LOAD_MAX = const(8)
_GAP_MAX = const(40)
_SUPPLY_LOW = const(74)
_SUPPLY_HIGH = const(82)
_BARO_LOW = const(50000)
_BARO_HIGH = const(110000)
_BARO_TICKS = const(250)
_WARM_TICKS = const(50)
_PERIOD = const(16)
_SPENT = const(134217728)
_REST_TICKS = const(15)


@micropython.viper
def step(g: ptr32, x: ptr32) -> int:
    if g[_CAUSE] == 32:
        return _O_VENT | _O_LATCHED
    if (g[_CAUSE] | g[_CAUSE_N] | g[_STOP] | g[_WHY] | g[_REST] | g[_WARM]) >> 8 != 0 or (g[_RANGE_A] | g[_RANGE_B] | g[_DISAGREE] | g[_OVER] | g[_KEY_CNT] | g[_CUT_CNT] | g[_SUP_CNT] | g[_BARO_CNT]) >> 8 != 0 or (g[_ON] | g[_RAN] | g[_ARMED]) >> 1 != 0 or ((g[_CEIL] | g[_CEIL_N] | g[_BAND]) >> 20 != 0) or (g[_CEIL] > _HIGH_CEIL) or ((g[_FA] | g[_FB] | g[_SL]) >> 26 != 0) or ((g[_FREF_A] | g[_FREF_B] | g[_NR_REF] | g[_OFF_REF] | g[_TEST_REF] | g[_READ]) >> 22 != 0) or ((g[_LAST_A] | g[_LAST_B] | g[_FRZ_A] | g[_FRZ_B] | g[_ON_TICKS] | g[_NR_CNT] | g[_OFF_CNT] | g[_TEST] | g[_CONN_G]) >> 16 != 0) or ((g[_TIME] | g[_AIR]) >> 28 != 0) or (g[_CAUSE] + g[_CAUSE_N] != 255) or (g[_CEIL] + g[_CEIL_N] != _WORD):
        g[_CAUSE] = 32
        g[_CAUSE_N] = 223
        g[_STOP] = 32
        g[_ON] = 0
        return _O_VENT | _O_LATCHED
    cause = g[_CAUSE]
    t1 = 0
    if cause == 22 or cause == 23 or (28 <= cause and cause <= 30):
        t1 = 1
    venting = t1
    if (x[_AMBIENT] | x[_BAND_PA] | x[_RISE_PA]) >> 17 != 0 or x[_CEIL_PA] >> 20 != 0 or x[_CEIL_PA] > _HIGH_CEIL or ((x[_AIR_MAX] | x[_TIME_MAX]) >> 27 != 0) or ((x[_D0] | x[_D1]) >> 12 != 0) or (x[_HORIZON] >> 6 != 0) or ((x[_NORISE] | x[_CONN]) >> 15 != 0) or (x[_TEST_LEN] >> 12 != 0) or (x[_FLAGS] >> 3 != 0) or ((x[_GAIN_A] | x[_GAIN_B]) >> 14 != 0) or (x[_OFF_A] < _OFF_MIN) or (x[_OFF_A] > _OFF_MAX) or (x[_OFF_B] < _OFF_MIN) or (x[_OFF_B] > _OFF_MAX) or (x[_CHK] >> 29 != 0) or ((x[_A] | x[_B] | x[_SW]) >> 16 != 0) or ((x[_LOAD] | x[_GAP] | x[_SUPPLY]) >> 8 != 0):
        if cause == 0:
            cause = 33
            g[_CAUSE] = 33
            g[_CAUSE_N] = 222
        g[_STOP] = cause
        g[_WHY] = cause
        g[_ON] = 0
        g[_ARMED] = 0
        g[_REST] = _REST_TICKS
        t2 = 0
        if venting != 0:
            t2 = _O_LATCHED | _O_VENT
        else:
            t2 = _O_LATCHED
        return t2
    total = x[_CEIL_PA] + x[_BAND_PA] + x[_RISE_PA] + x[_AIR_MAX] + x[_TIME_MAX] + x[_NORISE] + x[_TEST_LEN] + x[_CONN]
    total = total + x[_FLAGS] + x[_GAIN_A] + x[_OFF_A] + x[_GAIN_B] + x[_OFF_B] + x[_D0] + x[_D1] + x[_HORIZON]
    t3 = 0
    if total + x[_CHK] == _CHECK and x[_BAND_PA] >= _BAND_MIN and (x[_RISE_PA] >= _RISE_MIN):
        t3 = 1
    whole = t3
    t4 = 0
    if whole != 0 and x[_HORIZON] >= _HORIZON_MIN and (x[_TEST_LEN] >= _TEST_MIN) and (x[_D0] >= _D0_MIN):
        t4 = 1
    whole = t4
    t5 = 0
    if whole != 0 and x[_GAIN_A] >= _GAIN_MIN and (x[_OFF_A] + x[_GAIN_A] * 12 >= _ZERO_MIN):
        t5 = 1
    whole = t5
    t6 = 0
    if whole != 0 and x[_GAIN_B] >= _GAIN_MIN and (x[_OFF_B] + x[_GAIN_B] * 12 >= _ZERO_MIN):
        t6 = 1
    whole = t6
    sw = x[_SW]
    run = sw & _RUN
    was_on = g[_ON]
    test = g[_TEST]
    pa = (x[_A] * x[_GAIN_A] >> 9) + x[_OFF_A] + _BIAS
    pb = (x[_B] * x[_GAIN_B] >> 9) + x[_OFF_B] + _BIAS
    if x[_FLAGS] & 1 != 0:
        pa = pa - x[_AMBIENT]
    if x[_FLAGS] & 2 != 0:
        pb = pb - x[_AMBIENT]
    if g[_WARM] == 0:
        g[_FA] = pa << 4
        g[_FB] = pb << 4
        t7 = pa
        t8 = pb
        if t8 > t7:
            t7 = t8
        g[_SL] = t7 << 4
    fa = g[_FA] + ((pa << 4) - g[_FA] >> 2)
    fb = g[_FB] + ((pb << 4) - g[_FB] >> 2)
    g[_FA] = fa
    g[_FB] = fb
    t9 = fa
    t10 = fb
    if t10 > t9:
        t9 = t10
    high = t9
    g[_SL] = g[_SL] + (high - g[_SL] >> 4)
    read = high >> 4
    g[_READ] = read
    lag = high - g[_SL] >> 4
    t11 = g[_WARM] + 1
    t12 = _WARM_TICKS
    if t12 < t11:
        t11 = t12
    g[_WARM] = t11
    fault = 0
    t14 = fa - fb
    if t14 < 0:
        t14 = 0 - t14
    t13 = 0
    if t14 > _AGREE_16:
        t15 = g[_DISAGREE] + 1
        t16 = _AGREE_TICKS
        if t16 < t15:
            t15 = t16
        t13 = t15
    else:
        t13 = 0
    g[_DISAGREE] = t13
    t17 = 0
    if g[_DISAGREE] >= _AGREE_TICKS:
        t17 = 18
    else:
        t17 = fault
    fault = t17
    if x[_A] != g[_LAST_A]:
        g[_LAST_A] = x[_A]
        g[_FRZ_A] = 0
        g[_FREF_A] = fb >> 4
    elif g[_FRZ_A] < _FROZEN_TICKS:
        g[_FRZ_A] = g[_FRZ_A] + 1
    t20 = 0
    if g[_FRZ_A] >= _FROZEN_TICKS:
        t19 = (fb >> 4) - g[_FREF_A]
        if t19 < 0:
            t19 = 0 - t19
        if t19 > _FROZEN_PA:
            t20 = 1
    t18 = 0
    if t20 != 0:
        t18 = 19
    else:
        t18 = fault
    fault = t18
    if x[_B] != g[_LAST_B]:
        g[_LAST_B] = x[_B]
        g[_FRZ_B] = 0
        g[_FREF_B] = fa >> 4
    elif g[_FRZ_B] < _FROZEN_TICKS:
        g[_FRZ_B] = g[_FRZ_B] + 1
    t23 = 0
    if g[_FRZ_B] >= _FROZEN_TICKS:
        t22 = (fa >> 4) - g[_FREF_B]
        if t22 < 0:
            t22 = 0 - t22
        if t22 > _FROZEN_PA:
            t23 = 1
    t21 = 0
    if t23 != 0:
        t21 = 20
    else:
        t21 = fault
    fault = t21
    t24 = 0
    if x[_A] < _RATIO_LOW or x[_A] > _RATIO_HIGH:
        t25 = g[_RANGE_A] + 1
        t26 = _SHORT
        if t26 < t25:
            t25 = t26
        t24 = t25
    else:
        t24 = 0
    g[_RANGE_A] = t24
    t27 = 0
    if g[_RANGE_A] >= _SHORT:
        t27 = 16
    else:
        t27 = fault
    fault = t27
    t28 = 0
    if x[_B] < _RATIO_LOW or x[_B] > _RATIO_HIGH:
        t29 = g[_RANGE_B] + 1
        t30 = _SHORT
        if t30 < t29:
            t29 = t30
        t28 = t29
    else:
        t28 = 0
    g[_RANGE_B] = t28
    t31 = 0
    if g[_RANGE_B] >= _SHORT:
        t31 = 17
    else:
        t31 = fault
    fault = t31
    t32 = 0
    if x[_SUPPLY] < _SUPPLY_LOW or x[_SUPPLY] > _SUPPLY_HIGH:
        t33 = g[_SUP_CNT] + 1
        t34 = _SHORT
        if t34 < t33:
            t33 = t34
        t32 = t33
    else:
        t32 = 0
    g[_SUP_CNT] = t32
    t35 = 0
    if g[_SUP_CNT] >= _SHORT:
        t35 = 26
    else:
        t35 = fault
    fault = t35
    t36 = 0
    if g[_WARM] < _WARM_TICKS:
        t36 = 0
    else:
        t36 = fault
    fault = t36
    t37 = 0
    if x[_AMBIENT] < _BARO_LOW or x[_AMBIENT] > _BARO_HIGH:
        t37 = 1
    baro = t37
    t38 = 0
    if baro != 0:
        t39 = g[_BARO_CNT] + 1
        t40 = _BARO_TICKS
        if t40 < t39:
            t39 = t40
        t38 = t39
    else:
        t38 = 0
    g[_BARO_CNT] = t38
    t41 = 0
    if g[_BARO_CNT] >= _BARO_TICKS and run != 0:
        t41 = 31
    else:
        t41 = fault
    fault = t41
    key = sw & (_KEY_LOW | _KEY_HIGH)
    t42 = 0
    if key != _KEY_LOW and key != _KEY_HIGH:
        t43 = g[_KEY_CNT] + 1
        t44 = _SHORT
        if t44 < t43:
            t43 = t44
        t42 = t43
    else:
        t42 = 0
    g[_KEY_CNT] = t42
    t45 = 0
    if g[_KEY_CNT] >= _SHORT and run != 0:
        t45 = 27
    else:
        t45 = fault
    fault = t45
    t46 = 0
    if test != 0 and test != _TEST_DONE:
        t46 = 1
    testing = t46
    t47 = 0
    if (was_on != 0 or testing != 0) and x[_LOAD] >= _LOAD_MAX:
        t47 = 24
    else:
        t47 = fault
    fault = t47
    t48 = 0
    if (was_on != 0 or testing != 0) and x[_GAP] >= _GAP_MAX:
        t48 = 25
    else:
        t48 = fault
    fault = t48
    t49 = 0
    if was_on != 0 and (not whole != 0):
        t49 = 33
    else:
        t49 = fault
    fault = t49
    if was_on == 0 or read >= g[_NR_REF] + _RISE_STEP or read < g[_NR_REF] - _RISE_STEP:
        g[_NR_REF] = read
        g[_NR_CNT] = 0
    if was_on != 0:
        t50 = g[_NR_CNT] + 1
        t51 = 32768
        if t51 < t50:
            t50 = t51
        g[_NR_CNT] = t50
        t52 = 0
        if g[_NR_CNT] > x[_NORISE]:
            t52 = 21
        else:
            t52 = fault
        fault = t52
    if was_on != 0 or testing != 0 or lag > _STEP_LAG or (g[_RAN] == 0):
        g[_OFF_CNT] = 0
        g[_OFF_REF] = read
    else:
        g[_OFF_CNT] = g[_OFF_CNT] + 1
        if g[_OFF_CNT] > _BLANK + _CREEP_TICKS:
            g[_OFF_CNT] = _BLANK + 1
            g[_OFF_REF] = g[_OFF_REF] + _CREEP_PA
        if g[_OFF_CNT] <= _BLANK or read < g[_OFF_REF]:
            g[_OFF_REF] = read
        t53 = 0
        if read > g[_OFF_REF] + _RISE_OFF:
            t53 = 22
        else:
            t53 = fault
        fault = t53
    if testing != 0 and read > g[_TEST_REF] + _TEST_RISE:
        t54 = 0
        if test <= x[_TEST_LEN] + _TEST_GAP:
            t54 = 28
        else:
            t54 = 29
        fault = t54
    t55 = 0
    if g[_RAN] != 0 and read > g[_CEIL] + g[_BAND] + _BIAS:
        t56 = g[_OVER] + 1
        t57 = _OVER_TICKS
        if t57 < t56:
            t56 = t57
        t55 = t56
    else:
        t55 = 0
    g[_OVER] = t55
    t58 = 0
    if g[_OVER] >= _OVER_TICKS:
        t58 = 23
    else:
        t58 = fault
    fault = t58
    t59 = 0
    if sw & _CUTOFF != 0:
        t60 = g[_CUT_CNT] + 1
        t61 = _SHORT
        if t61 < t60:
            t60 = t61
        t59 = t60
    else:
        t59 = 0
    g[_CUT_CNT] = t59
    t62 = 0
    if g[_CUT_CNT] >= _SHORT:
        t62 = 30
    else:
        t62 = fault
    fault = t62
    t63 = 0
    if fault == 22 or fault == 23 or (28 <= fault and fault <= 30):
        t63 = 1
    vents = t63
    if cause == 0 or (vents != 0 and (not venting != 0)) or (fault == 0 and sw & _CLEAR != 0 and (run == 0)):
        cause = fault
        venting = vents
        g[_CAUSE] = fault
        g[_CAUSE_N] = 255 - fault
    if x[_CONN] != g[_CONN_G] and run == 0 and (was_on == 0) and (g[_REST] == 0):
        g[_CONN_G] = x[_CONN]
        g[_CEIL] = 0
        g[_CEIL_N] = _WORD
        g[_BAND] = 0
        g[_TIME] = 0
        g[_AIR] = 0
        g[_TEST] = 0
        g[_RAN] = 0
        g[_OVER] = 0
    if whole != 0 and x[_CONN] == g[_CONN_G] and (x[_CEIL_PA] > 0):
        if g[_CEIL] == 0 and run == 0 or x[_CEIL_PA] < g[_CEIL]:
            g[_CEIL] = x[_CEIL_PA]
            g[_CEIL_N] = _WORD - x[_CEIL_PA]
        t64 = g[_BAND]
        t65 = x[_BAND_PA]
        if t65 > t64:
            t64 = t65
        g[_BAND] = t64
    t66 = x[_RISE_PA]
    t68 = lag
    t69 = 0
    if t69 > t68:
        t68 = t69
    t67 = t68 * x[_HORIZON] >> 4
    if t67 > t66:
        t66 = t67
    over = t66
    t70 = 0
    if read + over >= g[_CEIL] - g[_BAND] + _BIAS:
        t70 = 2
    else:
        t70 = 0
    why = t70
    t71 = 0
    if g[_ON_TICKS] >= _DROP_TICKS and lag < 0 - _DROP_PA:
        t71 = 7
    else:
        t71 = why
    why = t71
    t72 = 0
    if g[_TIME] >= x[_TIME_MAX]:
        t72 = 4
    else:
        t72 = why
    why = t72
    t73 = 0
    if g[_AIR] >= x[_AIR_MAX]:
        t73 = 5
    else:
        t73 = why
    why = t73
    t74 = 0
    if key == _KEY_LOW and g[_CEIL] > _LOW_CEIL:
        t74 = 8
    else:
        t74 = why
    why = t74
    t75 = 0
    if key == _KEY_HIGH and (g[_CEIL] <= _LOW_CEIL or x[_FLAGS] & 4 != 0):
        t75 = 8
    else:
        t75 = why
    why = t75
    if g[_RANGE_A] + g[_RANGE_B] + g[_DISAGREE] + g[_SUP_CNT] + g[_CUT_CNT] + g[_KEY_CNT] != 0 or baro != 0 or g[_WARM] < _WARM_TICKS:
        why = 9
    t76 = 0
    if not whole != 0 or g[_CEIL] == 0 or x[_CEIL_PA] == 0 or (x[_CONN] != g[_CONN_G]):
        t76 = 6
    else:
        t76 = why
    why = t76
    if run == 0:
        why = 1
        g[_ARMED] = 1
    elif g[_ARMED] == 0:
        why = 9
    t77 = 0
    if cause != 0:
        t77 = cause
    else:
        t77 = why
    why = t77
    if run != 0 and (cause != 0 or why == 7):
        g[_ARMED] = 0
    g[_WHY] = why
    out = 0
    on = 0
    t78 = g[_REST] - 1
    t79 = 0
    if t79 > t78:
        t78 = t79
    g[_REST] = t78
    if why == 0:
        if test == _TEST_DONE:
            out = _O_RELAY | _O_READY
            if sw & _WANT != 0 and g[_REST] == 0:
                out = _O_RELAY | _O_READY | _O_GATE
                on = 1
        else:
            out = _O_TESTING
            second = x[_TEST_LEN] + _TEST_GAP
            t81 = 1
            if not test > second + x[_TEST_LEN]:
                t80 = 0
                if test > second:
                    t80 = _REST_TICKS
                else:
                    t80 = 0
                if not g[_REST] != t80:
                    t81 = 0
            if t81 != 0:
                test = 0
            if test == 0 or test == second:
                g[_TEST_REF] = read
            if test == second + x[_TEST_LEN]:
                test = _TEST_DONE
            elif test >= second:
                out = _O_TESTING | _O_GATE
                g[_REST] = _REST_TICKS + 1
                test = test + 1
            elif test != 0 or g[_REST] == 0:
                t82 = 0
                if test < x[_TEST_LEN]:
                    t82 = _O_TESTING | _O_RELAY
                else:
                    t82 = _O_TESTING
                out = t82
                test = test + 1
            g[_TEST] = test
    elif test != _TEST_DONE:
        g[_TEST] = 0
    if on != 0:
        g[_RAN] = 1
        t83 = g[_ON_TICKS] + 1
        t84 = 32767
        if t84 < t83:
            t83 = t84
        g[_ON_TICKS] = t83
    else:
        g[_ON_TICKS] = 0
        if was_on != 0:
            g[_REST] = _REST_TICKS
            t85 = 0
            if why != 0:
                t85 = why
            else:
                t85 = 3
            g[_STOP] = t85
    g[_ON] = on
    if on != 0 or (g[_REST] != 0 and g[_RAN] != 0):
        t86 = read - _BIAS
        t87 = 0
        if t87 > t86:
            t86 = t87
        rate = x[_D0] - ((t86 >> 8) * x[_D1] >> 8)
        t88 = g[_TIME] + 1
        t89 = _SPENT
        if t89 < t88:
            t88 = t89
        g[_TIME] = t88
        t91 = rate
        t92 = x[_D0] >> 3
        if t92 > t91:
            t91 = t92
        t93 = x[_GAP]
        t94 = _PERIOD
        if t94 > t93:
            t93 = t94
        t90 = g[_AIR] + (t91 * t93 >> 4)
        t95 = _SPENT
        if t95 < t90:
            t90 = t95
        g[_AIR] = t90
    if cause != 0:
        g[_STOP] = cause
        t96 = 0
        if venting != 0:
            t96 = _O_LATCHED | _O_VENT
        else:
            t96 = _O_LATCHED
        out = t96
    return out


def boot(g):
    for i in range(len(g)):
        g[i] = 0
    g[_CAUSE_N] = 255
    g[_CEIL_N] = _WORD
