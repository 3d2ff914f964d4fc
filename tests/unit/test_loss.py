"""Loss between fills: arithmetic, accepted intervals, and claims compared with the plant's own leaks over wheels and months."""

from dataclasses import replace

import pytest
from rimward.sessions.loss import DAY_S, interval, intervals_of, leak_line, loss_line, loss_of
from rimward.sessions.visit import Visit

from tests.unit.lossworld import wheel

WHEELS = range(200)


def visit(day, found, left, temp_k=293.15, ambient=101_325.0, **more):
    """A visit on a day, with small uncertainties."""
    row = {"name": f"day-{day}", "wheel_id": "a" * 16, "device": "d", "calibration": "", "chuck": "pin-open", "start_s": round(day * DAY_S),
           "end_s": round(day * DAY_S), "found_pa": found, "u_found_pa": 1000.0, "left_pa": left, "u_left_pa": 1000.0, "ambient_pa": ambient,
           "temp_k": temp_k, "u_temp_k": 0.5, "u_instrument_pa": 5000.0}  # fmt: skip
    return Visit(**{**row, **more})


def test_a_cold_morning_and_a_change_of_the_weather_are_no_loss():
    """The same air: 4.00 bar gauge at 25 degrees C and 1,000 hPa reads (500 kPa x 278.15 / 298.15) - 98 kPa at 5 degrees C and 980 hPa."""
    left = visit(0, None, 400_000, 298.15, 100_000)
    found = visit(7, 500_000 * 278.15 / 298.15 - 98_000, None, 278.15, 98_000)
    one = interval(left, found)
    assert one is not None and abs(one.lost_pa) < 1 and one.days == 7


def test_a_loss_is_that_of_the_same_air_at_20_degrees():
    left, found = visit(0, None, 400_000), visit(10, 350_000, None)
    one = interval(left, found)
    assert one is not None and one.lost_pa == pytest.approx(50_000)
    # 1 kPa of reading, 0.5 kPa of the instrument, 0.1 kPa of the barometer, 0.5 K of 501 and 451 kPa absolute; the method 1 kPa
    free = (
        1000**2
        + 2 * 500**2
        + 2 * 100**2
        + (501_325 / 293.15 * 0.5) ** 2
        + (451_325 / 293.15 * 0.5) ** 2
    ) ** 0.5
    assert one.u_free_pa == pytest.approx(free) and one.u_method_pa == pytest.approx(1000)
    loss = loss_of([one])
    assert loss is not None and loss.pa_day == pytest.approx(5000) and not loss.slow_leak
    assert loss_line(loss).startswith(
        "loss 0.050 bar (0.7 psi) a day ± 0.00"
    ) and "1 interval over 10 days" in loss_line(loss)


def test_another_instrument_between_makes_it_less_certain():
    left, found = visit(0, None, 400_000), visit(10, 350_000, None)
    other = interval(left, replace(found, device="e"))
    one = interval(left, found)
    assert one is not None and other is not None and other.u_free_pa > 3 * one.u_free_pa


@pytest.mark.parametrize(
    "found",
    [
        {"found_pa": None}, {"start_s": round(0.4 * DAY_S)}, {"start_s": round(121 * DAY_S)}, {"wheel_id": "b" * 16},
    ],
)  # fmt: skip
def test_unsupported_records_give_no_interval(found):
    assert interval(visit(0, None, 400_000), replace(visit(10, 350_000, None), **found)) is None
    assert interval(visit(0, None, None), visit(10, 350_000, None)) is None


def test_air_added_by_hand_is_not_counted_whether_a_person_says_so_or_the_figures_do():
    visits = [
        visit(0, 100_000, 400_000),
        visit(7, 365_000, 400_000),
        visit(14, 430_000, 400_000),
        visit(21, 365_000, 400_000),
    ]
    between = intervals_of(visits, {"day-21": True})
    assert [one.counts for one in between] == [True, False, False]
    loss = loss_of(between)
    assert (
        loss is not None
        and loss.pa_day == pytest.approx(5000)
        and loss.left_out == 2
        and loss.not_asked == 1
    )
    answered = loss_of(intervals_of(visits, {"day-7": False, "day-14": False, "day-21": False}))
    assert answered is not None and answered.not_asked == 0 and len(answered.intervals) == 2


def test_a_loss_that_grew_is_named_before_the_tyre_is_empty():
    days = [0, 7, 14, 21]
    visits = [visit(day, 370_000 if day < 21 else 290_000, 400_000) for day in days]
    loss = loss_of(intervals_of(visits))
    assert loss is not None and loss.grew and loss.slow_leak
    assert loss.earlier_pa_day == pytest.approx(30_000 / 7) and loss.latest_pa_day == pytest.approx(
        110_000 / 7
    )
    line = leak_line(loss, 350_000)
    assert (
        line.startswith("SLOW LEAK: 0.157 bar (2.3 psi) a day lately, 0.043 bar")
        and "within 3 days" in line
    )
    assert leak_line(loss_of(intervals_of(visits[:3]))) == ""


def test_an_implausible_loss_is_reported_without_a_history():
    loss = loss_of(intervals_of([visit(0, None, 400_000), visit(2, 250_000, 400_000)]))
    assert loss is not None and loss.fast and not loss.grew and "SLOW LEAK" in leak_line(loss)


def test_intervals_cover_the_plants_true_loss_of_200_wheels_over_six_months():
    """An interval of twice the standard uncertainty covers the true loss in 95 % or more: of single intervals, and of wheels."""
    single, pooled = [], []
    for number in WHEELS:
        world = wheel(number)
        between = intervals_of(world.visits)
        assert len(between) == len(world.lost_pa)
        single += [abs(one.lost_pa - true) / one.u_pa for one, true in zip(between, world.lost_pa)]
        counted = [(one, true) for one, true in zip(between, world.lost_pa) if one.counts]
        loss = loss_of(between)
        assert loss is not None
        pooled.append(
            abs(loss.pa_day - sum(true for _, true in counted) / loss.days) / loss.u_pa_day
        )
    covered = [sum(ratio <= 2 for ratio in rows) / len(rows) for rows in (single, pooled)]
    assert len(single) > 2500 and min(covered) >= 0.95, covered
    assert sum(ratio > 0.5 for ratio in single) / len(single) > 0.3, (
        "the stated uncertainty is not far too large either"
    )


def test_slow_leaks_of_200_wheels_are_named_and_sound_wheels_are_not():
    """A leak that becomes four times as large is named while the tyre is above half its pressure; a steady one hardly ever."""
    named = {1.0: 0, 4.0: 0}
    looked = {1.0: 0, 4.0: 0}
    for number in WHEELS:
        for grows in named:
            world = wheel(number, grows=grows)
            between = intervals_of(world.visits)
            rate = loss_of(between[: len(between) // 2 - 1])
            if grows > 1 and (rate is None or rate.pa_day < 2000):
                continue  # a leak that is small even when it has grown
            looked[grows] += 1
            named[grows] += any(
                (loss := loss_of(between[:n])) is not None and loss.grew
                for n in range(3, len(between) + 1)
            )
    assert looked[1.0] == 200 and looked[4.0] > 100
    assert named[4.0] / looked[4.0] >= 0.95 and named[1.0] / looked[1.0] <= 0.1, (named, looked)
