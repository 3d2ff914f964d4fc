"""The guard: may the air source run?  One pure integer step, called once a tick from the hard timer interrupt.

`step(g, x)` reads the inputs `x`, updates the state `g` and returns output bits. Default is off: every condition of
promise G1 must hold in this very tick. Nothing here allocates, loops, divides or asks anyone for more than the one bit
WANT. The same source runs on the controller, under CPython and compiled by numba. All arrays are int32 (`words.py` names
them); no value, intermediates included, passes 30 bits. Pressures are gauge pascal unless said otherwise.
"""

from rimward_protocol.compat import const

# Inputs x: five fast words, then slow words that change at most one a tick.
_A = const(0)  # transducer A, fraction of its supply, Q16
_B = const(1)
_SW = const(2)
_LOAD = const(3)  # duration of the previous tick, 125 us units
_GAP = const(4)  # since the previous tick began, 125 us units
_SUPPLY = const(5)  # sensor supply, 64 mV units
_AMBIENT = const(6)  # absolute; 0 = no barometer
_CEIL_PA = const(7)
_BAND_PA = const(8)
_RISE_PA = const(9)  # what the tyre can rise after a stop, from delivery and low volume
_AIR_MAX = const(10)  # 1/64 mL of free air
_TIME_MAX = const(11)  # ticks on
_NORISE = const(12)  # ticks on within which the reading must gain 3 kPa
_TEST_LEN = const(13)  # ticks of each half of the self-test
_CONN = const(14)
_CHK = const(15)
_FLAGS = const(16)  # 1: A needs the barometer, 2: B needs it, 4: straight-side or unknown rim
_GAIN_A = const(17)
_OFF_A = const(18)
_GAIN_B = const(19)
_OFF_B = const(20)
_D0 = const(21)  # delivery at 0 gauge, 1/64 mL of free air a tick
_D1 = const(22)  # its loss with pressure
_HORIZON = const(23)  # ticks of sensor, filter and actuator delay

# Switch bits in x[_SW].
_RUN = const(1)
_KEY_LOW = const(2)
_KEY_HIGH = const(4)
_CUTOFF = const(8)
_WANT = const(16)
_CLEAR = const(32)

# State g.
_CAUSE = const(0)
_CAUSE_N = const(1)  # complement: a flipped bit cannot clear a latch
_STOP = const(2)  # cause of the last stop
_WHY = const(3)  # why the source may not run now, 0 when it may
_CEIL = const(4)  # ceiling in force
_CEIL_N = const(5)
_BAND = const(6)
_CONN_G = const(7)
_FA = const(8)  # filtered A, (Pa + bias) * 16
_FB = const(9)
_SL = const(10)  # slow filter of the higher one, for the slope
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
_REST = const(34)  # ticks that the source must still stay off
_WARM = const(35)
_ON = const(36)
_RAN = const(37)
_ARMED = const(38)  # the run control was seen open
_READ = const(39)  # the higher reading, (Pa + bias): what fill and the display see

# Output bits.
_O_GATE = const(1)
_O_RELAY = const(2)
_O_VENT = const(4)
_O_LATCHED = const(8)
_O_READY = const(16)
_O_TESTING = const(32)

# Limits. The rig's ceilings are compiled in: nothing on a cable can raise them (G5).
_LOW_CEIL = const(500_000)
_HIGH_CEIL = const(900_000)
_BAND_MIN = const(1_000)
_RISE_MIN = const(500)
_HORIZON_MIN = const(8)
_TEST_MIN = const(50)
_D0_MIN = const(8)  # under this the air budget would stand still
_OFF_MIN = const(-400_000)
_OFF_MAX = const(600_000)
_GAIN_MIN = const(9_000)  # full scale under 9.2 bar: it would read low
_ZERO_MIN = const(-30_000)  # reading at 9.4 % of supply; lower, and it would read low
_CHECK = const(0x1FFFFFFF)
_WORD = const(0xFFFFF)  # CEIL + CEIL_N
_BIAS = const(600_000)

# The criteria of G3: threshold and window of each, one table.
_RATIO_LOW = const(3277)  # 5 % of supply, below the 10 % of zero pressure
_RATIO_HIGH = const(62259)  # 95 %
_SHORT = const(3)  # ticks out of band: range, supply, key, cutoff
_AGREE_16 = const(480_000)  # 30 kPa in filter units
_AGREE_TICKS = const(25)
_FROZEN_TICKS = const(100)
_FROZEN_PA = const(8_000)
_RISE_STEP = const(3_000)
_BLANK = const(250)
_CREEP_TICKS = const(1024)
_CREEP_PA = const(150)  # a tyre that warms in the room is not a leaking valve: 73 Pa/s
_RISE_OFF = const(6_000)
_STEP_LAG = const(12_000)  # quicker than any fill: a hose was attached
_OVER_TICKS = const(50)
_TEST_RISE = const(3_000)
_TEST_GAP = const(30)
_TEST_DONE = const(16000)
_DROP_PA = const(25_000)
_DROP_TICKS = const(25)
_LOAD_MAX = const(8)  # half the period
_GAP_MAX = const(40)
_SUPPLY_LOW = const(74)
_SUPPLY_HIGH = const(82)
_BARO_LOW = const(50_000)
_BARO_HIGH = const(110_000)
_BARO_TICKS = const(250)
_WARM_TICKS = const(50)
_PERIOD = const(16)
_SPENT = const(0x8000000)  # past every budget
_REST_TICKS = const(15)  # longer than the gate's drop-out, so that every stop is a real one


def step(g, x):
    """One tick. `g`: 40 words of state, `x`: 24 words of input, both int32. Returns output bits; never raises."""
    if g[_CAUSE] == 32:
        return _O_VENT | _O_LATCHED

    # Own memory first: every word inside its width, then the complements (whose sums stay small only then).
    if (
        (g[_CAUSE] | g[_CAUSE_N] | g[_STOP] | g[_WHY] | g[_REST] | g[_WARM]) >> 8 != 0
        or (g[_RANGE_A] | g[_RANGE_B] | g[_DISAGREE] | g[_OVER] | g[_KEY_CNT] | g[_CUT_CNT] | g[_SUP_CNT] | g[_BARO_CNT]) >> 8 != 0
        or (g[_ON] | g[_RAN] | g[_ARMED]) >> 1 != 0
        or (g[_CEIL] | g[_CEIL_N] | g[_BAND]) >> 20 != 0 or g[_CEIL] > _HIGH_CEIL
        or (g[_FA] | g[_FB] | g[_SL]) >> 26 != 0
        or (g[_FREF_A] | g[_FREF_B] | g[_NR_REF] | g[_OFF_REF] | g[_TEST_REF] | g[_READ]) >> 22 != 0
        or (g[_LAST_A] | g[_LAST_B] | g[_FRZ_A] | g[_FRZ_B] | g[_ON_TICKS] | g[_NR_CNT] | g[_OFF_CNT] | g[_TEST] | g[_CONN_G]) >> 16 != 0
        or (g[_TIME] | g[_AIR]) >> 28 != 0
        or g[_CAUSE] + g[_CAUSE_N] != 255 or g[_CEIL] + g[_CEIL_N] != _WORD
    ):
        g[_CAUSE] = 32
        g[_CAUSE_N] = 223
        g[_STOP] = 32
        g[_ON] = 0
        return _O_VENT | _O_LATCHED

    cause = g[_CAUSE]
    venting = cause == 22 or cause == 23 or 28 <= cause <= 30

    # The slow inputs: inside their widths, and whole.
    if (
        (x[_AMBIENT] | x[_BAND_PA] | x[_RISE_PA]) >> 17 != 0 or x[_CEIL_PA] >> 20 != 0 or x[_CEIL_PA] > _HIGH_CEIL
        or (x[_AIR_MAX] | x[_TIME_MAX]) >> 27 != 0 or (x[_D0] | x[_D1]) >> 12 != 0 or x[_HORIZON] >> 6 != 0
        or (x[_NORISE] | x[_CONN]) >> 15 != 0 or x[_TEST_LEN] >> 12 != 0 or x[_FLAGS] >> 3 != 0
        or (x[_GAIN_A] | x[_GAIN_B]) >> 14 != 0
        or x[_OFF_A] < _OFF_MIN or x[_OFF_A] > _OFF_MAX or x[_OFF_B] < _OFF_MIN or x[_OFF_B] > _OFF_MAX
        or x[_CHK] >> 29 != 0 or (x[_A] | x[_B] | x[_SW]) >> 16 != 0 or (x[_LOAD] | x[_GAP] | x[_SUPPLY]) >> 8 != 0
    ):
        if cause == 0:
            cause = 33
            g[_CAUSE] = 33
            g[_CAUSE_N] = 222
        g[_STOP] = cause
        g[_WHY] = cause
        g[_ON] = 0
        g[_ARMED] = 0
        g[_REST] = _REST_TICKS
        return _O_LATCHED | _O_VENT if venting else _O_LATCHED
    # Even a whole set of limits may not loosen what is compiled in.
    total = x[_CEIL_PA] + x[_BAND_PA] + x[_RISE_PA] + x[_AIR_MAX] + x[_TIME_MAX] + x[_NORISE] + x[_TEST_LEN] + x[_CONN]
    total = total + x[_FLAGS] + x[_GAIN_A] + x[_OFF_A] + x[_GAIN_B] + x[_OFF_B] + x[_D0] + x[_D1] + x[_HORIZON]
    whole = total + x[_CHK] == _CHECK and x[_BAND_PA] >= _BAND_MIN and x[_RISE_PA] >= _RISE_MIN
    whole = whole and x[_HORIZON] >= _HORIZON_MIN and x[_TEST_LEN] >= _TEST_MIN and x[_D0] >= _D0_MIN
    whole = whole and x[_GAIN_A] >= _GAIN_MIN and x[_OFF_A] + x[_GAIN_A] * 12 >= _ZERO_MIN
    whole = whole and x[_GAIN_B] >= _GAIN_MIN and x[_OFF_B] + x[_GAIN_B] * 12 >= _ZERO_MIN

    sw = x[_SW]
    run = sw & _RUN
    was_on = g[_ON]
    test = g[_TEST]

    # Pressures: true gauge needs the barometer where the transducer is sealed or absolute.
    pa = ((x[_A] * x[_GAIN_A]) >> 9) + x[_OFF_A] + _BIAS
    pb = ((x[_B] * x[_GAIN_B]) >> 9) + x[_OFF_B] + _BIAS
    if x[_FLAGS] & 1 != 0:
        pa = pa - x[_AMBIENT]
    if x[_FLAGS] & 2 != 0:
        pb = pb - x[_AMBIENT]
    if g[_WARM] == 0:
        g[_FA] = pa << 4
        g[_FB] = pb << 4
        g[_SL] = max(pa, pb) << 4
    fa = g[_FA] + (((pa << 4) - g[_FA]) >> 2)
    fb = g[_FB] + (((pb << 4) - g[_FB]) >> 2)
    g[_FA] = fa
    g[_FB] = fb
    high = max(fa, fb)
    g[_SL] = g[_SL] + ((high - g[_SL]) >> 4)
    read = high >> 4
    g[_READ] = read
    lag = (high - g[_SL]) >> 4
    g[_WARM] = min(g[_WARM] + 1, _WARM_TICKS)

    # Faults, later ones weigh more. Each has its window in the table above.
    fault = 0
    g[_DISAGREE] = min(g[_DISAGREE] + 1, _AGREE_TICKS) if abs(fa - fb) > _AGREE_16 else 0
    fault = 18 if g[_DISAGREE] >= _AGREE_TICKS else fault

    if x[_A] != g[_LAST_A]:
        g[_LAST_A] = x[_A]
        g[_FRZ_A] = 0
        g[_FREF_A] = fb >> 4
    elif g[_FRZ_A] < _FROZEN_TICKS:
        g[_FRZ_A] = g[_FRZ_A] + 1
    fault = 19 if g[_FRZ_A] >= _FROZEN_TICKS and abs((fb >> 4) - g[_FREF_A]) > _FROZEN_PA else fault
    if x[_B] != g[_LAST_B]:
        g[_LAST_B] = x[_B]
        g[_FRZ_B] = 0
        g[_FREF_B] = fa >> 4
    elif g[_FRZ_B] < _FROZEN_TICKS:
        g[_FRZ_B] = g[_FRZ_B] + 1
    fault = 20 if g[_FRZ_B] >= _FROZEN_TICKS and abs((fa >> 4) - g[_FREF_B]) > _FROZEN_PA else fault

    g[_RANGE_A] = min(g[_RANGE_A] + 1, _SHORT) if x[_A] < _RATIO_LOW or x[_A] > _RATIO_HIGH else 0
    fault = 16 if g[_RANGE_A] >= _SHORT else fault
    g[_RANGE_B] = min(g[_RANGE_B] + 1, _SHORT) if x[_B] < _RATIO_LOW or x[_B] > _RATIO_HIGH else 0
    fault = 17 if g[_RANGE_B] >= _SHORT else fault

    g[_SUP_CNT] = min(g[_SUP_CNT] + 1, _SHORT) if x[_SUPPLY] < _SUPPLY_LOW or x[_SUPPLY] > _SUPPLY_HIGH else 0
    fault = 26 if g[_SUP_CNT] >= _SHORT else fault
    # Converters and supply settle after power-up; nothing may run before that.
    fault = 0 if g[_WARM] < _WARM_TICKS else fault

    baro = x[_AMBIENT] < _BARO_LOW or x[_AMBIENT] > _BARO_HIGH
    g[_BARO_CNT] = min(g[_BARO_CNT] + 1, _BARO_TICKS) if baro else 0
    fault = 31 if g[_BARO_CNT] >= _BARO_TICKS and run != 0 else fault

    key = sw & (_KEY_LOW | _KEY_HIGH)
    g[_KEY_CNT] = min(g[_KEY_CNT] + 1, _SHORT) if key != _KEY_LOW and key != _KEY_HIGH else 0
    fault = 27 if g[_KEY_CNT] >= _SHORT and run != 0 else fault
    testing = test != 0 and test != _TEST_DONE
    fault = 24 if (was_on != 0 or testing) and x[_LOAD] >= _LOAD_MAX else fault
    fault = 25 if (was_on != 0 or testing) and x[_GAP] >= _GAP_MAX else fault
    fault = 33 if was_on != 0 and not whole else fault

    # Rising while on.
    if was_on == 0 or read >= g[_NR_REF] + _RISE_STEP or read < g[_NR_REF] - _RISE_STEP:
        g[_NR_REF] = read
        g[_NR_CNT] = 0
    if was_on != 0:
        g[_NR_CNT] = min(g[_NR_CNT] + 1, 32768)  # past every limit in 15 bits
        fault = 21 if g[_NR_CNT] > x[_NORISE] else fault

    # Rising while off (G6): after the coast-down, against the lowest reading since.
    if was_on != 0 or testing or lag > _STEP_LAG or g[_RAN] == 0:
        g[_OFF_CNT] = 0
        g[_OFF_REF] = read
    else:
        g[_OFF_CNT] = g[_OFF_CNT] + 1
        if g[_OFF_CNT] > _BLANK + _CREEP_TICKS:
            g[_OFF_CNT] = _BLANK + 1
            g[_OFF_REF] = g[_OFF_REF] + _CREEP_PA
        if g[_OFF_CNT] <= _BLANK or read < g[_OFF_REF]:
            g[_OFF_REF] = read
        fault = 22 if read > g[_OFF_REF] + _RISE_OFF else fault

    # Self-test: each element opened alone must show no flow.
    if testing and read > g[_TEST_REF] + _TEST_RISE:
        fault = 28 if test <= x[_TEST_LEN] + _TEST_GAP else 29

    g[_OVER] = min(g[_OVER] + 1, _OVER_TICKS) if g[_RAN] != 0 and read > g[_CEIL] + g[_BAND] + _BIAS else 0
    fault = 23 if g[_OVER] >= _OVER_TICKS else fault
    g[_CUT_CNT] = min(g[_CUT_CNT] + 1, _SHORT) if sw & _CUTOFF != 0 else 0
    fault = 30 if g[_CUT_CNT] >= _SHORT else fault

    # A latch holds until a person clears it with the run control open and the reason gone. Only a fault that must vent
    # outweighs one that does not: a stuck source opens the vent whatever was latched before (G6).
    vents = fault == 22 or fault == 23 or 28 <= fault <= 30
    if cause == 0 or vents and not venting or fault == 0 and sw & _CLEAR != 0 and run == 0:
        cause = fault
        venting = vents
        g[_CAUSE] = fault
        g[_CAUSE_N] = 255 - fault

    # The ceiling: taken once at rest, then it can only fall. A new connection begins at rest too.
    if x[_CONN] != g[_CONN_G] and run == 0 and was_on == 0 and g[_REST] == 0:
        g[_CONN_G] = x[_CONN]
        g[_CEIL] = 0
        g[_CEIL_N] = _WORD
        g[_BAND] = 0
        g[_TIME] = 0
        g[_AIR] = 0
        g[_TEST] = 0
        g[_RAN] = 0
        g[_OVER] = 0
    if whole and x[_CONN] == g[_CONN_G] and x[_CEIL_PA] > 0:
        if g[_CEIL] == 0 and run == 0 or x[_CEIL_PA] < g[_CEIL]:
            g[_CEIL] = x[_CEIL_PA]
            g[_CEIL_N] = _WORD - x[_CEIL_PA]
        g[_BAND] = max(g[_BAND], x[_BAND_PA])

    # Overrun: at least what the tyre can still rise, more if the reading runs faster (G2).
    over = max(x[_RISE_PA], (max(lag, 0) * x[_HORIZON]) >> 4)

    # May it run?  The last reason found is the one recorded.
    why = 2 if read + over >= g[_CEIL] - g[_BAND] + _BIAS else 0
    why = 7 if g[_ON_TICKS] >= _DROP_TICKS and lag < -_DROP_PA else why
    why = 4 if g[_TIME] >= x[_TIME_MAX] else why
    why = 5 if g[_AIR] >= x[_AIR_MAX] else why
    why = 8 if key == _KEY_LOW and g[_CEIL] > _LOW_CEIL else why
    why = 8 if key == _KEY_HIGH and (g[_CEIL] <= _LOW_CEIL or x[_FLAGS] & 4 != 0) else why
    if g[_RANGE_A] + g[_RANGE_B] + g[_DISAGREE] + g[_SUP_CNT] + g[_CUT_CNT] + g[_KEY_CNT] != 0 or baro or g[_WARM] < _WARM_TICKS:
        why = 9
    why = 6 if not whole or g[_CEIL] == 0 or x[_CEIL_PA] == 0 or x[_CONN] != g[_CONN_G] else why
    if run == 0:
        why = 1
        g[_ARMED] = 1
    elif g[_ARMED] == 0:
        why = 9
    why = cause if cause != 0 else why
    if run != 0 and (cause != 0 or why == 7):
        g[_ARMED] = 0
    g[_WHY] = why

    # Outputs.
    out = 0
    on = 0
    g[_REST] = max(g[_REST] - 1, 0)
    if why == 0:
        if test == _TEST_DONE:
            out = _O_RELAY | _O_READY
            if sw & _WANT != 0 and g[_REST] == 0:
                out = _O_RELAY | _O_READY | _O_GATE
                on = 1
        else:
            # The relay alone, a gap, the gate alone. A count that the test did not reach by itself proves nothing: begin again.
            out = _O_TESTING
            second = x[_TEST_LEN] + _TEST_GAP
            if test > second + x[_TEST_LEN] or g[_REST] != (_REST_TICKS if test > second else 0):
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
                out = _O_TESTING | _O_RELAY if test < x[_TEST_LEN] else _O_TESTING
                test = test + 1
            g[_TEST] = test
    elif test != _TEST_DONE:
        g[_TEST] = 0
    if on != 0:
        g[_RAN] = 1
        g[_ON_TICKS] = min(g[_ON_TICKS] + 1, 32767)
    else:
        g[_ON_TICKS] = 0
        if was_on != 0:
            g[_REST] = _REST_TICKS
            g[_STOP] = why if why != 0 else 3
    g[_ON] = on
    # Budgets: air may flow until the gate has dropped out, so short pulses and late ticks are charged in full.
    if on != 0 or g[_REST] != 0 and g[_RAN] != 0:
        rate = x[_D0] - (((max(read - _BIAS, 0) >> 8) * x[_D1]) >> 8)
        g[_TIME] = min(g[_TIME] + 1, _SPENT)
        g[_AIR] = min(g[_AIR] + ((max(rate, x[_D0] >> 3) * max(x[_GAP], _PERIOD)) >> 4), _SPENT)
    if cause != 0:
        g[_STOP] = cause
        out = _O_LATCHED | _O_VENT if venting else _O_LATCHED
    return out


def boot(g):
    """The state after any reset: off, nothing in force, nothing known (G7). All-zero memory is not a valid state."""
    for i in range(len(g)):
        g[i] = 0
    g[_CAUSE_N] = 255
    g[_CEIL_N] = _WORD
