"""Fill controller of the proof bench: one pressure after the other, each held, always with a person's hand on the control.

Same subset and interface as `fill`, which it replaces when a bench is built: `step(f, y)` returns 1 WANT, 2 VENT, 4 BEEP; the
guard decides.
Levels: seating (until a person confirms the beads), the limit, 110 % of the lower maximum, then steps to the top. A level counts as held
only while the lower of the two readings stays at or above it without a break. The service job requests nothing and keeps the vent closed.
Releasing the run control or losing the lease (the board shows both alike) ends the test and opens the vent; it does not continue.
Pressures gauge pascal, times in ticks.
"""

from rimward_protocol.compat import const, ptr32

# Inputs y: 0 to 7, 16 and 18 as in `fill`.
_READ = const(0)
_MEAN = const(1)
_OUT = const(2)
_SW = const(3)
_WHY = const(4)
_CAUSE = const(5)
_JOB = const(6)
_TARGET = const(7)  # the last level
_SEAT = const(8)  # 0: no seating
_LIMIT = const(9)
_RETENTION = const(10)
_STEP = const(11)
_HOLD_SEAT = const(12)
_HOLD_LIMIT = const(13)
_HOLD_RETENTION = const(14)
_HOLD_STEP = const(15)
_RAMP = const(17)  # Pa a tick * 16
_CONN = const(18)
_RISE = const(19)  # expected rise after a pulse

_S_RUN = const(1)
_S_CONFIRM = const(64)
_S_STOP = const(256)
_S_BEAT = const(16384)  # lease running
_S_HELD = const(32768)  # run contact closed, with or without a lease
_BEAT_LOST = const(63)  # cause
_G_READY = const(16)
_G_TESTING = const(32)
_WANT = const(1)
_VENT = const(2)
_BEEP = const(4)

# States: FILL_STATES of the protocol.
_IDLE = const(0)
_READY = const(1)
_SELF_TEST = const(3)
_FILLING = const(6)
_SEAT_PAUSE = const(7)
_HOLDING = const(12)
_DONE = const(13)
_SERVICE_JOB = const(5)
_STOPPED = const(14)
_TRIPPED = const(15)

# State f: 0 to 4 as in `fill`.
_STATE = const(0)
_REASON = const(1)
_TYRE = const(2)
_CONN_F = const(3)
_JOB_F = const(4)
_CNT = const(5)  # ticks in this state
_LEVEL = const(6)
_STAGE = const(7)  # 0 seating, 1 limit, 2 retention, 3 steps
_SLOW = const(8)  # slow filter of the lower reading, * 16
_SLOWER = const(9)  # slower filter, * 128, to detect a release
_LOW = const(10)  # the lower reading, filtered
_HELD = const(11)
_AIM = const(12)  # level of the ramp, * 16
_ON = const(13)
_OFF = const(14)
_OVER = const(15)  # observed rise after a pulse
_CUT = const(16)  # lower reading at the end of the last pulse
_BEHIND = const(17)  # ticks in which the pressure did not follow the pulses
_REFUSED = const(18)  # ticks in which the guard refused air

_SETTLE = const(60)  # ticks after a pulse until its result is visible
_SPARE = const(1_500)  # aim above the level, so that it is held without a break
_LEAST = const(200)
_AHEAD = const(20_000)
_BEHIND_PA = const(15_000)
_BEHIND_TICKS = const(5_000)
_REFUSED_TICKS = const(1_000)
_LOWEST = const(-300_000)  # so that no filter passes 30 bits, whatever the reading
_HIGHEST = const(2_000_000)
_GONE_PA = const(40_000)  # below this no pressure is left to lose
_GONE_TICKS = const(250)  # the fall is recorded before the vent opens


def _least(a, b):
    """Return the smaller of two integers."""
    return a if a < b else b


def _most(a, b):
    """Return the larger of two integers."""
    return a if a > b else b


def _begin(f, y):
    """Begin a new test with cleared state."""
    f[_CONN_F] = y[_CONN]
    f[_JOB_F] = y[_JOB]
    f[_STATE] = _IDLE if y[_JOB] == 0 else _READY
    f[_REASON] = 0
    f[_TYRE] = -1
    f[_CNT] = 0
    f[_LEVEL] = 0
    f[_STAGE] = 0
    low = _least(_most(y[_MEAN], _LOWEST), _HIGHEST)
    f[_SLOW] = low << 4
    f[_SLOWER] = low << 7
    f[_LOW] = low
    f[_HELD] = 0
    f[_AIM] = 0
    f[_ON] = 0
    f[_OFF] = _SETTLE
    f[_OVER] = y[_RISE]
    f[_CUT] = 0
    f[_BEHIND] = 0
    f[_REFUSED] = 0
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


def _see(f, y):
    """Filter the lower reading twice and measure the rise after the last pulse."""
    low = _least(_most(2 * y[_MEAN] - y[_READ], _LOWEST), _HIGHEST)
    f[_SLOW] = f[_SLOW] + (((low << 4) - f[_SLOW]) >> 4)
    f[_SLOWER] = f[_SLOWER] + (((low << 7) - f[_SLOWER]) >> 7)
    f[_LOW] = f[_SLOW] >> 4
    f[_TYRE] = _most(f[_LOW], 0)
    if y[_OUT] & 1 != 0:
        f[_ON] = _least(f[_ON] + 1, 32000)
        f[_OFF] = 0
    else:
        f[_ON] = 0
        f[_OFF] = _least(f[_OFF] + 1, 32000)
        if f[_OFF] == _SETTLE and f[_CUT] > 0:
            f[_OVER] = _least(_most(f[_OVER] + ((f[_LOW] - f[_CUT] - f[_OVER]) >> 1), 0), 50_000)
    return low


def _level(f, y):
    """Pressure of the next level, Pa; 0 after the last one."""
    f[_HELD] = 0
    f[_BEHIND] = 0
    if f[_STAGE] == 0:
        f[_STAGE] = 1
        f[_LEVEL] = y[_LIMIT]
    elif f[_STAGE] == 1:
        f[_STAGE] = 2
        f[_LEVEL] = y[_RETENTION]
    elif f[_LEVEL] < y[_TARGET]:
        f[_STAGE] = 3
        f[_LEVEL] = _least(f[_LEVEL] + y[_STEP], y[_TARGET])
    else:
        f[_REASON] = 3
        _go(f, _DONE)
        return 0
    _go(f, _FILLING)
    return 1


def _hold_ticks(f, y):
    hold = y[_HOLD_STEP]
    if f[_STAGE] == 0:
        hold = y[_HOLD_SEAT]
    elif f[_STAGE] == 1:
        hold = y[_HOLD_LIMIT]
    elif f[_STAGE] == 2:
        hold = y[_HOLD_RETENTION]
    return hold


def _hold(f, y):
    """Count the time at the level; go to the next one when it is over."""
    if f[_LOW] >= f[_LEVEL]:
        f[_HELD] = f[_HELD] + 1
        if f[_STATE] == _FILLING:
            _go(f, _HOLDING)
        if f[_HELD] >= _hold_ticks(f, y):
            if f[_STAGE] == 0:
                _go(f, _SEAT_PAUSE)
            else:
                _level(f, y)
    else:
        f[_HELD] = 0
    return 0


def _air(f, y, low):
    """Pulse towards the aim, which rises no faster than the ramp. Return WANT or 0."""
    top = (f[_LEVEL] + f[_OVER] + _SPARE) << 4
    f[_AIM] = _least(_least(f[_AIM] + y[_RAMP], top), (f[_LOW] + _AHEAD + f[_OVER]) << 4)
    aim = f[_AIM] >> 4
    if f[_LOW] + f[_OVER] < aim - _BEHIND_PA:
        f[_BEHIND] = f[_BEHIND] + 1
    else:
        f[_BEHIND] = _most(f[_BEHIND] - 4, 0)
    if f[_ON] != 0:
        if low + f[_OVER] < aim:
            return _WANT
        f[_CUT] = low
        return 0
    return _WANT if f[_OFF] >= _SETTLE and f[_LOW] + f[_OVER] + _LEAST <= aim else 0


def _run(f, y, low):
    """Check the end conditions of a running test, then work on its level."""
    if y[_SW] & _S_STOP != 0 or y[_SW] & _S_RUN == 0:
        _stop(f, _BEAT_LOST if y[_SW] & (_S_HELD | _S_BEAT) == _S_HELD else 1)
        return _VENT
    before = f[_SLOWER] >> 7
    if before > _GONE_PA and f[_LOW] < before >> 1:
        return _stop(f, 7)
    f[_REFUSED] = f[_REFUSED] + 1 if y[_WHY] != 0 and y[_WHY] != 2 else 0
    if f[_REFUSED] > _REFUSED_TICKS:
        _stop(f, y[_WHY])
        return _VENT
    if f[_BEHIND] > _BEHIND_TICKS:
        _stop(f, 50)
        return _VENT
    if f[_STATE] == _SEAT_PAUSE:
        if y[_SW] & _S_CONFIRM != 0:
            _level(f, y)
            return 0
    else:
        _hold(f, y)
        if f[_STATE] == _DONE:
            return _VENT
    beep = _BEEP if f[_STATE] == _SEAT_PAUSE and f[_CNT] < 100 else 0
    return beep | _air(f, y, low)


def step(f: ptr32, y: ptr32) -> int:
    """Run one tick. `f`: state, `y`: inputs, both int32. Return WANT, VENT and BEEP bits; never raises."""
    if y[_CONN] != f[_CONN_F] or y[_JOB] != f[_JOB_F] or y[_JOB] == 0:
        _begin(f, y)
        return _VENT
    low = _see(f, y)
    f[_CNT] = _least(f[_CNT] + 1, 32000)
    s = f[_STATE]
    if y[_CAUSE] != 0:
        f[_REASON] = y[_CAUSE]
        f[_STATE] = _TRIPPED
        return _VENT
    if s == _TRIPPED:
        _stop(f, 1)
        return _VENT
    if y[_JOB] == _SERVICE_JOB:
        f[_STATE] = _IDLE
        return 0
    if s == _DONE:
        return _VENT
    if s == _STOPPED:
        return _VENT if f[_REASON] != 7 or f[_CNT] > _GONE_TICKS or y[_SW] & _S_RUN == 0 else 0
    if s == _READY or s == _SELF_TEST:
        if y[_SW] & _S_RUN == 0:
            f[_STATE] = _READY
            return _VENT
        if y[_OUT] & _G_READY != 0:
            f[_AIM] = f[_LOW] << 4
            f[_LEVEL] = y[_SEAT]
            if y[_SEAT] == 0:
                _level(f, y)
            _go(f, _FILLING)
        elif y[_OUT] & _G_TESTING != 0:
            f[_STATE] = _SELF_TEST
        return 0
    return _run(f, y, low)
