"""How the fill finds the tyre behind its core, and learns its volume. See `fill`; part of the same kernel."""

from rimward_protocol.compat import const

from rimward_fw.kernels.fill_air import _lag, _rate
from rimward_fw.kernels.fill_numbers import _least, _most, _size
from rimward_fw.kernels.fill_tyre import _drained, _first_sight, _warmth

# As in `fill`, which tells what they are.
_MEAN = const(1)
_VOL = const(9)
_VOL_TOL = const(10)
_CHUCK = const(11)
_AMBIENT = const(12)
_D0 = const(13)
_KIND = const(15)
_STOP_PA = const(16)
_CRACK = const(21)
_COOL = const(22)
_MANIFOLD = const(28)
_PROBING = const(9)
_STOPPED = const(14)
_STATE = const(0)
_REASON = const(1)
_CNT = const(5)
_PT = const(6)
_EG = const(8)
_THC = const(9)
_COLD = const(10)
_FLOW = const(12)
_AIR = const(14)
_AIR_0 = const(15)
_AIR_REF = const(16)
_COLD_REF = const(17)
_GAIN = const(18)
_DROP_K = const(21)
_DROP = const(22)
_SNAP = const(23)
_SNAP_FLOW = const(24)
_SNAP_AIR = const(25)
_ON = const(26)
_OFF = const(27)
_SEEN = const(28)
_KNEE = const(29)
_LEARNT = const(32)
_CHOP = const(34)
_VOLUME = const(36)
_REF_OK = const(42)
_BASE = const(40)
_PEAK = const(41)
_CALM = const(43)
_PULSE = const(44)
_EG_START = const(47)
_EG_OLD = const(48)
_PT_START = const(49)
_SUPPLIED = const(50)
_SUPPLIED_REF = const(51)
_GAIN_S = const(53)
_LIFT = const(58)
_EBB = const(400)
_EBB_LINE = const(600)
_FLAT_PA = const(8_000)
_BURST = const(10)
_CALM_TICKS = const(12)
_RUNS_OFF_PA = const(800)  # in 16 ticks


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
    """No tyre that holds air loses a quarter of its absolute pressure within a fill, nor does what a line leaves in the manifold cool by that."""
    return 1 if f[_REF_OK] == 1 and (pa + y[_AMBIENT]) * 4 < (f[_PT] + y[_AMBIENT]) * 3 else 0


def _hides(f, y):
    """Behind a core that has just shut a line's manifold holds what the tyre does. Where it runs off or has emptied the hose leaks, and its
    reading says nothing of the tyre."""
    if f[_OFF] >= _EBB_LINE and _lag(f, y) < -_RUNS_OFF_PA:
        return 1
    return 1 if f[_PULSE] != 0 and f[_REF_OK] != 0 and _drained(f, y) != 0 and (y[_MEAN] < _FLAT_PA or _below(f, y, y[_MEAN]) != 0) else 0


def _knee(f, y):
    """Where flow starts. Returns 1 to go on, 0 to rest.

    Compressor: behind a closed core the manifold alone rises steeply, then the tyre takes the air. Line: it outruns the core, so short
    bursts are made; what a burst raised stays behind a closed core, but for its warmth, and runs off through an open one.
    """
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
                return _stop(f, 49)  # a tyre that still hides behind its core may be over its limit: no burst that could open it
        f[_PEAK] = p
        if f[_ON] >= (2 if f[_STATE] == _PROBING else 1 if f[_LIFT] == 0 or f[_BASE] + 5 * lift > y[_STOP_PA] else _BURST):
            f[_CHOP] = 1
        return 1 - f[_CHOP]
    f[_PEAK] = _most(f[_PEAK], p)
    if f[_LIFT] == 0 and f[_OFF] == 16:
        f[_LIFT] = _most(f[_PEAK] - f[_BASE], 1)
    if f[_OFF] >= 40:
        kept = f[_PEAK] - f[_BASE] - (f[_PEAK] - p) * 5
        if f[_PEAK] - f[_BASE] < 2 * f[_LIFT]:  # a short burst loses more of it to the manifold's wall, with what is left of earlier ones' heat
            kept = 3 * (f[_PEAK] - f[_BASE]) - (f[_PEAK] - p) * 5
        if kept >= 0 or p < _FLAT_PA:
            f[_CHOP] = 0
        elif _lag(f, y) > -((p + y[_AMBIENT]) >> 6) or f[_OFF] > 150:
            if f[_SEEN] != 0 and _below(f, y, p - y[_CRACK]) != 0:
                return _stop(f, 50)
            f[_CHOP] = 0
            f[_KNEE] = 1
            _first_sight(f, y, p - y[_CRACK])
            f[_AIR_0] = f[_AIR]
    return 0


def _learn(f, y):
    """At rest after a pulse: the flow drop, and the pressure that a unit of air gives."""
    if f[_OFF] <= (_EBB if y[_KIND] == 0 else _EBB_LINE):
        now = y[_MEAN] + (_lag(f, y) >> 1) - (y[_CRACK] if y[_CHUCK] != 0 else 0)
        c = _warmth(y, now)
        if f[_REF_OK] == 0 and y[_KIND] != 0:  # the first bursts have heated what stands in the manifold: the next one tells
            f[_REF_OK] = 2
            return 1
        if f[_LEARNT] == 0 and y[_KIND] == 0:  # the flow drop is rough: air and time since say better how warm it is
            came = ((f[_AIR] - f[_AIR_REF]) >> 8) * f[_GAIN] >> 8
            if f[_REF_OK] != 0:
                came = (_least(now - f[_COLD_REF], 400_000) << 10) // (1024 + c)
            age = (f[_PULSE] >> 1) + f[_OFF]
            left = _most(1024 - _least(age, 2000) * y[_COOL] // (_most(now + y[_AMBIENT], 20_000) >> 7), 0)
            f[_EG] = (came * c >> 10) * left >> 10
            f[_THC] = 0
        else:  # heat of this pulse goes with what the pressure rose in it
            gone = f[_EG_START] - f[_EG_OLD]
            model = _least(_most(f[_PT] - f[_PT_START] + gone, 500), 1_000_000)
            rose = _least(_most(now - f[_PT_START] + gone, model >> 1), model << 1)
            f[_EG] = f[_EG_OLD] + (((f[_EG] - f[_EG_OLD]) * ((rose << 10) // model)) >> 10)
        _first_sight(f, y, now)
        f[_PT] = now
    came = f[_AIR] - f[_AIR_REF]
    given = f[_SUPPLIED] - f[_SUPPLIED_REF]
    rise = f[_COLD] - f[_COLD_REF]
    after = ((f[_AIR] - f[_SNAP_AIR]) >> 8) * f[_GAIN] >> 8
    drop = f[_SNAP] - y[_MEAN] + after
    q = f[_SNAP_FLOW]
    if y[_KIND] == 0 and q > 200 and drop > 1000:
        absolute = f[_SNAP] + y[_AMBIENT]
        drop = drop - (((drop >> 4) * (drop >> 4) // (absolute >> 8)) * 3 >> 2)
        f[_DROP_K] = _least(_most(drop * (absolute >> 8) // ((q * q) >> 4), 100), 6000) if drop < 40_000 else f[_DROP_K]
    if f[_REF_OK] != 1:
        f[_REF_OK] = 1
        f[_AIR_REF] = f[_AIR]
        f[_SUPPLIED_REF] = f[_SUPPLIED]
        f[_COLD_REF] = f[_COLD]
    elif rise > (4_000 if f[_LEARNT] == 0 else 10_000) and came > 4096:
        gain = (_least(rise, 1_000_000) << 8) // (came >> 8)
        fresh = 1 - f[_LEARNT]
        nominal = y[_AMBIENT] * 64 // _most(y[_VOL], 1)
        f[_GAIN] = _least(_most(gain, nominal >> 1), nominal << 1)
        if given > 4096:
            f[_GAIN_S] = _least(_most((_least(rise, 1_000_000) << 8) // (given >> 8), nominal >> 1), nominal << 1)
        f[_LEARNT] = 1
        if rise > 6_000:
            f[_AIR_REF] = f[_AIR]
            f[_SUPPLIED_REF] = f[_SUPPLIED]
            f[_COLD_REF] = f[_COLD]
            # Near stall, and through valves that chop, the delivery is too little known.
            if _rate(y) > y[_D0] >> 2 and given > 4096 and (y[_KIND] == 0 or fresh != 0):
                f[_VOLUME] = _most(y[_AMBIENT] * 64 // _most((_least(rise, 1_000_000) << 8) // (given >> 8), 1) - y[_MANIFOLD], 1)
                if _size(f[_VOLUME] - y[_VOL]) * 100 > y[_VOL] * y[_VOL_TOL]:
                    return 0
    return 1
