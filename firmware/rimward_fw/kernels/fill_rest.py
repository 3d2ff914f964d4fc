"""The tyre at rest: when the reading is the tyre's, what it holds, what a unit of air gives. Part of the fill kernel."""

from rimward_protocol.compat import const

from rimward_fw.kernels.fill_heat import _refer, _rest_heat
from rimward_fw.kernels.fill_numbers import _least, _most, _size, _within
from rimward_fw.kernels.fill_source import _lag

# Inputs y.
_READ = const(0)
_MEAN = const(1)
_SEAT = const(8)
_VOL = const(9)
_VOL_TOL = const(10)
_CHUCK = const(11)  # 0 pin-open, 1 pressure-open
_AMBIENT = const(12)
_KIND = const(15)
_STOP_PA = const(16)
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
_AIR = const(14)
_AIR_0 = const(15)
_AIR_REF = const(16)
_COLD_REF = const(17)
_GAIN = const(18)
_OFF = const(22)
_SEEN = const(23)
_SEATED = const(24)
_TOPS = const(25)
_LEARNT = const(26)
_CHOP = const(27)
_VOLUME = const(28)
_CALM = const(36)
_SPRING = const(37)
_MODEL = const(39)
_EG_0 = const(40)
_GAS = const(42)
_GAS_MOST = const(43)
_TYRE = const(2)  # what may be shown; -1 unknown
_BURST = const(20)  # ticks of a line's next burst
_BLEED_N = const(30)
_PEAK = const(32)
_LIFT = const(33)
_LEFT = const(34)  # of a line's burst: what is left of its lift 120 ms later
_LAST = const(35)  # ticks of a line's last burst
_SINCE_REF = const(41)
_COND = const(44)  # heat conductance of the tyre's air, 1024 = nominal
_COND_LEAST = const(45)
_LOST = const(46)
_TRIES = const(53)
_FOUND_AIR = const(55)
_RESTED = const(59)
_SHORT = const(60)  # ticks of its shortest burst that lets air in
_RELAY = const(62)  # ticks for which the relay has been closed
_JUMP_FROM = const(63)
_ROUGH = const(64)
_STOPPED = const(14)
_GONE = const(2)  # as SEEN, within a tick: the tyre is forgotten at its end
_HOSE_OR_TYRE = const(7)
_NOT_SEEN = const(65)

_SHUT_COMPRESSOR = const(40)  # gate lag, coast-down and sensors
_SHUT_LINE = const(60)  # dead time 25, coil 13, closing 20, sensors and filters 50 ms
_SHUT_BY = const(45)  # ticks after the last air: half of all cores have shut
_SHUT_FOR = const(110)  # a core that is not shut by then is a slow one, and what it falls by is flow
_OWN_FALL = const(1_300)  # Pa: what the tyre's own air falls by meanwhile
_FALL_MOST = const(16_000)
_LOOK_FROM = const(400)  # ticks after the last air, when slow cores have shut, and for 0.4 s more: a hose that holds cools by less than LEAK then
_LOOK = const(200)
_HOSE_LEAK_PA = const(8_000)
_STILL_PA = const(450)  # in 16 ticks, less what heat explains
_CALM_TICKS = const(16)
_PATIENCE = const(700)
_PATIENCE_SHUT = const(1_400)  # ticks: behind a closed core the slowest ones empty a hose into the tyre for 2 s
_BLEED_MIN = const(5)  # ticks: every opening empties the manifold as well
_COND_FIRST = const(900)
_COND_FLOOR = const(520)
_LIMP_PA = const(30_000)  # above this the tyre's shape is full
_LEARN_PA = const(8_000)
_EMPTY_PA = const(36_000)  # reading at the first rest under which the tyre began empty: widest spring and what the search let in
_VOLUME_PA = const(20_000)
_JUDGE_PA = const(90_000)  # no volume is judged under that
_STEADY = const(3_000)  # Pa in 16 ticks: faster, two taps that lag differently move the readings apart
_DEAD_WAIT = const(1_200)  # ticks: the guard waits 250 and looks for 6 kPa
_ANY_VOLUME = const(255)  # %, as in fill_plan: beads that pop into place make room, and the volume learnt is none
_KINK_PA = const(6_000)  # a core's closing from burst to burst, and heat
_EMPTIES = const(200)  # Pa in 16 ticks
_DEAD_PA = const(15_000)  # Pa: what heat and a core's closing add to a rise of half as much again as the model's; a hose holds a seventh of the smallest tyre
_DEAD_PA_FIRST = const(30_000)  # to one of two and a half times, while the volume is not learnt: another wheel of half of that is no dead end


def _go(f, state):
    """Next state."""
    f[_STATE] = state
    f[_CNT] = 0
    return 0


def _stop(f, reason):
    """Stop without latch."""
    f[_REASON] = reason
    return _go(f, _STOPPED)


def _forget(f, y):
    """Nothing is known of the tyre."""
    f[_TYRE] = -1
    f[_SEEN] = 0
    f[_LEARNT] = 0
    f[_TOPS] = 0
    f[_VOLUME] = 0
    f[_PT] = 0
    f[_COLD] = 0
    f[_EG] = 0
    f[_EG_0] = 0
    f[_SPREAD] = 0
    f[_MODEL] = 0
    f[_SINCE_REF] = 0
    f[_START] = 0
    f[_AIR_0] = f[_AIR]
    f[_AIR_REF] = f[_AIR]
    f[_COLD_REF] = 0
    f[_FOUND_AIR] = 0
    f[_TRIES] = 0
    f[_CALM] = 0
    f[_CHOP] = 0
    f[_BURST] = 3
    f[_SHORT] = 3
    f[_RELAY] = 0
    f[_LIFT] = 0
    f[_LEFT] = 0
    f[_LAST] = 0
    f[_SPRING] = 0
    f[_BLEED_N] = _BLEED_MIN
    f[_COND] = _COND_FIRST
    f[_COND_LEAST] = _COND_FLOOR
    f[_GAS] = 0
    f[_GAS_MOST] = 0
    f[_LOST] = 0
    f[_GAIN] = y[_AMBIENT] * 64 // (y[_VOL] + y[_MANIFOLD]) if y[_VOL] > 0 else 0


def _jumps(f, y):
    """Follow how far one tick moves the two readings apart while no air flows: the noise of one of them. Every tick."""
    apart = y[_READ] - y[_MEAN]
    if f[_OFF] > _SHUT_LINE and -_STEADY < _lag(f, y) < _STEADY:
        f[_ROUGH] = f[_ROUGH] + _size(apart - f[_JUMP_FROM]) - (f[_ROUGH] >> 6)
    f[_JUMP_FROM] = apart


def _dead_end(f, y):
    """1 where a tyre that was seen, or is by an open core, rises by far more than the counted air explains: the air stays in the hose, which is
    kinked, or the core is shut. The fill stops once the guard has had the time to find air that comes unasked."""
    half = f[_MODEL] >> 1
    learnt = 1 if f[_LEARNT] == 2 and y[_VOL_TOL] < _ANY_VOLUME else 0
    most = half * 3 + _DEAD_PA if learnt != 0 else half * 5 + _DEAD_PA_FIRST
    if f[_SEEN] == 0 and y[_CHUCK] != 0:
        return 0
    if _tyre_now(f, y) - f[_PT] <= most and (f[_RESTED] == 0 or y[_CHUCK] == 0 or _lag(f, y) > -_EMPTIES):
        return 0
    if f[_SEEN] != 0:
        f[_RESTED] = -1  # behind a closed core a hose that empties from there is no rest either
    if f[_OFF] >= _DEAD_WAIT and (f[_CALM] >= _CALM_TICKS or y[_CHUCK] != 0):
        f[_SEEN] = _GONE
        _stop(f, _NOT_SEEN)
    return 1


def _falls(f, y):
    """Stop without latch where a hose goes on falling behind a closed core: from above what its tyre should show now, it empties into the tyre
    through a kink; from there or below, it leaks."""
    if f[_SEEN] != 0 and _tyre_now(f, y) - f[_PT] > f[_MODEL] + (f[_MODEL] >> 2) + _KINK_PA:
        f[_SEEN] = _GONE
        return _stop(f, _NOT_SEEN)
    return _stop(f, _HOSE_OR_TYRE)


def _still(f, y):
    """1 once the flow has ended: nothing left to the slope but heat. Behind a closed core a reading that goes on falling is a leak
    of hose or chuck, and says nothing of the tyre."""
    shut = _SHUT_COMPRESSOR if y[_KIND] == 0 else _SHUT_LINE
    slope = _lag(f, y)
    if y[_CHUCK] == 0:
        limit = _STILL_PA + (_most(f[_EG], 0) >> 6)
    else:
        limit = (y[_MEAN] + y[_AMBIENT]) >> (8 if f[_SEEN] != 0 else 9)
        if y[_KIND] != 0 and f[_SEEN] != 0 and y[_READ] + f[_LIFT] >= y[_STOP_PA]:  # bursts go over the stop reading: only behind a hose that holds
            if f[_CNT] <= 1 and f[_OFF] > shut or f[_OFF] == _LOOK_FROM:
                f[_PEAK] = y[_READ]
            if f[_OFF] < _LOOK_FROM + _LOOK or f[_CNT] < _LOOK:
                return 0
            if f[_PEAK] - y[_READ] > _HOSE_LEAK_PA:
                if f[_OFF] != _LOOK_FROM + _LOOK:
                    return _falls(f, y)
                f[_PEAK] = y[_READ]  # the slowest cores still empty the hose: one more look
                f[_CALM] = -_LOOK
    f[_CALM] = f[_CALM] + 1 if f[_OFF] >= shut and slope < limit and slope > -limit else 0
    patience = _PATIENCE if y[_CHUCK] == 0 else _PATIENCE_SHUT
    if f[_CALM] < _CALM_TICKS < f[_CNT] and f[_OFF] >= patience and y[_CHUCK] != 0 and slope < 0:
        return _falls(f, y)
    return 1 if f[_CALM] >= _CALM_TICKS or f[_OFF] >= patience else 0


def _tyre_now(f, y):
    """Return the tyre's pressure from a reading at rest."""
    return y[_MEAN] - (f[_SPRING] if y[_CHUCK] != 0 else 0)


def _began_empty(f):
    """1 where the first rest behind a closed core showed next to no tyre: what it read was the core's spring."""
    return 1 if f[_START] + f[_SPRING] < _EMPTY_PA else 0


def _warm_fall(f, y):
    """Pa by which a pump's warm air in the hose has fallen since the core shut: tyre and spring then held so much more than is read at rest."""
    if y[_CHUCK] == 0 or y[_KIND] != 0:
        return 0
    fell = -_lag(f, y) * _within(f[_OFF] - _SHUT_BY, 0, _SHUT_FOR) >> 4
    return _within(fell - _OWN_FALL, 0, _FALL_MOST)


def _first_sight(f, y, pa):
    """Take the tyre as seen for the first time, at room temperature but for what the search let in. Through a held-open core the hose has taken its
    air from the tyre, which cooled by two sevenths of what it fell; some seconds later two thirds of that are left, one third at least."""
    if y[_CHUCK] == 0:
        f[_GAS_MOST] = -((pa >> 4) * y[_MANIFOLD] // _most(y[_VOL], 1) * 3 >> 1)
        f[_GAS] = f[_GAS_MOST] << 1
        f[_EG] = f[_GAS]
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
    cut = f[_CHOP] if f[_LEARNT] != 0 else 0  # short runs under the stop reading: their count is rough
    if y[_KIND] != 0:  # as that of a line's shortest bursts
        cut = 1 if f[_LEARNT] == 2 and f[_LAST] <= f[_SHORT] and y[_SEAT] > 0 and f[_SEATED] == 0 else 0
    elif y[_CHUCK] != 0 and f[_LEARNT] == 2 and ((f[_AIR] - f[_AIR_0]) >> 8) * f[_GAIN] < _LEARN_PA << 8:
        cut = 1  # short bursts while the heat is waited for: from its first look to now its excess was known too roughly
    if air == 0 or cut != 0 or f[_COLD_REF] < _LIMP_PA:
        f[_AIR_REF] = f[_AIR]
        f[_COLD_REF] = f[_COLD]
    elif rise > _LEARN_PA and air > 4096:
        nominal = y[_AMBIENT] * 64 // _most(y[_VOL], 1)
        brought = (air >> 8) * f[_GAIN] >> 8  # by what was known before
        if y[_CHUCK] != 0 and f[_TOPS] < 2 and brought < rise >> 1:  # the search's rest was read low
            f[_AIR_REF] = f[_AIR]
            f[_COLD_REF] = f[_COLD]
            return
        gain = _within((_least(rise, 1_000_000) << 8) // (air >> 8), nominal >> 2, nominal * 3)
        if f[_LEARNT] == 2:  # near the target heat and the core's closing are as large as the air's rise
            if brought < _most(_LEARN_PA, f[_SPREAD] << 2 if y[_KIND] == 0 else f[_SPREAD]):
                return
            gain = _within(gain, f[_GAIN] - (f[_GAIN] >> 2), f[_GAIN] + (f[_GAIN] >> 2))
        f[_GAIN] = gain
        f[_LEARNT] = _most(f[_LEARNT], 1)
        if y[_CHUCK] != 0 and f[_TOPS] < 2:  # the search's rest may have fallen with a leak of the hose before it was read
            f[_AIR_REF] = f[_AIR]
            f[_COLD_REF] = f[_COLD]
        elif rise > _VOLUME_PA and brought > _VOLUME_PA >> 1:
            f[_LEARNT] = 2
            f[_AIR_REF] = f[_AIR]
            f[_COLD_REF] = f[_COLD]
            if f[_COLD] > _JUDGE_PA and rise > f[_SPREAD] << 2:  # no volume is judged by a rise of which the heat may be wrong by a quarter
                f[_VOLUME] = _most(y[_AMBIENT] * 64 // f[_GAIN] - y[_MANIFOLD], 1)


def _seen_again(f, y):
    """Judge a rest after a burst into a tyre that was seen before."""
    _rest_heat(f, y, _tyre_now(f, y) + _warm_fall(f, y))
    _learn(f, y)
    f[_AIR_0] = f[_AIR]
