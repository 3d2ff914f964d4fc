"""Arming: the numbers that both kernels get, against literals and against what the design says of them."""

import math
import re
from pathlib import Path

import pytest
from rimward_fw.control import arming, configuration
from rimward_fw.kernels import guard
from rimward_protocol import codes, replies
from rimward_protocol.kernel_slots import FILL_SLOW, check_word
from rimward_protocol.kernel_words import FILL_INPUT, GUARD_INPUT

PROFILE = {
    "limit_pa": 500_000, "ceiling_pa": 500_000, "target_pa": 380_000, "seat_pause_pa": 0, "ambient_min_pa": 75_634, "temp_max_ck": 31_815,
    "ref_temp_ck": 29_115, "flags": codes.FLAG_RIDE_STATED, "volume_low_ml": 1148, "volume_ml": 1257, "time_budget_s": 600, "rim_class": 2,
    "chuck": codes.CHUCK_PIN_OPEN,
}  # fmt: skip
HERE = {"ambient_pa": 98_945, "t0_ck": 29_115, "guard_pa": 0, "conn": 3, "job": 1}


def words(profile=PROFILE, here=HERE, kind=configuration.COMPRESSOR):
    code, xs, ys = arming.limits(profile, configuration.HARDWARE[kind], here)
    return (
        code,
        dict(zip(GUARD_INPUT[6:], xs, strict=True)),
        dict(zip(FILL_INPUT[FILL_SLOW:], ys, strict=True)),
    )


def test_the_ride_lowers_the_ceiling():
    """18 C at 200 m to 45 C at 2,400 m: F = 427,837 Pa (US Standard Atmosphere 1976 and ideal gas, computed apart), rounded down to 1 kPa."""
    assert arming.cold_limit_pa(PROFILE, 98_945, 29_115) in (427_835, 427_836, 427_837)
    assert words()[1]["ceil_pa"] == 427_000


def test_without_a_ride_the_limit_holds_at_the_fill():
    assert words(PROFILE | {"flags": 0})[1]["ceil_pa"] == 500_000


def test_the_profiles_ceiling_is_never_passed():
    assert words(PROFILE | {"ceiling_pa": 400_000, "target_pa": 300_000})[1]["ceil_pa"] == 400_000


@pytest.mark.parametrize("ambient", [74_692, 98_945, 101_325, 104_000])
@pytest.mark.parametrize("t0", [27_315, 29_315, 31_000, 32_000])
def test_f_is_never_above_the_limit(ambient, t0):
    assert arming.cold_limit_pa(PROFILE, ambient, t0) <= 500_000


def test_the_target_is_meant_at_its_reference_temperature():
    cold = arming.target_here_pa(PROFILE | {"ref_temp_ck": 29_315}, 101_325, 27_315)
    assert cold == 347_161  # (380000 + 101325) * 273.15 / 293.15 - 101325 = 347161.9, rounded down


@pytest.mark.parametrize(
    "target, code",
    [
        (410_000, replies.OK),
        (416_000, replies.TARGET_ABOVE_STOP),
        (417_001, replies.TARGET_ABOVE_STOP),
    ],
)
def test_a_target_the_stop_reading_cuts_off_is_refused(target, code):
    assert words(PROFILE | {"target_pa": target})[0] == code


def test_a_closed_core_needs_room_for_its_spring():
    """The reading is one cracking pressure (20 kPa) above the tyre."""
    assert (
        words(PROFILE | {"target_pa": 400_000, "chuck": codes.CHUCK_PRESSURE_OPEN})[0]
        == replies.TARGET_ABOVE_STOP
    )
    assert (
        words(PROFILE | {"target_pa": 390_000, "chuck": codes.CHUCK_PRESSURE_OPEN})[0] == replies.OK
    )


def test_a_ceiling_under_what_can_be_trusted_is_refused():
    assert (
        words(PROFILE | {"ceiling_pa": 30_999, "target_pa": 20_000})[0] == replies.TARGET_ABOVE_STOP
    )
    assert (
        words(PROFILE | {"ceiling_pa": 29_999, "target_pa": 20_000})[0]
        == replies.PROFILE_CEILING_LOW
    )


def test_a_refusal_gives_no_words():
    code, xs, ys = arming.limits(PROFILE | {"target_pa": 420_000}, configuration.HARDWARE[0], HERE)
    assert code == replies.TARGET_ABOVE_STOP
    assert set(xs) | set(ys) == {0}


@pytest.mark.parametrize("kind", [0, 1])
def test_the_guards_words_are_whole_and_no_looser_than_the_class(kind):
    x = words(kind=kind, here=HERE | {"guard_pa": 4_000})[1]
    assert x["band_pa"] == 10_000
    assert x["chk"] == check_word([0] * 6 + list(x.values()))
    assert words(here=HERE | {"guard_pa": 12_000})[1]["band_pa"] == 12_000


@pytest.mark.parametrize("kind", [0, 1])
def test_the_self_test_is_long_enough_to_see_what_it_looks_for(kind):
    """At the nominal rise of the slowest case it must see 6 kPa, twice what it trips at."""
    x = words(kind=kind)[1]
    rate = max(x["d0"] - (x["ceil_pa"] >> 8) * x["d1"] / 256, x["d0"] / 8)
    assert x["test_len"] * rate / 64 * 98_945 / 1257 >= 5_900


@pytest.mark.parametrize("kind, most", [(0, 2.8), (1, 6.4)])
def test_the_air_budget_holds_a_fill_and_is_bounded(kind, most):
    """Of the free air that the low volume holds at its ceiling, 317,071 units. The guard charges a line's short bursts several
    times over, and a source may deliver 28 % less than it says into a tyre 25 % larger."""
    assert 317_071 < words(kind=kind)[1]["air_max"] < most * 317_071


@pytest.mark.parametrize("volume", [840, 6_060])
@pytest.mark.parametrize("kind", [0, 1])
def test_every_word_fits_its_place(volume, kind):
    x = words(PROFILE | {"volume_ml": volume, "volume_low_ml": volume * 9 // 10}, kind=kind)[1]
    assert (
        x["d0"] < 4096
        and x["d1"] < 4096
        and x["norise"] < 32768
        and 50 <= x["test_len"] < 4096
        and x["horizon"] < 64
    )
    assert x["air_max"] < 1 << 27


# The figures behind the words, restated


def test_times_and_the_least_rise_in_their_units():
    """600 s in ticks of 2 ms; a large tyre's rise after a stop is never taken under 500 Pa; a still manifold is given 7 s."""
    x = words(PROFILE | {"volume_ml": 6_060, "volume_low_ml": 5_454})[1]
    assert (x["time_max"], x["rise_pa"], x["norise"]) == (300_000, 500, 3_500)


def test_the_flow_of_each_source():
    """Compressor: 30 L/min of free air, 1/64 mL a tick. Line: 0.2 dm3/(s bar) of 9.99 bar absolute, in air at 98.9 kPa."""
    assert words()[1]["d0"] / 64 * 500 * 60 / 1000 == 30
    assert words(kind=1)[1]["d0"] == pytest.approx(
        0.2 * 9.98945 * 1e5 / 98_945 * 1000 / 500 * 64, abs=1
    )


@pytest.mark.parametrize(
    ("times", "lost"), [(1, 0), (2, 135), (3, 256), (4.5, 419), (6, 571), (11, 1024), (30, 1024)]
)
def test_the_loss_follows_the_table_and_is_straight_between(times, lost):
    """In 1/1024, at so many times the ambient pressure; 4.5 times lies half way between 367 and 471."""
    assert (
        arming.loss_1024(configuration.HARDWARE[0], 100_000, round((times - 1) * 100_000)) == lost
    )


@pytest.mark.parametrize("kind", [0, 1])
def test_the_parabola_of_the_fill_is_right_at_half_and_at_the_whole(kind):
    """What `fill` takes off its delivery at p: D1 p / 256 - D2 p^2 / 2^20, p in 256 Pa."""
    rig = configuration.HARDWARE[kind]
    free, (d1, d2) = arming.free_air(rig, 98_945), arming.curved_loss(rig, 98_945, 400_000)
    for pa in (200_000, 400_000):
        at = pa >> 8
        assert d1 * at / 256 - d2 * at * at / 2**20 == pytest.approx(
            free * arming.loss_1024(rig, 98_945, pa) / 1024, abs=free * 0.012
        )


def test_ticks_for_a_gain():
    """10 kPa more in a litre at 100 kPa ambient is 100 mL of free air: 100 ticks at 1 mL a tick, and one to be sure."""
    assert arming.gain_ticks(10_000, 1_000, 100_000, 64) == 101
    assert (arming.rate_at(64, 10_000, 500_000), arming.rate_at(0, 0, 500_000)) == (8, 1)


def test_a_line_may_stand_still_as_long_as_its_largest_tyre_needs():
    x = words(PROFILE | {"volume_ml": 6_060, "volume_low_ml": 5_454}, kind=1)[1]
    assert x["norise"] == 250_000 * 64 * (6_060 * 5 // 4) // (98_945 * x["d0"]) + 1 > 3_500


def test_the_root_is_rounded_down():
    assert [arming.root(n) for n in (0, 1, 2, 3, 4, 8, 9, 99, 100, 12_345_678)] == [
        0,
        1,
        1,
        1,
        2,
        2,
        3,
        9,
        10,
        3_513,
    ]


@pytest.mark.parametrize(
    ("guard", "calibrated", "low"), [(10_000, 0, 10_000), (4_000, 1, 5_000), (20_000, 1, 10_000)]
)
def test_a_zero_that_has_moved_down(guard, calibrated, low):
    """Half of the guard band once calibrated, never under half of the class bound; else the class bound."""
    assert not arming.zero_low(-low, guard, 10_000, calibrated) and arming.zero_low(
        -low - 1, guard, 10_000, calibrated
    )


# Air at 387 x 256 Pa and a ceiling of 1,750 x 256 Pa: both kernels' shifts then lose nothing.
EVEN = PROFILE | {"flags": 0, "ceiling_pa": 448_000, "target_pa": 300_000}
EVEN_HERE = HERE | {"ambient_pa": 99_072, "t0_ck": 29_315}


def test_what_is_counted_on_is_what_the_guard_trips_at():
    """Twice the self-test's threshold, and twice the 3 kPa by which a manifold must rise."""
    flow = Path(guard.__file__).with_name("guard_flow.py").read_text()
    test_rise = re.search(r"_RISE_TEST = const\(([0-9_]+)\)", flow)
    assert test_rise is not None and 2 * int(test_rise[1]) == arming.TEST_PA == 6_000
    assert (arming.NORISE_PA, arming.NORISE_MARGIN, arming.LINE_STILL_PA) == (3_000, 2, 250_000)
    assert (arming.TICKS_S, arming.RISE_MIN_PA, arming.NORISE_MIN) == (500, 500, 3_500)
    assert (arming.VOLUME_TOLERANCE_PERCENT, arming.AIR_TOLERANCE_PERCENT) == (25, 260)


@pytest.mark.parametrize("volume", [1_257, 6_060, 16_000, 40_000])
@pytest.mark.parametrize("kind", [0, 1])
def test_the_guard_s_times_follow_from_its_own_flow(kind, volume):
    """Times to lift the nominal tyre by 6 kPa (self-test) and, a quarter larger, by twice 3 kPa (standstill), at the flow at the ceiling."""
    profile = EVEN | {"volume_ml": volume, "volume_low_ml": volume * 9 // 10}
    x = words(profile, EVEN_HERE, kind)[1]
    rate = max(x["d0"] - (1_750 * x["d1"] >> 8), x["d0"] >> 3, 1)
    test = 6_000 * 64 * volume // (99_072 * rate) + 1
    norise = 6_000 * 64 * (volume * 5 // 4) // (99_072 * rate) + 1
    if kind == configuration.LINE:
        norise = max(norise, 250_000 * 64 * (volume * 5 // 4) // (99_072 * x["d0"]) + 1)
    assert x["test_len"] == min(max(test, 50), 4_095)
    assert x["norise"] == min(max(norise, 3_500), 32_767)


def test_the_guard_s_times_have_bounds():
    """Small tyres keep the shortest test, 0.1 s; an impossibly large one leaves every word within its width."""
    small = words(EVEN | {"volume_ml": 300, "volume_low_ml": 250}, EVEN_HERE, 1)
    large = words(EVEN | {"volume_ml": 900_000, "volume_low_ml": 800_000}, EVEN_HERE)
    assert small[0] in (replies.OK, replies.TARGET_ABOVE_STOP)
    if small[0] == replies.OK:
        assert small[1]["test_len"] == 50
    assert (large[1]["test_len"], large[1]["norise"]) == (4_095, 32_767)


@pytest.mark.parametrize(("kind", "percent"), [(0, 260), (1, 600)])
def test_the_air_budget_is_a_share_of_the_low_volume_with_the_manifold(kind, percent):
    x = words(EVEN, EVEN_HERE, kind)[1]
    assert x["air_max"] == (1_148 + 60) * 64 * 1_750 // 387 * percent // 100


@pytest.mark.parametrize(("kind", "overrun", "percent"), [(0, 16, 115), (1, 27, 135)])
def test_the_rise_after_a_stop(kind, overrun, percent):
    """So many ticks of the strongest source's air in the low volume, hot: half as much again. A line's flow loses nothing."""
    x = words(EVEN, EVEN_HERE, kind)[1]
    rate = x["d0"]
    if kind == configuration.COMPRESSOR:
        rig = configuration.HARDWARE[0]
        loss = arming.straight_loss(rig, 99_072, 438_000)
        rate = max(rate - ((438_000 >> 8) * loss >> 8), rate >> 3)
        lost = arming.loss_1024(rig, 99_072, 438_000) / 1024
        assert 64 * (1 - lost) <= rate < 64 * (1 - lost) + 7  # whole units: never too little air
    air = rate * overrun * percent // 100
    assert x["rise_pa"] == air * 99_072 // (64 * 1_148) * 3 // 2 > 500


@pytest.mark.parametrize("volume", [1_149, 4_595, 300])
def test_heat_leaves_the_air_as_its_conductance_says(volume):
    """Ideal gas of 5/2 R: 8 ticks of 2 ms at UA = 1.5 W/K lower pressure x excess by UA T dt / (2.5 V); the casing's 500 J/K take it up.

    Both are meant for 1,148.7 mL and follow the root of the volume.
    """
    cool, casing = arming.heat_words(volume, 29_315)
    skin = (volume / 1_148.7) ** 0.5
    assert cool == pytest.approx(1.5 * skin * 293.15 * 0.016 / (2.5 * volume * 1e-6), rel=0.002)
    assert casing == pytest.approx(
        2.5 * volume * 1e-6 / (500 * skin * 293.15) * 2**32, rel=0.003, abs=1
    )


def test_heat_words_are_whole_numbers_rounded_down():
    """The same in whole numbers: thousandths of the skin, then each word, for 2,000 sizes of tyre."""
    for volume in range(300, 20_300, 10):
        skin = math.isqrt(volume * 10 * 10**6 // 11_487)
        cool = 64 * 1_500 * skin * 29_315 // (volume * 10**6)
        casing = volume * 2**30 // (29_315 * 500 * skin // 100) // 100
        assert arming.heat_words(volume, 29_315) == (cool, casing)


def test_the_parabola_is_exact_at_the_target_and_20_kpa_more():
    """At 318,887 Pa one pascal more gives another parabola."""
    profile = EVEN | {"ref_temp_ck": 29_315, "target_pa": 298_887}
    y = words(profile, EVEN_HERE)[2]
    rig = configuration.HARDWARE[0]
    assert (y["d1"], y["d2"]) == arming.curved_loss(rig, 99_072, 318_887)
    assert arming.curved_loss(rig, 99_072, 318_887) != arming.curved_loss(rig, 99_072, 318_888)


def test_the_fill_s_words_name_profile_source_and_place():
    """The path of 0.23 dm3/(s bar) at 990 hPa; the drop of 820 with the square of the air pressure; a parabola over target and 20 kPa more."""
    here = EVEN_HERE | {"watch_ticks": 777, "conn": 5, "job": 2}
    x, y = words(EVEN | {"chuck": codes.CHUCK_PIN_OPEN}, here)[1:]
    rig = configuration.HARDWARE[0]
    target = arming.target_here_pa(EVEN, 99_072, 29_315)
    assert arming.curved_loss(rig, 99_072, target + 20_000) == (y["d1"], y["d2"])
    share = 99_072 * 1024 // 101_325
    named = {
        "job": 2, "target_pa": target, "seat_pa": 0, "volume_ml": 1_257, "ambient_pa": 99_072, "stop_pa": 438_000,
        "t0_ck": 29_315, "watch_ticks": 777, "crack_pa": 20_000, "rise_pa": x["rise_pa"], "conn": 5,
    }  # fmt: skip
    for name in named.keys() & y.keys():
        assert y[name] == named[name], name
    assert list(y.values())[-5:] == [820 * share // 1024 * share // 1024, x["rise_pa"], 60, 311, 0]
    assert x["conn"] == 5 and list(y.values())[4] == 25 + 15


@pytest.mark.parametrize(("pa", "lost"), [(400_000, 571 - 100), (450_000, 521)])
def test_a_straight_line_is_exact_at_its_pressure(pa, lost):
    """In 1/256 of a unit for each 256 Pa, of 64 units of free air; at five and five and a half times the ambient pressure."""
    rig = configuration.HARDWARE[0]
    assert arming.loss_1024(rig, 100_000, pa) == lost
    assert arming.straight_loss(rig, 100_000, pa) == 64 * lost * 256 // 1024 // (pa >> 8)
    assert arming.straight_loss(rig, 100_000, 0) == 0


def test_a_line_loses_by_tenths_of_its_absolute_supply():
    """1,000 kPa absolute: nothing to 200 kPa absolute, 10 at 400, half way between 43 and 99 at 550, all at 1,000."""
    rig = configuration.HARDWARE[1]
    for absolute, lost in ((100, 0), (200, 0), (400, 10), (550, 71), (900, 490), (1_000, 1_024)):
        assert arming.loss_1024(rig, 100_000, (absolute - 100) * 1_000) == lost
    assert arming.free_air(rig, 100_000) == 25.6 * 16 * 10
    assert arming.free_air(configuration.HARDWARE[0], 100_000) == 1_024


def test_calibrations_reach_the_guard_and_without_one_the_type_s():
    own = {"gain_a": 9_800, "off_a": -23_000, "gain_b": 9_700, "off_b": -125_500}
    x = words(EVEN, EVEN_HERE | own)[1]
    assert list(x.values())[11:15] == [9_800, -23_000, 9_700, -125_500]
    assert list(words(EVEN, EVEN_HERE)[1].values())[11:15] == [9_766, -23_687, 9_766, -125_012]


@pytest.mark.parametrize("kind", [configuration.COMPRESSOR, configuration.LINE])
@pytest.mark.parametrize("chuck", [codes.CHUCK_PIN_OPEN, codes.CHUCK_PRESSURE_OPEN])
@pytest.mark.parametrize("rim", range(6))
def test_the_guard_s_flags(rim: int, chuck: int, kind: int) -> None:
    """Sealed always, 1; 4 for a rim without hooks or an unknown one; 8 for a line behind a core that pressure opens."""
    x = words(EVEN | {"rim_class": rim, "chuck": chuck}, EVEN_HERE, kind)[1]
    straight = 0 if rim in (codes.RIM_HB, codes.RIM_C, codes.RIM_TC) else 4
    line = 8 if kind == configuration.LINE and chuck == codes.CHUCK_PRESSURE_OPEN else 0
    assert list(x.values())[10] == 1 + straight + line
