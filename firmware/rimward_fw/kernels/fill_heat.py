"""Heat of the tyre's air: one balance, and the falls at rest that correct it. Part of the fill kernel."""

from rimward_protocol.compat import const

from rimward_fw.kernels.fill_numbers import _least, _most, _size, _within

# Inputs y.
_CHUCK = const(11)  # 0 pin-open, 1 pressure-open
_AMBIENT = const(12)
_KIND = const(15)
_VOL = const(9)
_COOL = const(22)
_CASING = const(23)
_MANIFOLD = const(28)

# State f.
_PT = const(6)
_EG = const(8)
_SPREAD = const(9)
_COLD = const(10)
_AIR = const(14)
_AIR_REF = const(16)
_GAIN = const(18)
_AIR_8 = const(38)
_MODEL = const(39)
_EG_0 = const(40)
_SINCE_REF = const(41)
_GAS = const(42)
_GAS_MOST = const(43)
_COND = const(44)
_COND_LEAST = const(45)
_LOST = const(46)
_CLOCK = const(47)
_P0 = const(48)
_T1 = const(49)
_P1 = const(50)
_T2 = const(51)
_P2 = const(52)

_E_MAX = const(200_000)
_COOLED = const(300)  # ticks
_COOLED_MOST = const(900)  # four time constants
_COND_MIN = const(240)  # 1024 = 1.5 W/K for 1.15 L at 6 kg/m3 and 20 K; 0.2 to 2 cover tyres thin and thick
_COND_MAX = const(2_020)
_FIRST_LOOK = const(31)  # heat steps, half a second: the first fall
_NOISE = const(150)  # Pa, of two falls' difference
_DOUBT_MOST = const(256)  # 1/1024: of falls that bend less nothing is concluded
_SHAPE = const(80)  # 1/1024 of the excess: the exponent lies a little under 5/4, as part of the conductance is fixed
_X_LOOK = const(500)  # with more air than that between two looks, its own error outweighs what the heat did
_X_RUN = const(5_000)
_LOST_MAX = const(1_000_000)
_CLOCK_MAX = const(2_000)


def _warmth(y, pa):
    """How much more than isothermal the pressure rises, 1/1024: gamma Tin / T0 - 1. A compressor's air comes warm."""
    if y[_KIND] != 0:
        return 410
    high = _most(pa, 0) >> 4
    return 430 + 62 * high // (high + (y[_AMBIENT] >> 4))


def _root(n):
    """Square root of n up to 2^24, three Newton steps from a guess within 40 %."""
    guess = 32 if n < 4096 else 128 if n < 65536 else 512 if n < 1048576 else 2048
    guess = (guess + n // guess) >> 1
    guess = (guess + n // guess) >> 1
    return (guess + n // guess) >> 1


def _leaving(f, y, full):
    """Share of the excess that leaves in eight ticks at conductance 1024, times `full`: a quarter of it fixed, the rest natural
    convection, root of density times fourth root of excess."""
    kelvin = _size(f[_GAS]) * 16 // (full >> 12) * 4 // 60  # excess over 20 K at 293 K, 1/1024: gas / full * 293 / 20 * 1024
    dense = full // 494  # over 506 kPa (6 kg/m3), 1/1024
    ease = 256 + (_root(_least(_root(_most(kelvin << 10, 64)), 4000) * _least(dense, 4000)) * 3 >> 2)
    return y[_COOL] * ease >> 10


def _after(e, gain, lets, full):
    """Excess eight ticks later."""
    e = e + gain
    return _within(e - ((e >> 2) * lets + (full >> 3)) // (full >> 2), -_E_MAX, _E_MAX)


def _heat(f, y):
    """Every eighth tick: the excess gains what the counted air brings and loses what the conductance carries off; beside it, what it would be
    at the least conductance that is possible by what is known. The gap between the two is `SPREAD`."""
    full = _most(f[_COLD] + y[_AMBIENT], 20_000)
    air = f[_AIR] - f[_AIR_8]
    f[_AIR_8] = f[_AIR]
    rise = (air >> 4) * f[_GAIN] >> 12
    f[_MODEL] = f[_MODEL] + rise
    f[_SINCE_REF] = f[_SINCE_REF] + rise
    f[_CLOCK] = _least(f[_CLOCK] + 1, _CLOCK_MAX)
    gain = rise * _warmth(y, f[_COLD]) >> 10
    lets = _leaving(f, y, full)
    if air != 0:
        lets = lets + (lets >> 2)  # the jet stirs
    gas = f[_GAS]
    f[_GAS] = _after(gas, gain, lets * f[_COND] >> 10, full)
    f[_LOST] = _within(f[_LOST] + gas + gain - f[_GAS], 0, _LOST_MAX)
    f[_GAS_MOST] = _after(f[_GAS_MOST], gain, lets * f[_COND_LEAST] >> 10, full)
    _sum(f, full, y[_CASING])


def _sum(f, full, casing):
    """Excess of gas and casing over what remains two minutes later, when the casing has lost three eighths of its warmth; how well it is known."""
    f[_EG] = f[_GAS] + ((f[_LOST] * casing >> 16) * (full >> 4) >> 12) * 3 // 8
    f[_SPREAD] = _size(f[_GAS_MOST] - f[_GAS])


def _cooled(f, y):
    """Ticks after the last air until the manifold's own air has cooled to where its fall does not bend the tyre's. It loses 2 to 8 % of its share of
    the pressure with a time constant of 0.45 s: 1 kPa and more of a small tyre, a tenth of that of a large one."""
    return _least(_COOLED + ((f[_PT] + y[_AMBIENT]) >> 6) * y[_MANIFOLD] // _most(y[_VOL], 1), _COOLED_MOST)


def _refer(f):
    """Begin a rest: falls count from here."""
    f[_P0] = f[_PT]
    f[_T1] = 0
    f[_T2] = 0
    f[_CLOCK] = 0
    f[_SINCE_REF] = 0


def _judge(f, y):
    """Look at the tyre, `t` steps into its rest. Two falls one after the other give the excess that is left: it falls at a rate in
    proportion to itself, so the rate's own fall tells how much of it there is."""
    t = f[_CLOCK]
    if _size(f[_SINCE_REF]) > _X_LOOK:
        _refer(f)
        return
    pa = f[_PT] - (f[_SINCE_REF] * (1024 + _warmth(y, f[_PT])) >> 10)
    if f[_T1] == 0:
        if t >= _FIRST_LOOK:
            f[_T1] = t
            f[_P1] = pa
        return
    if t < f[_T1] << 1:
        return
    _two_falls(f, y, f[_P0] - f[_P1], f[_P1] - pa, f[_T1], t - f[_T1])
    if f[_T2] == 0:
        f[_T2] = t
        f[_P2] = pa
    elif t >= f[_T2] << 1:
        f[_T1] = f[_T2]
        f[_P1] = f[_P2]
        f[_T2] = 0


def _two_falls(f, y, d1, d2, n1, n2):
    """Falls of `d1` Pa in `n1` steps, then of `d2` in `n2`: excess at the middle of the second = its rate / (rates' relative fall)."""
    if d1 <= 0 or d2 <= 0 or d1 > 60_000 or d2 > 60_000:
        return
    a = d1 * n2
    b = d2 * n1
    bend = (a - b) >> 10
    if bend <= 0:
        return
    doubt = _NOISE * (n1 + n2) // bend + _SHAPE
    if doubt > _DOUBT_MOST:
        return
    mid = d2 * (n1 + n2) // n2 * 5 // 8  # five quarters for the convection's exponent
    mid = (mid >> 4) * (((a + b) >> 10) * 8 // bend)
    if mid < d2 or mid > _E_MAX:
        return
    full = _most(f[_PT] + y[_AMBIENT], 20_000)
    each = ((d2 << 13) // mid << 3) // n2  # share that left in a step, 2^-16
    cond = each * (full >> 6) // _most(_leaving(f, y, full), 1)
    left = mid - (d2 >> 1)
    if cond < _COND_MIN or cond > _COND_MAX or left * doubt >> 10 > f[_SPREAD]:
        return
    f[_GAS] = left
    f[_COND] = cond
    f[_GAS_MOST] = left + (left * doubt >> 10)
    f[_COND_LEAST] = cond - (cond * doubt >> 10)
    f[_AIR_REF] = f[_AIR]  # what was concluded with a worse excess is no reference
    _sum(f, full, y[_CASING])


def _rest_heat(f, y, pa):
    """Weigh the tyre seen at rest after a burst, hot, `pa`: what the counted air missed of the rise it missed of the heat too."""
    heat = _within(f[_EG] - f[_EG_0], 0, f[_MODEL])
    missed = _within((pa - f[_PT]) - heat - f[_MODEL], -f[_MODEL], f[_MODEL])
    part = 0
    if f[_MODEL] > _X_RUN:  # after a top-up it would be the balance's own error
        part = (missed >> 4) * (heat >> 4) // ((f[_MODEL] + heat) >> 8)
    f[_GAS] = _most(f[_GAS] + part, 0)
    f[_GAS_MOST] = _most(f[_GAS_MOST] + part, 0)
    f[_PT] = pa
    f[_MODEL] = 0
    if y[_CHUCK] != 0 or _size(f[_SINCE_REF]) > _X_LOOK:  # behind a closed core each look is wrong by 1 to 2 kPa: no two falls tell the heat
        _refer(f)
    else:
        _judge(f, y)
    _sum(f, _most(f[_COLD] + y[_AMBIENT], 20_000), y[_CASING])
    f[_EG_0] = f[_EG]
    f[_COLD] = pa - f[_EG]
