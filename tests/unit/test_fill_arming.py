"""Arming: the numbers that both kernels get, against literals and against what the design says of them."""

import pytest
from rimward_fw.control import arming, configuration
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
    return code, dict(zip(GUARD_INPUT[6:], xs, strict=True)), dict(zip(FILL_INPUT[FILL_SLOW:], ys, strict=True))


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


@pytest.mark.parametrize("target, code", [(410_000, replies.OK), (416_000, replies.TARGET_ABOVE_STOP), (417_001, replies.TARGET_ABOVE_STOP)])
def test_a_target_the_stop_reading_cuts_off_is_refused(target, code):
    assert words(PROFILE | {"target_pa": target})[0] == code


def test_a_closed_core_needs_room_for_its_spring():
    """The reading stands a cracking pressure (20 kPa) over the tyre."""
    assert words(PROFILE | {"target_pa": 400_000, "chuck": codes.CHUCK_PRESSURE_OPEN})[0] == replies.TARGET_ABOVE_STOP
    assert words(PROFILE | {"target_pa": 390_000, "chuck": codes.CHUCK_PRESSURE_OPEN})[0] == replies.OK


def test_a_ceiling_under_what_can_be_trusted_is_refused():
    assert words(PROFILE | {"ceiling_pa": 30_999, "target_pa": 20_000})[0] == replies.TARGET_ABOVE_STOP
    assert words(PROFILE | {"ceiling_pa": 29_999, "target_pa": 20_000})[0] == replies.PROFILE_CEILING_LOW


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
    assert x["d0"] < 4096 and x["d1"] < 4096 and x["norise"] < 32768 and 50 <= x["test_len"] < 4096 and x["horizon"] < 64
    assert x["air_max"] < 1 << 27
