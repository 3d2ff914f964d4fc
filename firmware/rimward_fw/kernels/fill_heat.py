"""Heat of the tyre's air: five balances that differ only in how fast heat leaves, and what the rests say of each. Part of the fill kernel."""

from rimward_protocol.compat import const

from rimward_fw.kernels.fill_numbers import _least, _most, _size, _within

# Inputs y.
_CHUCK = const(11)
_AMBIENT = const(12)
_KIND = const(15)
_COOL = const(22)

# State f.
_PT = const(6)
_EG = const(8)
_SPREAD = const(9)
_COLD = const(10)
_SPEED = const(13)
_AIR = const(14)
_GAIN = const(18)
_AIR_8 = const(38)
_MODEL = const(39)
_EG_0 = const(40)
_SINCE_REF = const(41)
_E1 = const(42)
_E2 = const(43)
_E3 = const(44)
_E4 = const(45)
_E5 = const(46)
_R1 = const(47)
_R2 = const(48)
_R3 = const(49)
_R4 = const(50)
_R5 = const(51)
_J1 = const(52)
_J2 = const(53)
_J3 = const(54)
_J4 = const(55)
_J5 = const(56)

# Heat conductance of each balance, 1024 = 1.5 W/K for 1.15 L at 6 kg/m3 and 20 K; 0.2 to 2 cover tyres thin and thick, each 1.7 times the one before.
_U1 = const(240)
_U2 = const(410)
_U3 = const(700)
_U4 = const(1190)
_U5 = const(2020)

_E_MAX = const(200_000)
_J_MAX = const(1_000_000)
_J_OLD = const(8_000)
_J_FLOOR = const(400)  # (64 Pa / 8)^2 six times: noise of a rest's mean
_X_OPEN = const(500)  # with more air than that between two looks, its own error outweighs what the heat did; held open, the tyre shows itself without
_X_SHUT = const(4_000)
_X_RUN = const(5_000)


def _warmth(y, pa):
    """How much more than isothermal the pressure rises, 1/1024: gamma Tin / T0 - 1. A compressor's air comes warm."""
    if y[_KIND] != 0:
        return 410
    high = _most(pa, 0) >> 4
    return 430 + 62 * high // (high + (y[_AMBIENT] >> 4))


def _root(n):
    """Square root of n up to 2^24, two Newton steps from a guess within 40 %."""
    guess = 32 if n < 4096 else 128 if n < 65536 else 512 if n < 1048576 else 2048
    guess = (guess + n // guess) >> 1
    guess = (guess + n // guess) >> 1
    return (guess + n // guess) >> 1


def _ease(f, y, full):
    """Conductance now over that at 6 kg/m3 and 20 K, 1/1024: a quarter fixed, the rest natural convection, root of density times fourth root of excess."""
    kelvin = _size(f[_EG]) * 16 // (full >> 12) * 4 // 60  # excess over 20 K at 293 K, 1/1024: eg / full * 293 / 20 * 1024
    dense = full // 494  # over 506 kPa (6 kg/m3), 1/1024
    return 256 + (_root(_least(_root(_most(kelvin << 10, 64)), 4000) * _least(dense, 4000)) * 3 >> 2)


def _loss(e, ease, full, cool, u):
    """What a balance with conductance `u` loses in eight ticks, Pa."""
    return ((e >> 2) * ((cool * u >> 10) * ease >> 10) + (full >> 3)) // (full >> 2)


def _heat(f, y):
    """Every eighth tick: each balance gains what the counted air brings and loses what its conductance lets go."""
    full = _most(f[_COLD] + y[_AMBIENT], 20_000)
    ease = _ease(f, y, full)
    air = f[_AIR] - f[_AIR_8]
    f[_AIR_8] = f[_AIR]
    rise = (air >> 4) * f[_GAIN] >> 12
    f[_MODEL] = f[_MODEL] + rise
    f[_SINCE_REF] = f[_SINCE_REF] + rise
    gain = rise * _warmth(y, f[_COLD]) >> 10
    if air != 0:
        ease = ease + 220  # the jet stirs
    cool = y[_COOL]
    f[_E1] = _within(f[_E1] + gain - _loss(f[_E1], ease, full, cool, _U1), -_E_MAX, _E_MAX)
    f[_E2] = _within(f[_E2] + gain - _loss(f[_E2], ease, full, cool, _U2), -_E_MAX, _E_MAX)
    f[_E3] = _within(f[_E3] + gain - _loss(f[_E3], ease, full, cool, _U3), -_E_MAX, _E_MAX)
    f[_E4] = _within(f[_E4] + gain - _loss(f[_E4], ease, full, cool, _U4), -_E_MAX, _E_MAX)
    f[_E5] = _within(f[_E5] + gain - _loss(f[_E5], ease, full, cool, _U5), -_E_MAX, _E_MAX)
    _weigh(f)


def _weight(j, best):
    """Weight of a balance, 1/1024: inverse fourth power of its misfit over the best one's."""
    w = 1024 * (best + _J_FLOOR) // (j + _J_FLOOR)
    w = w * w >> 10
    return w * w >> 10


def _weigh(f):
    """Excess as the weighted mean of the balances, and how far they lie apart."""
    best = _least(_least(_least(f[_J1], f[_J2]), _least(f[_J3], f[_J4])), f[_J5])
    w1 = _weight(f[_J1], best)
    w2 = _weight(f[_J2], best)
    w3 = _weight(f[_J3], best)
    w4 = _weight(f[_J4], best)
    w5 = _weight(f[_J5], best)
    all_ = w1 + w2 + w3 + w4 + w5
    e = (f[_E1] * w1 + f[_E2] * w2 + f[_E3] * w3 + f[_E4] * w4 + f[_E5] * w5) // all_
    d = _size(f[_E1] - e) * w1 + _size(f[_E2] - e) * w2 + _size(f[_E3] - e) * w3 + _size(f[_E4] - e) * w4 + _size(f[_E5] - e) * w5
    f[_EG] = e
    f[_SPREAD] = d // all_


def _refer(f):
    """What each balance says the cold tyre holds, to be compared with at the next rests."""
    f[_R1] = f[_PT] - f[_E1]
    f[_R2] = f[_PT] - f[_E2]
    f[_R3] = f[_PT] - f[_E3]
    f[_R4] = f[_PT] - f[_E4]
    f[_R5] = f[_PT] - f[_E5]
    f[_SINCE_REF] = 0


def _misfit(j, wrong):
    """Misfit with one more comparison: `wrong` Pa between what a balance said and what came."""
    part = _least(_size(wrong), 8_000) >> 3
    return _least(j + part * part, _J_MAX)


def _judge(f):
    """At rest: under the right balance the cold tyre holds what it held at the reference, plus the counted air."""
    cold = f[_PT] - f[_SINCE_REF]
    f[_J1] = _misfit(f[_J1], cold - f[_E1] - f[_R1])
    f[_J2] = _misfit(f[_J2], cold - f[_E2] - f[_R2])
    f[_J3] = _misfit(f[_J3], cold - f[_E3] - f[_R3])
    f[_J4] = _misfit(f[_J4], cold - f[_E4] - f[_R4])
    f[_J5] = _misfit(f[_J5], cold - f[_E5] - f[_R5])
    if _least(_least(_least(f[_J1], f[_J2]), _least(f[_J3], f[_J4])), f[_J5]) > _J_OLD:  # all differ: the older comparisons count half
        f[_J1] = f[_J1] >> 1
        f[_J2] = f[_J2] >> 1
        f[_J3] = f[_J3] >> 1
        f[_J4] = f[_J4] >> 1
        f[_J5] = f[_J5] >> 1
    _weigh(f)


def _rest_heat(f, y, pa):
    """The tyre seen at rest after a burst, hot, `pa`: what the counted air missed of the rise it missed of the heat too."""
    c = _warmth(y, pa) * 3 >> 2  # a quarter of it has gone again
    missed = (pa - f[_PT]) - (f[_EG] - f[_EG_0]) - f[_MODEL]
    missed = _within(missed, -f[_MODEL], f[_MODEL]) if f[_MODEL] > _X_RUN else 0  # after a top-up it would be the balances' own error
    part = missed * c // (1024 + c)
    f[_E1] = _most(f[_E1] + part, 0)
    f[_E2] = _most(f[_E2] + part, 0)
    f[_E3] = _most(f[_E3] + part, 0)
    f[_E4] = _most(f[_E4] + part, 0)
    f[_E5] = _most(f[_E5] + part, 0)
    f[_PT] = pa
    f[_MODEL] = 0
    if _size(f[_SINCE_REF]) > (_X_OPEN if y[_CHUCK] == 0 else _X_SHUT):
        _refer(f)
    else:
        _judge(f)
    _weigh(f)
    f[_EG_0] = f[_EG]
    f[_COLD] = pa - f[_EG]
