"""Pressure guard: decides once every 2 ms whether the air source may run. Default off.

`step(g, x)` reads the inputs `x`, updates the state `g` and returns output bits. Every condition of promise G1 must hold in this very
tick. No allocation, loop or division. The only inputs from the fill controller are the bits WANT and VENT; VENT can only keep the source
off. Arrays are int32; `rimward_protocol.kernel_words` gives name, unit and meaning of every word. No value, intermediates included,
exceeds 30 bits. Pressures are gauge pascal plus BIAS inside the guard, so that every stored word is positive.

The same text runs as bytecode on CPython and MicroPython, compiled by numba on the host, and as viper machine code on the chip. Names are
local constants because an imported name costs 5 us there.

Criteria (G3). A fault must persist for its window; a later row outweighs an earlier one.

| criterion           | threshold                                | window          | cause                           | promise |
| ------------------- | ---------------------------------------- | --------------- | ------------------------------- | ------- |
| sensors disagree    | 30 kPa; before any air the slope more    | 50 ticks        | SENSORS_DISAGREE                | G1, G3  |
| sensor A / B frozen | no change while the other moves 8 kPa    | 50 ticks        | SENSOR_x_FROZEN                 | G3      |
| sensor A / B range  | outside 5 to 95 % of supply              | 3 ticks         | SENSOR_x_RANGE                  | G1, G3  |
| sensor supply       | outside 4.74 to 5.25 V                   | 3 ticks         | SENSOR_SUPPLY                   | G1, G3  |
| barometer           | outside 50 to 110 kPa, RUN held          | 250 ticks       | BAROMETER                       | G1      |
| range key contacts  | none or both closed, RUN held            | 3 ticks         | RANGE_KEY_CONTACTS              | G5      |
| tick long           | 8 units, source on                       | 1 tick          | TICK_LONG                       | G3      |
| tick late           | 40 units, source on                      | 1 tick          | TICK_LATE                       | G3      |
| limits damaged      | check word or compiled-in limit          | 1 tick          | LIMITS_DAMAGED                  | G1, G5  |
| not rising while on | less than 3 kPa gained                   | x[NORISE]       | NOT_RISING                      | G3      |
| rising while off    | 6 kPa over the lowest since stop, both 3 | after 250 ticks | RISING_WHILE_OFF                | G6      |
| self-test           | 3 kPa rise, both 1.5, one element closed | 1 tick          | GATE_ELEMENT_STUCK, RELAY_STUCK | G4      |
| one rises alone     | off 7, self-test 5.5 kPa if slow; 30 kPa | 1 tick          | SENSORS_DISAGREE                | G3      |
| over pressure       | ceiling + guard band                     | 50 ticks        | OVER_PRESSURE                   | G2      |
| independent cutoff  | contact open                             | 3 ticks         | INDEPENDENT_CUTOFF              | G4      |
| own memory          | word outside its width                   | 1 tick, first   | MEMORY                          | G1      |
"""

from rimward_protocol.compat import const, ptr32

from rimward_fw.kernels.guard_checks import inputs_damaged, limits_whole, memory_damaged
from rimward_fw.kernels.guard_flow import charge, mark_both, must_vent, not_rising, over_pressure, rising_unasked
from rimward_fw.kernels.guard_sensors import sensor_frozen, sensor_range, sensors_disagree
from rimward_fw.kernels.guard_tyre import begin_burst, burst_held, burst_near, chuck_off, follow_burst, forget_tyre

# Inputs x: six fast words, then slow words of which at most one changes in a tick.
_A = const(0)
_B = const(1)
_SW = const(2)
_LOAD = const(3)
_GAP = const(4)
_AMBIENT = const(6)
_CEIL_PA = const(7)
_BAND_PA = const(8)
_RISE_PA = const(9)
_AIR_MAX = const(10)
_TIME_MAX = const(11)
_TEST_LEN = const(13)
_CONN = const(14)
_FLAGS = const(16)
_GAIN_A = const(17)
_OFF_A = const(18)
_GAIN_B = const(19)
_OFF_B = const(20)
_HORIZON = const(23)
# Bits of x[SW].
_RUN = const(1)
_KEY_LOW = const(2)
_KEY_HIGH = const(4)
_CUTOFF = const(8)
_WANT = const(16)
_CLEAR = const(32)
_VENT = const(8192)
# Bits of x[FLAGS].
_A_SEALED = const(1)
_B_SEALED = const(2)
_STRAIGHT_SIDE = const(4)

# State g.
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
_TIME = const(18)
_AIR = const(19)
_RANGE_A = const(20)
_RANGE_B = const(21)
_DISAGREE = const(22)
_ON_TICKS = const(25)
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
# Output bits.
_OUT_GATE = const(1)
_OUT_RELAY = const(2)
_OUT_VENT = const(4)
_OUT_LATCHED = const(8)
_OUT_READY = const(16)
_OUT_TESTING = const(32)
_OUT_CHUCK_OFF = const(64)
# Causes.
_RELEASED = const(1)
_STOP_READING = const(2)
_TARGET_REACHED = const(3)
_TIME_BUDGET = const(4)
_AIR_BUDGET = const(5)
_NO_PROFILE = const(6)
_HOSE_OR_TYRE = const(7)
_RANGE_KEY_REFUSES = const(8)
_NOT_READY = const(9)
_TICK_LONG = const(24)
_TICK_LATE = const(25)
_RANGE_KEY_CONTACTS = const(27)
_INDEPENDENT_CUTOFF = const(30)
_BAROMETER = const(31)
_MEMORY = const(32)
_LIMITS_DAMAGED = const(33)

# Compiled-in limits (G5).
_LOW_CEIL = const(500_000)
_WORDS = const(49)  # of state
_WORD = const(0xFFFFF)  # CEIL + CEIL_N
_CAUSE_SUM = const(255)  # CAUSE + CAUSE_N
_BIAS = const(600_000)

# Thresholds and windows of the table above.
_SHORT = const(3)
_TEST_GAP = const(30)
_TEST_STILL = const(600)  # Pa in 16 ticks: noise of the filtered readings
_TEST_DONE = const(16000)
_DROP_PA = const(25_000)
_DROP_TICKS = const(25)
_LOAD_MAX = const(8)
_GAP_MAX = const(40)
_BARO_LOW = const(50_000)
_BARO_HIGH = const(110_000)
_BARO_TICKS = const(250)
_WARM_TICKS = const(50)
_REST_TICKS = const(15)  # longer than the gate's drop-out, so that every stop is complete
_COUNT_MAX = const(32767)


def step(g: ptr32, x: ptr32) -> int:
    """Run one tick. `g`: 49 words of state, `x`: 24 words of input, int32. Return output bits; never raises."""
    if g[_CAUSE] == _MEMORY:
        return _OUT_VENT | _OUT_LATCHED

    if memory_damaged(g) != 0:
        g[_CAUSE] = _MEMORY
        g[_CAUSE_N] = _CAUSE_SUM - _MEMORY
        g[_STOP] = _MEMORY
        g[_ON] = 0
        return _OUT_VENT | _OUT_LATCHED

    cause = g[_CAUSE]
    venting = must_vent(cause)

    if inputs_damaged(x) != 0:
        if cause == 0:
            cause = _LIMITS_DAMAGED
            g[_CAUSE] = _LIMITS_DAMAGED
            g[_CAUSE_N] = _CAUSE_SUM - _LIMITS_DAMAGED
        g[_STOP] = cause
        g[_WHY] = cause
        g[_ON] = 0
        g[_ARMED] = 0
        g[_REST] = _REST_TICKS
        return _OUT_LATCHED | _OUT_VENT if venting != 0 else _OUT_LATCHED

    whole = limits_whole(x)
    sw = x[_SW]
    run = sw & _RUN
    was_on = g[_ON]
    test = g[_TEST]
    testing = 1 if test != 0 and test != _TEST_DONE else 0
    active = 1 if was_on != 0 or testing != 0 else 0

    # Pressures: a sealed or absolute transducer needs the barometer to read true gauge pressure.
    pa = ((x[_A] * x[_GAIN_A]) >> 9) + x[_OFF_A] + _BIAS
    pb = ((x[_B] * x[_GAIN_B]) >> 9) + x[_OFF_B] + _BIAS
    pa = pa - x[_AMBIENT] if x[_FLAGS] & _A_SEALED != 0 else pa
    pb = pb - x[_AMBIENT] if x[_FLAGS] & _B_SEALED != 0 else pb
    if g[_WARM] == 0:
        g[_FA] = pa << 4
        g[_FB] = pb << 4
        g[_SL] = (pa if pa > pb else pb) << 4

    # Filters. The higher sensor counts; the gap to its slow filter is the slope over 16 ticks.
    fa = g[_FA] + (((pa << 4) - g[_FA]) >> 2)
    fb = g[_FB] + (((pb << 4) - g[_FB]) >> 2)
    g[_FA] = fa
    g[_FB] = fb
    high = fa if fa > fb else fb
    g[_SL] = g[_SL] + ((high - g[_SL]) >> 4)
    read = high >> 4
    g[_READ] = read
    lag = (high - g[_SL]) >> 4
    g[_WARM] = g[_WARM] + 1 if g[_WARM] < _WARM_TICKS else _WARM_TICKS

    vented = 1 if venting != 0 or sw & _VENT != 0 else 0
    follow_burst(g, x, read, lag, was_on, vented)

    baro = 1 if x[_AMBIENT] < _BARO_LOW or x[_AMBIENT] > _BARO_HIGH else 0

    # Sensors, the later fault outweighing. Converters and supply settle after power-up; nothing may run before that.
    fault = sensors_disagree(g, fa, fb, lag, baro)
    found = sensor_frozen(g, x, fa, fb)
    if found != 0:
        fault = found
    found = sensor_range(g, x)
    if found != 0:
        fault = found
    if g[_WARM] < _WARM_TICKS:
        fault = 0

    # Barometer and range key.
    late = g[_BARO_CNT] + 1 if g[_BARO_CNT] < _BARO_TICKS else _BARO_TICKS
    g[_BARO_CNT] = 0 if baro == 0 else late
    if g[_BARO_CNT] >= _BARO_TICKS and run != 0:
        fault = _BAROMETER
    key = sw & (_KEY_LOW | _KEY_HIGH)
    if key == _KEY_LOW or key == _KEY_HIGH:
        g[_KEY_CNT] = 0
    else:
        g[_KEY_CNT] = g[_KEY_CNT] + 1 if g[_KEY_CNT] < _SHORT else _SHORT
    if g[_KEY_CNT] >= _SHORT and run != 0:
        fault = _RANGE_KEY_CONTACTS

    # Timing and limits count only while something is switched on.
    if active != 0 and x[_LOAD] >= _LOAD_MAX:
        fault = _TICK_LONG
    if active != 0 and x[_GAP] >= _GAP_MAX:
        fault = _TICK_LATE
    if was_on != 0 and whole == 0:
        fault = _LIMITS_DAMAGED

    # Flow: rising while on, not rising while off.
    found = not_rising(g, x, read)
    if found != 0:
        fault = found
    found = rising_unasked(g, x, read, lag, active, test if testing != 0 else 0, baro)
    if found != 0:
        fault = found

    # Over pressure and the independent cutoff.
    found = over_pressure(g, read)
    if found != 0:
        fault = found
    if sw & _CUTOFF == 0:
        g[_CUT_CNT] = 0
    else:
        g[_CUT_CNT] = g[_CUT_CNT] + 1 if g[_CUT_CNT] < _SHORT else _SHORT
    if g[_CUT_CNT] >= _SHORT:
        fault = _INDEPENDENT_CUTOFF

    # A latch holds until a person clears it with RUN open and the reason gone. Only a fault that must
    # vent outweighs one that does not: a stuck source opens the vent whatever was latched (G6).
    vents = must_vent(fault)
    if cause == 0 or vents != 0 and venting == 0 or fault == 0 and sw & _CLEAR != 0 and run == 0:
        cause = fault
        venting = vents
        g[_CAUSE] = fault
        g[_CAUSE_N] = _CAUSE_SUM - fault

    # Chuck off (G10): the tyre is forgotten, the next fill begins with the run control open and the self-test.
    off = chuck_off(g, x, read, lag, active)
    test = 0 if off != 0 else test

    # A new connection begins at rest: nothing in force, nothing counted.
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
        forget_tyre(g)

    # The ceiling: taken once at rest, then it can only fall.
    if whole != 0 and x[_CONN] == g[_CONN_G] and x[_CEIL_PA] > 0:
        if g[_CEIL] == 0 and run == 0 or x[_CEIL_PA] < g[_CEIL]:
            g[_CEIL] = x[_CEIL_PA]
            g[_CEIL_N] = _WORD - x[_CEIL_PA]
        if x[_BAND_PA] > g[_BAND]:
            g[_BAND] = x[_BAND_PA]

    # Overrun (G2): what the tyre can still rise, more if the reading runs faster.
    ahead = ((lag if lag > 0 else 0) * x[_HORIZON]) >> 4
    over = ahead if ahead > x[_RISE_PA] else x[_RISE_PA]

    # Inhibit cause: why the source may not run. The last reason found is the one recorded.
    why = _STOP_READING if read + over >= g[_CEIL] - g[_BAND] + _BIAS or burst_near(g, x, read) != 0 else 0
    if g[_ON_TICKS] >= _DROP_TICKS and lag < -_DROP_PA:
        why = _HOSE_OR_TYRE
    if g[_TIME] >= x[_TIME_MAX]:
        why = _TIME_BUDGET
    if g[_AIR] >= x[_AIR_MAX]:
        why = _AIR_BUDGET
    if key == _KEY_LOW and g[_CEIL] > _LOW_CEIL:
        why = _RANGE_KEY_REFUSES
    if key == _KEY_HIGH and (g[_CEIL] <= _LOW_CEIL or x[_FLAGS] & _STRAIGHT_SIDE != 0):
        why = _RANGE_KEY_REFUSES
    pending = g[_RANGE_A] + g[_RANGE_B] + g[_DISAGREE] + g[_SUP_CNT] + g[_CUT_CNT] + g[_KEY_CNT]
    if pending != 0 or baro != 0 or g[_WARM] < _WARM_TICKS:
        why = _NOT_READY
    if whole == 0 or g[_CEIL] == 0 or x[_CEIL_PA] == 0 or x[_CONN] != g[_CONN_G]:
        why = _NO_PROFILE
    if run == 0:
        why = _RELEASED
        g[_ARMED] = 1
    elif g[_ARMED] == 0:
        why = _NOT_READY
    if cause != 0:
        why = cause
    if run != 0 and (cause != 0 or why == _HOSE_OR_TYRE):
        g[_ARMED] = 0
    g[_WHY] = why

    held = burst_held(g, x, read, lag, was_on) | vented
    # Outputs. Before the first air: the relay alone, a gap, the gate alone.
    out = 0
    on = 0
    if g[_REST] > 0:
        g[_REST] = g[_REST] - 1
    if why == 0 and test == _TEST_DONE:
        out = _OUT_RELAY | _OUT_READY
        if sw & _WANT != 0 and g[_REST] == 0 and held == 0:
            out = _OUT_RELAY | _OUT_READY | _OUT_GATE
            on = 1
    elif why == 0:
        # A count that the test did not reach by itself proves nothing: start it over.
        out = _OUT_TESTING
        second = x[_TEST_LEN] + _TEST_GAP
        if test == 0 and (lag > _TEST_STILL or lag < -_TEST_STILL):  # a tyre just attached still fills the manifold
            g[_REST] = _REST_TICKS
        if test > second + x[_TEST_LEN] or g[_REST] != (_REST_TICKS if test > second else 0):
            test = 0
        if test == second or test == 0 and g[_REST] == 0:
            mark_both(g)
        if test == second + x[_TEST_LEN]:
            test = _TEST_DONE
        elif test >= second:
            out = _OUT_TESTING | _OUT_GATE
            g[_REST] = _REST_TICKS + 1
            test = test + 1
        elif test != 0 or g[_REST] == 0:
            out = _OUT_TESTING | _OUT_RELAY if test < x[_TEST_LEN] else _OUT_TESTING
            test = test + 1
        g[_TEST] = test
    elif test != _TEST_DONE:
        g[_TEST] = 0

    # What this tick leaves for the next.
    if on != 0:
        g[_RAN] = 1
        begin_burst(g, read, was_on)
        g[_ON_TICKS] = g[_ON_TICKS] + 1 if g[_ON_TICKS] < _COUNT_MAX else _COUNT_MAX
    else:
        g[_ON_TICKS] = 0
        if was_on != 0:
            g[_REST] = _REST_TICKS
            g[_STOP] = why if why != 0 else _TARGET_REACHED
    g[_ON] = on

    # Budgets: air may flow until the gate has dropped out.
    if on != 0 or g[_REST] != 0 and g[_RAN] != 0:
        charge(g, x, read)
    if cause != 0:
        g[_STOP] = cause
        out = _OUT_LATCHED | _OUT_VENT if venting != 0 else _OUT_LATCHED
    return out | _OUT_CHUCK_OFF if off != 0 else out


def boot(g: ptr32):
    """Set the state after any reset: off, idle, nothing known (G7). All-zero memory is not a valid state."""
    word = 0
    while word < _WORDS:
        g[word] = 0
        word += 1
    g[_CAUSE_N] = _CAUSE_SUM
    g[_CEIL_N] = _WORD
