"""The fill's tyre: its pressure, its heat and what it will read cold. See `fill`; part of the same kernel."""

from rimward_protocol.compat import const

from rimward_fw.kernels.fill_air import _count, _lag
from rimward_fw.kernels.fill_numbers import _least, _most, _size

# As in `fill`, which tells what they are.
_MEAN = const(1)
_VOL = const(9)
_CHUCK = const(11)
_AMBIENT = const(12)
_KIND = const(15)
_CRACK = const(21)
_COOL = const(22)
_CASING = const(23)
_MANIFOLD = const(28)
_PURGE = const(4)
_SETTLING = const(8)
_BLEEDING = const(11)
_STATE = const(0)
_CNT = const(5)
_PT = const(6)
_PT_OLD = const(7)
_EG = const(8)
_THC = const(9)
_COLD = const(10)
_SLOW = const(11)
_FLOW = const(12)
_SPEED = const(13)
_AIR = const(14)
_AIR_REF = const(16)
_COLD_REF = const(17)
_GAIN = const(18)
_DROP_K = const(21)
_DROP = const(22)
_SNAP = const(23)
_OFF = const(27)
_SEEN = const(28)
_KNEE = const(29)
_BEAT = const(33)
_REF_OK = const(42)
_PULSE = const(44)
_EG_REF = const(45)
_PT_REF = const(46)
_EG_OLD = const(48)
_PT_START = const(49)
_SUPPLIED = const(50)
_SUPPLIED_REF = const(51)
_SKIN = const(54)
_SENS = const(55)
_LOOK = const(56)
_LOST = const(57)
_DRAIN = const(48)
_SHUT = const(35)
_EBB = const(400)
_EBB_LINE = const(600)


def _warmth(y, pa):
    """How much more than isothermal the pressure rises: (gamma Tin / T0 - 1) * 1024; a compressor's air comes warm."""
    if y[_KIND] != 0:
        return 410
    high = _most(pa, 0) >> 4
    return 410 + 62 * high // (high + (y[_AMBIENT] >> 4))


def _flowing(f, y):
    """Air may be on its way into the tyre: a line's manifold runs off slowly."""
    return 1 if f[_SPEED] > 0 or f[_OFF] < (_DRAIN if y[_KIND] == 0 else _EBB_LINE) else 0


def _loss(f, y):
    """What the tyre's air loses to the casing in eight ticks, Pa."""
    full = _most(f[_COLD] + y[_AMBIENT], 20_000)
    return (f[_EG] * (y[_COOL] * f[_SKIN] >> 10) + (full >> 1)) // full


def _drained(f, y):
    """No flow is left, so that the reading is the tyre's (pin-open) or the tyre's and the core's spring (just after flow)."""
    if y[_CHUCK] != 0 and y[_KIND] == 0:  # the core has shut; the warm air left in the manifold goes on falling
        return 1 if f[_OFF] >= _SHUT and _lag(f, y) > -((y[_MEAN] + y[_AMBIENT]) >> 7) else 0
    return 1 if f[_OFF] >= (_EBB if y[_KIND] == 0 else _EBB_LINE) or f[_OFF] >= _DRAIN and _size(_lag(f, y) + 2 * _loss(f, y)) < 600 else 0


def _see(f, y):
    """Readings into the tyre's pressure, where they say something of it."""
    air = _count(f, y)
    p = y[_MEAN]
    f[_SLOW] = f[_SLOW] + (((p << 4) - f[_SLOW]) >> 4)
    absolute = _most(p + y[_AMBIENT], 20_000)
    open_ = 1 if y[_CHUCK] == 0 or f[_KNEE] != 0 else 0
    crack = y[_CRACK] if y[_CHUCK] != 0 else 0
    drop = 0
    if y[_KIND] == 0:
        q = f[_FLOW] >> 4
        drop = _least(((q * q) >> 4) * f[_DROP_K] // (absolute >> 8), absolute >> 2)
        part = (drop << 10) // absolute
        drop = drop + ((((drop * part) >> 10) * (768 + part)) >> 10)
    f[_DROP] = drop
    if _flowing(f, y) != 0:
        if open_ != 0 and f[_SEEN] != 0 and f[_STATE] != _BLEEDING and (f[_PULSE] != 0 or y[_CHUCK] == 0 or f[_STATE] != _SETTLING):
            if y[_KIND] == 0:
                f[_PT] = p - crack - drop
            elif y[_CHUCK] == 0 and _drained(f, y) != 0 and f[_STATE] != _SETTLING:
                f[_PT] = p
            else:
                f[_PT] = f[_PT] + ((((air * f[_GAIN]) >> 10) * (1024 + _warmth(y, p))) >> 16)
    elif y[_CHUCK] == 0 and f[_SEEN] != 0 and f[_STATE] != _SETTLING and f[_STATE] != _BLEEDING and _drained(f, y) != 0:
        f[_PT] = p


def _over(f, y):
    """How far the tyre's pressure is over what it will be in the room: what it grew under that pressure it gives back as it cools."""
    full = _most(f[_COLD] + y[_AMBIENT], 20_000) >> 8
    return f[_EG] - ((((f[_EG] >> 4) * full) * 13) >> 16) + ((full * (f[_THC] >> 8)) >> 8)


def _held(y, pa):
    """What a line's manifold gives the tyre while that falls by `pa`, in Pa of the tyre."""
    return (_least(_most(pa, 0), 200_000) * ((y[_MANIFOLD] << 10) // _most(y[_VOL], 1) & 0xFFF)) >> 10


def _final(f, y):
    """What the tyre will read cold, with what stands in the manifold."""
    return f[_COLD] + (_held(y, f[_EG]) if y[_KIND] != 0 else 0)


def _heat(f, y):
    """Every eighth tick: what the tyre's air holds over the casing, what the casing holds over the room."""
    full = _most(f[_COLD] + y[_AMBIENT], 20_000)
    loss = _loss(f, y)
    casing = (loss * y[_CASING]) >> 8
    lost = ((full >> 8) * casing) >> 16
    if _flowing(f, y) != 0:
        c = _warmth(y, f[_PT])
        if y[_KIND] != 0 and (y[_CHUCK] != 0 or _drained(f, y) == 0 or f[_STATE] == _SETTLING):
            f[_PT] = f[_PT] - loss
        rise = _least(_most(f[_PT] - f[_PT_OLD], -400_000), 400_000)
        f[_EG] = f[_EG] + (c * rise - (loss << 10)) // (1024 + c) - lost
    else:
        f[_EG] = f[_EG] - loss - lost
    f[_EG] = _least(_most(f[_EG], -200_000), 200_000)
    f[_SENS] = f[_SENS] - (f[_SENS] * (y[_COOL] * f[_SKIN] >> 10) // full) + (loss if _flowing(f, y) == 0 else loss * 5 // 7)
    f[_LOST] = _least(f[_LOST] + loss, 100_000)
    f[_EG_OLD] = f[_EG_OLD] - (f[_EG_OLD] * y[_COOL] + (full >> 1)) // full
    f[_THC] = f[_THC] + casing - ((f[_THC] * 5) >> 16)
    if y[_CHUCK] != 0 and _flowing(f, y) == 0:
        over = _over(f, y)
        f[_COLD] = f[_COLD] + (_held(y, loss) if y[_KIND] != 0 else 0)
        f[_PT] = f[_COLD] + over  # behind a closed core the reading says nothing: the model goes on
    f[_COLD] = f[_PT] - _over(f, y)
    f[_PT_OLD] = f[_PT]


def _first_sight(f, y, pa):
    """The tyre is seen: at rest, so that what it reads is what it is, unless this fill has warmed it."""
    if f[_SEEN] != 0 and f[_STATE] == _PURGE and y[_KIND] != 0:
        f[_EG] = f[_EG] + _most(pa - f[_PT], 0) * 410 // 1434  # what the bursts of the knee brought
    f[_PT] = pa
    if f[_SEEN] == 0:
        f[_SEEN] = 1
        f[_PT_OLD] = pa
        f[_EG] = 0
        f[_THC] = 0
        f[_COLD] = pa
        f[_AIR_REF] = f[_AIR]
        f[_SUPPLIED_REF] = f[_SUPPLIED]
        f[_COLD_REF] = pa
        f[_PT_START] = pa
        f[_REF_OK] = 1 if y[_CHUCK] == 0 and f[_SPEED] == 0 else 0
    else:
        f[_PT_OLD] = pa
        f[_COLD] = pa - _over(f, y)


def _compare(f):
    """Once, when a third of the heat should be gone: what the tyre fell against what it should have, and the rest in proportion."""
    gone = f[_EG_REF] - f[_EG]
    if f[_EG_REF] > 0 and gone * 3 > f[_EG_REF]:
        fell = _least(_most(f[_PT_REF] - f[_PT], gone >> 1), gone << 1)
        f[_EG] = f[_EG] * ((fell << 8) // gone) >> 8
        f[_EG_REF] = 0


def _look(f, y):
    """A line fills so fast that the heat still has to tell how quickly it goes: once, after the first long run, the fall of the resting
    tyre is compared with what it should be. Returns 1 while it goes on."""
    if f[_LOOK] < 0 or y[_KIND] == 0 or f[_PULSE] < 500 or f[_EG] < 8_000:
        return 0
    if f[_LOOK] == 0:
        if f[_OFF] > 200:
            f[_LOOK] = -1
        elif _drained(f, y) != 0:
            f[_LOOK] = 1
            f[_CNT] = 0
        return 1
    if f[_BEAT] != 0 or f[_CNT] < 32:
        return 1
    if f[_LOOK] == 1:
        f[_LOOK] = _most(f[_SLOW] >> 4, 2)
        f[_LOST] = 0
        return 1
    if f[_CNT] < 32 + _least(f[_PULSE] >> 3, 400) and f[_OFF] < _EBB_LINE - 5:
        return 1
    lost = f[_LOST]
    fell = f[_LOOK] - (f[_SLOW] >> 4)
    fell = fell + (_held(y, f[_SNAP] - f[_LOOK]) * (5 if y[_CHUCK] == 0 else 2) >> 7)  # the manifold's air, chilled by running off, comes back to the room's warmth
    f[_LOOK] = -1
    lost = lost - _held(y, lost) - (lost >> 5)
    f[_PT] = f[_PT] + lost - fell
    if lost > 500:
        # The longer it was warm, the less the fall tells: what came in then equals what went. Weighed against 6 % that tyres differ.
        share = _most(1024 - (f[_SENS] << 10) // f[_EG], 0)
        off = _least(_most(((fell - lost) << 10) // lost, -300), 300) * share // ((share * share >> 10) + 123)
        off = _least(_most(off, -150), 150)
        f[_EG] = f[_EG] - ((f[_SENS] >> 4) * off >> 6)
        f[_SKIN] = f[_SKIN] + off
        f[_SENS] = 0
    return 0
