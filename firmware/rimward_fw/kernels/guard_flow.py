"""Guard, part: how the reading must move while the source is on and off, and what the budgets count. Thresholds: the table in `guard`."""

from rimward_protocol.compat import const, ptr32

_GAP = const(4)
_NORISE = const(12)
_D0 = const(21)
_D1 = const(22)
_CEIL = const(4)
_BAND = const(6)
_NR_REF = const(15)
_OFF_REF = const(16)
_TIME = const(18)
_AIR = const(19)
_NR_CNT = const(26)
_OFF_CNT = const(27)
_OVER = const(29)
_ON = const(36)
_RAN = const(37)
_NOT_RISING = const(21)
_RISING_WHILE_OFF = const(22)
_OVER_PRESSURE = const(23)
_GATE_ELEMENT_STUCK = const(28)
_INDEPENDENT_CUTOFF = const(30)
_BIAS = const(600_000)
_RISE_STEP = const(3_000)
_BLANK = const(250)
_CREEP_TICKS = const(1024)
_CREEP_PA = const(150)  # 73 Pa/s: a tyre that warms in the room is not a leaking valve
_RISE_OFF = const(6_000)
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


def rising_while_off(g: ptr32, read: int, lag: int, active: int) -> int:
    """Return the fault of a reading that rises with the source off, else 0 (G6): after the coast-down, against the lowest reading since."""
    if active != 0 or lag > _STEP_LAG or g[_RAN] == 0:
        g[_OFF_CNT] = 0
        g[_OFF_REF] = read
        return 0
    g[_OFF_CNT] = g[_OFF_CNT] + 1
    if g[_OFF_CNT] > _BLANK + _CREEP_TICKS:
        g[_OFF_CNT] = _BLANK + 1
        g[_OFF_REF] = g[_OFF_REF] + _CREEP_PA
    if g[_OFF_CNT] <= _BLANK or read < g[_OFF_REF]:
        g[_OFF_REF] = read
    return _RISING_WHILE_OFF if read > g[_OFF_REF] + _RISE_OFF else 0


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
