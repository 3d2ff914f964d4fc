"""The tyre at rest: when the reading is the tyre's, what it holds, what a unit of air gives. Part of the fill kernel."""

from rimward_protocol.compat import const

from rimward_fw.kernels.fill_heat import _refer, _rest_heat
from rimward_fw.kernels.fill_numbers import _least, _most, _within
from rimward_fw.kernels.fill_source import _lag

# Inputs y.
_MEAN = const(1)
_VOL = const(9)
_CHUCK = const(11)  # 0 pin-open, 1 pressure-open
_AMBIENT = const(12)
_KIND = const(15)
_CRACK = const(21)
_MANIFOLD = const(28)

# State f.
_STATE = const(0)
_REASON = const(1)
_CNT = const(5)
_PT = const(6)
_START = const(7)
_EG = const(8)
_SPREAD = const(9)
_COLD = const(10)
_SPEED = const(13)
_AIR = const(14)
_AIR_0 = const(15)
_AIR_REF = const(16)
_COLD_REF = const(17)
_GAIN = const(18)
_OFF = const(22)
_SEEN = const(23)
_LEARNT = const(26)
_VOLUME = const(28)
_BASE = const(31)
_CALM = const(36)
_SPRING = const(37)
_MODEL = const(39)
_EG_0 = const(40)
_STOPPED = const(14)
_HOSE_OR_TYRE = const(7)

_FLAT_PA = const(8_000)  # below this a reading is no tyre
_SHUT_COMPRESSOR = const(40)  # gate lag, coast-down and sensors
_SHUT_LINE = const(60)  # dead time 25, coil 13, closing 20, sensors and filters 50 ms
_STILL_PA = const(450)  # in 16 ticks, less what heat explains
_CALM_TICKS = const(16)
_PATIENCE = const(700)
_LIMP_PA = const(30_000)  # above this the tyre's shape is full
_LEARN_PA = const(8_000)
_VOLUME_PA = const(20_000)
_JUDGE_PA = const(90_000)  # no volume is judged under that
_SPRING_MIN = const(2_000)  # closing pressure of cores
_SPRING_MAX = const(28_000)
_EMPTY_PA = const(36_000)  # reading at the first rest under which the tyre began empty: widest spring and what the search let in


def _go(f, state):
    """Next state."""
    f[_STATE] = state
    f[_CNT] = 0
    return 0


def _stop(f, reason):
    """Stop without latch."""
    f[_REASON] = reason
    return _go(f, _STOPPED)


def _still(f, y):
    """1 once the flow has ended: nothing left to the slope but heat. Behind a closed core a reading that goes on falling is a leak
    of hose or chuck, and says nothing of the tyre."""
    shut = _SHUT_COMPRESSOR if y[_KIND] == 0 else _SHUT_LINE
    slope = _lag(f, y)
    if y[_CHUCK] == 0:
        limit = _STILL_PA + (_most(f[_EG], 0) >> 6)
    else:
        limit = (y[_MEAN] + y[_AMBIENT]) >> (8 if f[_SEEN] != 0 else 9)
    f[_CALM] = f[_CALM] + 1 if f[_OFF] >= shut and slope < limit and slope > -limit else 0
    if f[_CALM] < _CALM_TICKS < f[_CNT] and f[_OFF] >= _PATIENCE and y[_CHUCK] != 0 and slope < 0:
        return _stop(f, _HOSE_OR_TYRE)
    return 1 if f[_CALM] >= _CALM_TICKS or f[_OFF] >= _PATIENCE else 0


def _tyre_now(f, y):
    """Return the tyre's pressure from a reading at rest."""
    return y[_MEAN] - (f[_SPRING] if y[_CHUCK] != 0 else 0)


def _first_sight(f, y, pa):
    """Take the tyre as seen for the first time, at room temperature but for what the search let in."""
    f[_SEEN] = 1
    f[_START] = pa
    f[_PT] = pa
    f[_COLD] = pa - f[_EG]
    f[_AIR_REF] = f[_AIR]
    f[_COLD_REF] = f[_COLD]
    f[_MODEL] = 0
    f[_EG_0] = f[_EG]
    _refer(f)


def _learn(f, y):
    """Learn what a unit of air gives, between the reference and now. Nothing is learnt while the tyre's shape is limp."""
    rise = f[_COLD] - f[_COLD_REF]
    air = f[_AIR] - f[_AIR_REF]
    if f[_COLD_REF] < _LIMP_PA:
        f[_AIR_REF] = f[_AIR]
        f[_COLD_REF] = f[_COLD]
    elif rise > _LEARN_PA and air > 4096:
        nominal = y[_AMBIENT] * 64 // _most(y[_VOL], 1)
        brought = (air >> 8) * f[_GAIN] >> 8  # by what was known before
        gain = _within((_least(rise, 1_000_000) << 8) // (air >> 8), nominal >> 2, nominal << 1)
        if f[_LEARNT] == 2:  # near the target heat and the core's closing are as large as the air's rise
            if brought < _LEARN_PA:
                return
            gain = _within(gain, f[_GAIN] - (f[_GAIN] >> 2), f[_GAIN] + (f[_GAIN] >> 2))
        f[_GAIN] = gain
        f[_LEARNT] = _most(f[_LEARNT], 1)
        if rise > _VOLUME_PA and brought > _VOLUME_PA >> 1:
            f[_LEARNT] = 2
            f[_AIR_REF] = f[_AIR]
            f[_COLD_REF] = f[_COLD]
            if f[_COLD] > _JUDGE_PA and rise > f[_SPREAD] << 2:  # no volume is judged by a rise of which the heat may be wrong by a quarter
                f[_VOLUME] = _most(y[_AMBIENT] * 64 // f[_GAIN] - y[_MANIFOLD], 1)


def _seen_again(f, y):
    """Judge a rest after a burst into a tyre that was seen before."""
    _rest_heat(f, y, _tyre_now(f, y))
    _learn(f, y)
    f[_AIR_0] = f[_AIR]
