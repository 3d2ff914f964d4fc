"""Numbers on the display: limits round down, a reading above a limit never looks equal to it; dates, duty and other fill modes."""

import datetime

import pytest
from rimward_fw.control import arming, configuration, fill_modes
from rimward_fw.control.builtin import BUILT_IN
from rimward_fw.control.duty import Duty
from rimward_fw.ui import display_facts, display_numbers
from rimward_protocol import codes, layout, replies

PSI = 6894.757293168


@pytest.mark.parametrize(
    "pa",
    [0, 999, 1000, 275_000, 344_737, 344_738, 427_999, 499_999, 500_000, 500_001, 899_999, 900_000],
)
def test_limits_round_down(pa):
    assert (
        float(display_numbers.bar(pa)) * 1e5 <= pa + 1e-6
        and pa - float(display_numbers.bar(pa)) * 1e5 < 1000
    )
    assert (
        float(display_numbers.psi(pa)) * PSI <= pa + 1e-6
        and pa - float(display_numbers.psi(pa)) * PSI < 0.1 * PSI + 2
    )


def test_five_bar_is_never_73_psi():
    assert (display_numbers.bar(500_000), display_numbers.psi(500_000)) == ("5.00", "72.5")


@pytest.mark.parametrize("limit", [275_000, 427_000, 500_000])
@pytest.mark.parametrize("over", [1, 100, 499, 500, 1000, 5000])
def test_a_reading_above_a_limit_shows_more(limit, over):
    assert float(display_numbers.reading_bar(limit + over, limit)) > float(
        display_numbers.bar(limit)
    )
    assert float(display_numbers.reading_psi(limit + over, limit)) > float(
        display_numbers.psi(limit)
    )


@pytest.mark.parametrize(
    "pa,bar,psi",
    [
        (250_400, "2.50", "36.3"),
        (250_500, "2.51", "36.3"),
        (-800, "0.00", "0.0"),
        (5_000, "0.05", "0.7"),
    ],
)
def test_readings_round_to_the_nearest(pa, bar, psi):
    assert (display_numbers.reading_bar(pa), display_numbers.reading_psi(pa)) == (bar, psi)


def test_words_wrap_and_say_when_cut():
    assert display_numbers.wrap("one two three", 8, 3) == ["one two", "three"]
    assert display_numbers.wrap("independent-cutoff", 16, 2) == ["independent-", "cutoff"]
    assert display_numbers.wrap("calibrationoverdue", 16, 2) == ["calibrationoverd", "ue"]
    assert display_numbers.wrap("a b c d e f", 3, 2) == ["a b", "c.."]


@pytest.mark.parametrize(
    "days", [0, 1, 58, 59, 60, 365, 366, 1460, 1461, 2425, 29219, 29220, 36524]
)
def test_dates(days):
    assert (
        display_facts.day_text(days)
        == (datetime.date(2020, 1, 1) + datetime.timedelta(days)).isoformat()
    )


def test_target_moves_in_steps_and_stops_at_the_stop_reading():
    assert fill_modes.target_after(300_000, -5_000, 410_000) == 295_000
    assert fill_modes.target_after(302_400, 5_000, 410_000) == 305_000
    assert fill_modes.target_after(408_000, 5_000, 412_000) == 410_000
    assert fill_modes.target_after(410_000, 5_000, 412_000) == 410_000
    assert fill_modes.target_after(20_000, -5_000, 412_000) == 20_000
    for stop in range(400_000, 420_000, 1_000):
        target = 300_000
        for _ in range(40):
            target = fill_modes.target_after(target, 5_000, stop)
        assert stop - 5_000 < target <= stop


def _here(t0_ck=29315):
    return {"ambient_pa": 98_000, "t0_ck": t0_ck, "guard_pa": 10_000, "conn": 3, "job": 1}


@pytest.mark.parametrize("t0_ck", [26315, 29315, 31315])
@pytest.mark.parametrize("ceiling", [120_000, 270_000, 275_000, 276_000, 420_000])
def test_seating_has_its_own_low_limit(t0_ck, ceiling):
    values = layout.unpack(
        layout.PROFILE,
        layout.seal_profile(
            {
                **BUILT_IN,
                "target_pa": 300000,
                "ceiling_pa": ceiling,
                "limit_pa": max(ceiling, 280_000),
            }
        ),
    )
    code, x, y = fill_modes.limits(values, configuration.HARDWARE[0], _here(t0_ck), True, 300)
    assert code == 0
    assert x[1] <= min(275_000, ceiling), (
        "never above California's 40 psi, never above the wheel's own ceiling"
    )
    assert 20_000 <= y[1] <= x[1] - x[2] - x[3] and y[2] == 0
    whole, plain, _ = fill_modes.limits(values, configuration.HARDWARE[0], _here(t0_ck), False, 300)
    assert whole or plain[1] <= ceiling


@pytest.mark.parametrize("source", configuration.HARDWARE)
@pytest.mark.parametrize("chuck", [1, 2])
def test_the_highest_target_is_the_last_that_arming_takes(source, chuck):
    values = layout.unpack(
        layout.PROFILE,
        layout.seal_profile(
            {**BUILT_IN, "target_pa": 300000, "chuck": chuck, "ref_temp_ck": 29315}
        ),
    )
    highest = fill_modes.highest_target_pa(values, source, _here())
    assert arming.limits({**values, "target_pa": highest}, source, _here())[0] == 0
    assert (
        arming.limits({**values, "target_pa": highest + 1}, source, _here())[0]
        == replies.TARGET_ABOVE_STOP
    )


def test_40_psi_is_275_kpa_rounded_down():
    assert codes.SEAT_PAUSE_MAX_PA == fill_modes.SEAT_LIMIT_PA == int(40 * PSI) // 1000 * 1000


def test_duty_limits_the_time_budget_of_a_compressor_only():
    values = layout.unpack(layout.PROFILE, layout.seal_profile({**BUILT_IN, "target_pa": 300000}))
    assert (
        fill_modes.limits(values, configuration.HARDWARE[0], _here(), False, 40)[1][5] == 40 * 500
    )
    assert (
        fill_modes.limits(values, configuration.HARDWARE[0], _here(), False, 300)[1][5] == 180 * 500
    )
    assert (
        fill_modes.limits(values, configuration.HARDWARE[1], _here(), False, 40)[1][5] == 180 * 500
    )


def test_duty_fills_and_empties():
    duty = Duty()
    duty.work(True, 0)
    assert duty.left_s() == 300 and duty.wait_s() == 0
    duty.work(True, 290_000)
    assert duty.left_s() == 10 and duty.wait_s() == 20
    duty.work(False, 311_000)
    assert duty.left_s() == 20 and duty.wait_s() == 0
    duty.work(False, 10_000_000)
    assert duty.left_s() == 300
