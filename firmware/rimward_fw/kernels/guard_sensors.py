"""Guard, part: plausibility of both transducers and their supply. Thresholds and windows: the table in `guard`."""

from rimward_protocol.compat import const, ptr32

_A = const(0)
_B = const(1)
_SUPPLY = const(5)
_LAST_A = const(11)
_FREF_A = const(12)
_LAST_B = const(13)
_FREF_B = const(14)
_RANGE_A = const(20)
_RANGE_B = const(21)
_DISAGREE = const(22)
_FRZ_A = const(23)
_FRZ_B = const(24)
_SUP_CNT = const(32)
_RAN = const(37)
_SENSOR_A_RANGE = const(16)
_SENSOR_B_RANGE = const(17)
_SENSORS_DISAGREE = const(18)
_SENSOR_A_FROZEN = const(19)
_SENSOR_B_FROZEN = const(20)
_SENSOR_SUPPLY = const(26)
_RATIO_LOW = const(3277)
_RATIO_HIGH = const(62259)
_SHORT = const(3)
_AGREE_16 = const(480_000)  # 30 kPa in filter units
_AGREE_TICKS = const(50)
_FROZEN_TICKS = const(50)  # as AGREE_TICKS and with less to see, so that a word that stands is named before the difference that it makes
_FROZEN_PA = const(8_000)
_SUPPLY_LOW = const(74)
_SUPPLY_HIGH = const(82)


def sensors_disagree(g: ptr32, fa: int, fb: int, lag: int, baro: int) -> int:
    """Return the fault of two transducers that differ by more than 30 kPa for 50 ticks, else 0. `baro`: without a barometer the reading of
    a sealed one says nothing; the source is off then. Before any air it is waited for as long as that may be a lagging tap: a
    hose just attached rises in 20 ms by less than `lag`, which is the rise in 32 ms."""
    if baro == 0 and (fa - fb > _AGREE_16 or fb - fa > _AGREE_16):
        g[_DISAGREE] = g[_DISAGREE] + 1 if g[_DISAGREE] < _AGREE_TICKS else _AGREE_TICKS
    else:
        g[_DISAGREE] = 0
    if g[_DISAGREE] < _AGREE_TICKS:
        return 0
    most = _AGREE_16
    if g[_RAN] == 0:
        most = most + ((lag if lag > 0 else -lag) << 4)
    return _SENSORS_DISAGREE if fa - fb > most or fb - fa > most else 0


def sensor_frozen(g: ptr32, x: ptr32, fa: int, fb: int) -> int:
    """Return the fault of a transducer whose code has not changed for 50 ticks while the other moved by 8 kPa, else 0."""
    fault = 0
    if x[_A] != g[_LAST_A]:
        g[_LAST_A] = x[_A]
        g[_FRZ_A] = 0
        g[_FREF_A] = fb >> 4
    elif g[_FRZ_A] < _FROZEN_TICKS:
        g[_FRZ_A] = g[_FRZ_A] + 1
    moved = (fb >> 4) - g[_FREF_A]
    if g[_FRZ_A] >= _FROZEN_TICKS and (moved > _FROZEN_PA or moved < -_FROZEN_PA):
        fault = _SENSOR_A_FROZEN
    if x[_B] != g[_LAST_B]:
        g[_LAST_B] = x[_B]
        g[_FRZ_B] = 0
        g[_FREF_B] = fa >> 4
    elif g[_FRZ_B] < _FROZEN_TICKS:
        g[_FRZ_B] = g[_FRZ_B] + 1
    moved = (fa >> 4) - g[_FREF_B]
    if g[_FRZ_B] >= _FROZEN_TICKS and (moved > _FROZEN_PA or moved < -_FROZEN_PA):
        fault = _SENSOR_B_FROZEN
    return fault


def sensor_range(g: ptr32, x: ptr32) -> int:
    """Return the fault of a transducer outside 5 to 95 % of its supply for 3 ticks, or of the supply itself, else 0."""
    fault = 0
    if _RATIO_LOW <= x[_A] <= _RATIO_HIGH:
        g[_RANGE_A] = 0
    else:
        g[_RANGE_A] = g[_RANGE_A] + 1 if g[_RANGE_A] < _SHORT else _SHORT
    if g[_RANGE_A] >= _SHORT:
        fault = _SENSOR_A_RANGE
    if _RATIO_LOW <= x[_B] <= _RATIO_HIGH:
        g[_RANGE_B] = 0
    else:
        g[_RANGE_B] = g[_RANGE_B] + 1 if g[_RANGE_B] < _SHORT else _SHORT
    if g[_RANGE_B] >= _SHORT:
        fault = _SENSOR_B_RANGE
    if _SUPPLY_LOW <= x[_SUPPLY] <= _SUPPLY_HIGH:
        g[_SUP_CNT] = 0
    else:
        g[_SUP_CNT] = g[_SUP_CNT] + 1 if g[_SUP_CNT] < _SHORT else _SHORT
    return _SENSOR_SUPPLY if g[_SUP_CNT] >= _SHORT else fault
