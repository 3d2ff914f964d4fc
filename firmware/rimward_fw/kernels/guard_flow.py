"""Guard, part: how the reading must move while the source is on and off, and what the budgets count. Thresholds: the table in `guard`."""

from rimward_protocol.compat import const, ptr32

_GAP = const(4)
_NORISE = const(12)
_TEST_LEN = const(13)
_D0 = const(21)
_D1 = const(22)
_CEIL = const(4)
_BAND = const(6)
_FA = const(8)
_FB = const(9)
_NR_REF = const(15)
_OFF_REF = const(16)
_REF_A = const(17)
_TIME = const(18)
_AIR = const(19)
_RANGE_A = const(20)
_RANGE_B = const(21)
_NR_CNT = const(26)
_OFF_CNT = const(27)
_OVER = const(29)
_ON = const(36)
_RAN = const(37)
_REF_B = const(48)
_SENSORS_DISAGREE = const(18)
_NOT_RISING = const(21)
_RISING_WHILE_OFF = const(22)
_OVER_PRESSURE = const(23)
_GATE_ELEMENT_STUCK = const(28)
_RELAY_STUCK = const(29)
_INDEPENDENT_CUTOFF = const(30)
_BIAS = const(600_000)
_RISE_STEP = const(3_000)
_BLANK = const(250)
_CREEP_TICKS = const(1024)
_CREEP_PA = const(150)  # 73 Pa/s: a tyre that warms in the room is not a leaking valve
_RISE_OFF = const(6_000)
_RISE_TEST = const(3_000)
_TEST_GAP = const(30)
_BOTH = const(2)  # transducers that rose
_ALONE_SLOW = const(3_000)  # Pa in 16 ticks: slower than that, a tap that lags by 20 ms is 2 kPa behind
_PLAY = const(4_000)  # Pa: 0.25 % of a span of 12 bar, by which one transducer may follow late, and noise
_ALONE_PA = const(30_000)  # Pa: as far as the transducers may differ
_STEP_LAG = const(12_000)  # faster than any fill: a hose was attached
_OVER_TICKS = const(50)
_PERIOD = const(16)
_SPENT = const(0x8000000)  # past every budget
_NO_RISE_MAX = const(32768)  # past every limit in 15 bits


def not_rising(g: ptr32, x: ptr32, read: int) -> int:
    """Return the fault of a source that runs for x[NORISE] ticks without 3 kPa gained, else 0."""
    if g[_ON] == 0 or read >= g[_NR_REF] + _RISE_STEP or read < g[_NR_REF] - _RISE_STEP:
        g[_NR_REF] = read
        g[_NR_CNT] = 0
    if g[_ON] == 0:
        return 0
    g[_NR_CNT] = g[_NR_CNT] + 1 if g[_NR_CNT] < _NO_RISE_MAX else _NO_RISE_MAX
    return _NOT_RISING if g[_NR_CNT] > x[_NORISE] else 0


def mark_both(g: ptr32):
    """Store where both transducers stand, for `who_rose`."""
    g[_REF_A] = g[_FA] >> 4
    g[_REF_B] = g[_FB] >> 4


def who_rose(g: ptr32, above: int, by: int, lag: int, baro: int) -> int:
    """Return 0 while the reading is not `by` above a reference or that says nothing yet, 1 for one transducer alone, 2 for both.

    Air raises both, each by half of that at least: less is the fault of one of them. The other may follow late by its play, and where the
    rise is fast by its tap's lag: then 30 kPa are waited for. One out of range, or a barometer that is, has a fault of its own.
    """
    if above <= by:
        return 0
    least = by >> 1
    if (g[_FA] >> 4) - g[_REF_A] > least and (g[_FB] >> 4) - g[_REF_B] > least:
        return 2
    if g[_RANGE_A] + g[_RANGE_B] + baro != 0:
        return 0
    return 1 if above > least + _PLAY and lag < _ALONE_SLOW or above > _ALONE_PA else 0


def above_lowest(g: ptr32, read: int, lag: int, active: int, testing: int) -> int:
    """Return how far the reading is above the lowest since the source went off and coasted down, in Pa."""
    g[_OFF_CNT] = 0 if active != 0 or lag > _STEP_LAG or g[_RAN] == 0 else g[_OFF_CNT] + 1
    if g[_OFF_CNT] > _BLANK + _CREEP_TICKS:
        g[_OFF_CNT] = _BLANK + 1
        g[_OFF_REF] = g[_OFF_REF] + _CREEP_PA
    if g[_OFF_CNT] <= _BLANK or read < g[_OFF_REF]:
        g[_OFF_REF] = read
        if testing == 0:
            mark_both(g)
    return read - g[_OFF_REF]


def rising_unasked(g: ptr32, x: ptr32, read: int, lag: int, active: int, testing: int, baro: int) -> int:
    """Return the fault of a reading that rises though no air was asked for, else 0: with the source off (G6), or at tick `testing` of the
    self-test, while one element alone is open (G4)."""
    above = above_lowest(g, read, lag, active, testing)
    by = _RISE_OFF
    stuck = _RISING_WHILE_OFF
    if testing != 0:
        above = read - (g[_REF_A] if g[_REF_A] > g[_REF_B] else g[_REF_B])
        by = _RISE_TEST
        stuck = _GATE_ELEMENT_STUCK if testing <= x[_TEST_LEN] + _TEST_GAP else _RELAY_STUCK
    rose = who_rose(g, above, by, lag, baro)
    return stuck if rose == _BOTH else _SENSORS_DISAGREE if rose != 0 else 0


def over_pressure(g: ptr32, read: int) -> int:
    """Return the fault of a reading over ceiling and guard band for 50 ticks once the source ran, else 0."""
    if g[_RAN] == 0 or read <= g[_CEIL] + g[_BAND] + _BIAS:
        g[_OVER] = 0
    else:
        g[_OVER] = g[_OVER] + 1 if g[_OVER] < _OVER_TICKS else _OVER_TICKS
    return _OVER_PRESSURE if g[_OVER] >= _OVER_TICKS else 0


def must_vent(cause: int) -> int:
    """Return 1 for a cause that opens the vent: air comes that the guard did not ask for."""
    return 1 if cause == _RISING_WHILE_OFF or cause == _OVER_PRESSURE or _GATE_ELEMENT_STUCK <= cause <= _INDEPENDENT_CUTOFF else 0


def charge(g: ptr32, x: ptr32, read: int):
    """Charge time and air budgets for this tick, in full until the gate has dropped out and for a late tick."""
    g[_TIME] = g[_TIME] + 1 if g[_TIME] < _SPENT else _SPENT
    gauge = read - _BIAS if read > _BIAS else 0
    rate = x[_D0] - (((gauge >> 8) * x[_D1]) >> 8)
    least = x[_D0] >> 3
    gap = x[_GAP] if x[_GAP] > _PERIOD else _PERIOD
    air = g[_AIR] + (((rate if rate > least else least) * gap) >> 4)
    g[_AIR] = air if air < _SPENT else _SPENT
