"""Guard, part: its own memory, its inputs and its limits are checked before anything is decided. See `guard`."""

from rimward_protocol.compat import const, ptr32

_A = const(0)
_B = const(1)
_SW = const(2)
_LOAD = const(3)
_GAP = const(4)
_SUPPLY = const(5)
_AMBIENT = const(6)
_CEIL_PA = const(7)
_BAND_PA = const(8)
_RISE_PA = const(9)
_AIR_MAX = const(10)
_TIME_MAX = const(11)
_NORISE = const(12)
_TEST_LEN = const(13)
_CONN = const(14)
_CHK = const(15)
_FLAGS = const(16)
_GAIN_A = const(17)
_OFF_A = const(18)
_GAIN_B = const(19)
_OFF_B = const(20)
_D0 = const(21)
_D1 = const(22)
_HORIZON = const(23)
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
_LAST_A = const(11)
_FREF_A = const(12)
_LAST_B = const(13)
_FREF_B = const(14)
_NR_REF = const(15)
_OFF_REF = const(16)
_REF_A = const(17)
_TIME = const(18)
_AIR = const(19)
_RANGE_A = const(20)
_RANGE_B = const(21)
_DISAGREE = const(22)
_FRZ_A = const(23)
_FRZ_B = const(24)
_ON_TICKS = const(25)
_NR_CNT = const(26)
_OFF_CNT = const(27)
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
_SEEN = const(40)
_STOOD = const(41)
_SINCE = const(42)
_AT_AMBIENT = const(43)
_LIFT = const(44)
_BURST_FROM = const(45)
_BURST_PEAK = const(46)
_BURST_MORE = const(47)
_REF_B = const(48)
_HIGH_CEIL = const(900_000)
_BAND_MIN = const(1_000)
_RISE_MIN = const(500)
_HORIZON_MIN = const(8)
_TEST_MIN = const(50)
_D0_MIN = const(8)  # below this the air budget would stand still
_OFF_MIN = const(-400_000)
_OFF_MAX = const(600_000)
_GAIN_MIN = const(9_000)  # full scale under 9.2 bar would read low
_ZERO_MIN = const(-30_000)  # lowest reading at 9.4 % of supply; less would read low
_CHECK = const(0x1FFFFFFF)  # slow words and check word add up to this
_WORD = const(0xFFFFF)  # CEIL + CEIL_N
_CAUSE_SUM = const(255)  # CAUSE + CAUSE_N
_ZERO_STEPS = const(12)  # 9.4 % of supply in units of the gain


def memory_damaged(g: ptr32) -> int:
    """Return 1 unless every word of the state lies inside its width and the complements fit, whose sums stay small only then."""
    if (
        (g[_CAUSE] | g[_CAUSE_N] | g[_STOP] | g[_WHY] | g[_REST] | g[_WARM] | g[_SINCE] | g[_AT_AMBIENT] | g[_BURST_MORE]) >> 8 != 0
        or (g[_RANGE_A] | g[_RANGE_B] | g[_DISAGREE] | g[_OVER] | g[_KEY_CNT] | g[_CUT_CNT] | g[_SUP_CNT] | g[_BARO_CNT]) >> 8 != 0
        or (g[_ON] | g[_RAN] | g[_ARMED] | g[_SEEN]) >> 1 != 0
        or (g[_CEIL] | g[_CEIL_N] | g[_BAND]) >> 20 != 0
    ):
        return 1
    if (
        g[_CEIL] > _HIGH_CEIL
        or (g[_FA] | g[_FB] | g[_SL]) >> 26 != 0
        or (g[_FREF_A] | g[_FREF_B] | g[_NR_REF] | g[_OFF_REF] | g[_REF_A] | g[_REF_B] | g[_READ] | g[_STOOD] | g[_LIFT] | g[_BURST_FROM] | g[_BURST_PEAK]) >> 22 != 0
        or (g[_LAST_A] | g[_LAST_B] | g[_FRZ_A] | g[_FRZ_B] | g[_ON_TICKS] | g[_NR_CNT] | g[_OFF_CNT] | g[_TEST] | g[_CONN_G]) >> 16 != 0
        or (g[_TIME] | g[_AIR]) >> 28 != 0
    ):
        return 1
    return 1 if g[_CAUSE] + g[_CAUSE_N] != _CAUSE_SUM or g[_CEIL] + g[_CEIL_N] != _WORD else 0


def inputs_damaged(x: ptr32) -> int:
    """Return 1 unless every input lies inside its width, so that no sum or product can pass 30 bits."""
    if (
        (x[_AMBIENT] | x[_BAND_PA] | x[_RISE_PA]) >> 17 != 0
        or x[_CEIL_PA] >> 20 != 0
        or x[_CEIL_PA] > _HIGH_CEIL
        or (x[_AIR_MAX] | x[_TIME_MAX]) >> 27 != 0
        or (x[_D0] | x[_D1]) >> 12 != 0
        or x[_HORIZON] >> 6 != 0
    ):
        return 1
    if (x[_NORISE] | x[_CONN]) >> 15 != 0 or x[_TEST_LEN] >> 12 != 0 or x[_FLAGS] >> 4 != 0 or (x[_GAIN_A] | x[_GAIN_B]) >> 14 != 0:
        return 1
    if x[_OFF_A] < _OFF_MIN or x[_OFF_A] > _OFF_MAX or x[_OFF_B] < _OFF_MIN or x[_OFF_B] > _OFF_MAX:
        return 1
    return 1 if x[_CHK] >> 29 != 0 or (x[_A] | x[_B] | x[_SW]) >> 16 != 0 or (x[_LOAD] | x[_GAP] | x[_SUPPLY]) >> 8 != 0 else 0


def limits_whole(x: ptr32) -> int:
    """Return 1 if the slow words add up with their check word and none is looser than what is compiled in."""
    total = x[_CEIL_PA] + x[_BAND_PA] + x[_RISE_PA] + x[_AIR_MAX] + x[_TIME_MAX] + x[_NORISE] + x[_TEST_LEN] + x[_CONN]
    total = total + x[_FLAGS] + x[_GAIN_A] + x[_OFF_A] + x[_GAIN_B] + x[_OFF_B] + x[_D0] + x[_D1] + x[_HORIZON]
    if total + x[_CHK] != _CHECK or x[_BAND_PA] < _BAND_MIN or x[_RISE_PA] < _RISE_MIN:
        return 0
    if x[_HORIZON] < _HORIZON_MIN or x[_TEST_LEN] < _TEST_MIN or x[_D0] < _D0_MIN:
        return 0
    if x[_GAIN_A] < _GAIN_MIN or x[_OFF_A] + x[_GAIN_A] * _ZERO_STEPS < _ZERO_MIN:
        return 0
    return 0 if x[_GAIN_B] < _GAIN_MIN or x[_OFF_B] + x[_GAIN_B] * _ZERO_STEPS < _ZERO_MIN else 1
