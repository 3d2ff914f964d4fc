"""Arming's integers against exact fractions of the same physics, on a grid: each is the fraction rounded down once, at any place and pressure."""

from fractions import Fraction
from math import floor, isqrt
from typing import Any

import pytest
from rimward_fw.control import arming, configuration
from rimward_protocol import codes

AMBIENTS = (74_692, 89_875, 98_945, 101_325, 104_000)
PRESSURES = (100, 256, 1_000, 30_000, 123_456, 300_000, 450_000, 812_345)
# a source that loses much at both ends of its table, where a real one loses nothing or everything
STEEP = configuration.HARDWARE[0] | {
    "loss": (300, 200, 900, 100, 640, 333, 512, 77, 801, 64, 450, 1_000)
}
RIGS = (*configuration.HARDWARE, STEEP)


@pytest.mark.parametrize("ambient", AMBIENTS)
@pytest.mark.parametrize("rig", RIGS)
def test_flow_and_loss(rig: Any, ambient: int) -> None:
    free = arming.free_air(rig, ambient)
    if rig["delivery_per_bar"]:
        supply = Fraction(rig["delivery_per_bar"] * 16 * (rig["supply_pa"] + ambient), 100)
        assert free == floor(floor(supply) / Fraction(ambient))
    else:
        assert free == 16 * rig["delivery"]
    for pa in (0, *PRESSURES, *range(256, 900_000, 1_999)):
        lost, units = arming.loss_1024(rig, ambient, pa), max(pa // 256, 1)
        share = Fraction(lost, 1024)
        assert arming.straight_loss(rig, ambient, pa) == floor(share * (free // 16) * 256 / units)
        half = free * arming.loss_1024(rig, ambient, pa // 2)
        whole = free * lost
        assert arming.curved_loss(rig, ambient, pa) == (
            floor(Fraction(4 * half - whole, 4 * units)),
            floor(Fraction((4 * half - 2 * whole) * 1024, units**2)),
        )


@pytest.mark.parametrize("ambient", AMBIENTS)
@pytest.mark.parametrize("rig", RIGS)
def test_the_table_of_losses_between_its_rows(rig: Any, ambient: int) -> None:
    """Rows at whole multiples of a tenth of the supply, or of the ambient pressure; 64 steps between two; flat outside."""
    unit = (rig["supply_pa"] + ambient) // 10 if rig["delivery_per_bar"] else ambient
    table = rig["loss"]
    for pa in (*range(0, 1_200_000, 7_919), 5_000_000):
        step = floor(Fraction((pa + ambient) * 64, unit)) - 64
        row = min(max(floor(Fraction(step, 64)), 0), 10)
        part = min(max(step - 64 * row, 0), 64)
        low, high = table[row : row + 2]
        assert arming.loss_1024(rig, ambient, pa) == low + floor(Fraction((high - low) * part, 64))


@pytest.mark.parametrize("d0", [1, 7, 8, 64, 500])
@pytest.mark.parametrize("d1", [0, 1, 9, 40])
def test_the_rate_that_is_counted(d0: int, d1: int) -> None:
    for pa in PRESSURES:
        lost = floor(Fraction(pa // 256 * d1, 256))
        assert arming.rate_at(d0, d1, pa) == max(d0 - lost, d0 // 8, 1)


@pytest.mark.parametrize("ambient", AMBIENTS)
def test_times_drops_and_heat(ambient: int) -> None:
    for wanted, volume, rate in ((6_000, 1_257, 64), (250_000, 7_575, 311), (1, 300, 1)):
        ticks = Fraction(wanted * 64 * volume, ambient * rate)
        assert arming.gain_ticks(wanted, volume, ambient, rate) == floor(ticks) + 1
    for rig in RIGS:
        share = floor(Fraction(ambient * 1024, 101_325))
        once = floor(Fraction(rig["drop"] * share, 1024))
        assert arming.drop_word(rig, ambient) == floor(Fraction(once * share, 1024))
    # from 7,446 on: sizes whose root, or word, a millionth more would change
    for volume in (300, 1_149, 6_060, 16_000, 7_446, 8_706, 318, 784):
        for t0 in (25_315, 29_315, 31_815):
            skin = isqrt(volume * 10_000_000 // configuration.HEAT_ML_X10)
            cool = Fraction(4 * 16 * configuration.GAS_MW_K * skin * t0, volume * 1_000_000)
            taken = floor(Fraction(t0 * configuration.CASING_J_K * skin, 100))
            casing = floor(Fraction(volume * 2**30, taken)) // 100
            assert arming.heat_words(volume, t0) == (floor(cool), casing)


RIDE = {
    "limit_pa": 500_000, "ceiling_pa": 480_000, "target_pa": 380_000, "ambient_min_pa": 75_634, "temp_max_ck": 31_815, "ref_temp_ck": 29_115,
    "flags": codes.FLAG_RIDE_STATED,
}  # fmt: skip


@pytest.mark.parametrize("ambient", (*AMBIENTS, 70_000))
@pytest.mark.parametrize("t0", [25_315, 29_115, 31_815, 33_000])
def test_ceiling_and_target_here(ambient: int, t0: int) -> None:
    """(L + lowest ambient) T0 / hottest - ambient, whichever of ride and place is lower and hotter; the target by its reference temperature."""
    lowest, hottest = min(75_634, ambient), max(31_815, t0)
    cold = floor(Fraction((500_000 + lowest) * t0, hottest)) - ambient
    assert arming.cold_limit_pa(RIDE, ambient, t0) == cold
    assert arming.ceiling_here_pa(RIDE, ambient, t0) == min(cold, 480_000) // 1000 * 1000
    target = floor(Fraction((380_000 + ambient) * t0, 29_115)) - ambient
    assert arming.target_here_pa(RIDE, ambient, t0) == target
    for flags in (0, codes.FLAG_RIDE_STATED | codes.FLAG_LIMIT_AT_FILL, codes.FLAG_LIMIT_AT_FILL):
        assert arming.cold_limit_pa(RIDE | {"flags": flags}, ambient, t0) == 500_000
