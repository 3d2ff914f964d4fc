"""The independent cutoff's band and its place in the order of limits. Limits are literals here."""

import pytest

from hardware import cutoff
from hardware.circuit import load, ohms
from hardware.params import fraction, pressure

ZERO = dict.fromkeys(cutoff.TERMS, 0.0)


def test_low_band_lies_between_the_ceiling_and_110_percent():
    low, nominal, high = cutoff.band(False)
    assert 500_000 < low < nominal < high <= 550_000


def test_high_band_lies_between_the_ceiling_and_110_percent():
    low, nominal, high = cutoff.band(True)
    assert 900_000 < low < nominal < high <= 990_000


@pytest.mark.parametrize("high", [False, True])
def test_ordering_holds_in_both_ranges(high):
    assert len(cutoff.margins(high)) == 3
    assert all(m["margin_pa"] > 0 for m in cutoff.margins(high))


@pytest.mark.parametrize("high", [False, True])
def test_smallest_tyre_stays_under_110_percent_after_a_trip(high):
    assert all(o["margin_pa"] > 0 for o in cutoff.overshoots(high))


@pytest.mark.parametrize("high", [False, True])
def test_monte_carlo_lies_inside_the_worst_case(high):
    worst, drawn = cutoff.band(high), cutoff.monte_carlo(high)
    assert (
        worst[0]
        <= drawn["min_pa"]
        <= drawn["q001_pa"]
        < drawn["q999_pa"]
        <= drawn["max_pa"]
        <= worst[2]
    )
    assert drawn["count"] == 200_000
    assert drawn["max_pa"] - drawn["min_pa"] > 0.8 * (worst[2] - worst[0])


def test_open_key_contact_is_the_low_range():
    r = {ref: ohms(load()[ref].value) for ref in ("R35", "R36", "R37")}
    assert pressure(
        cutoff.threshold(r["R35"], r["R36"], r["R37"], 0.0, 1.0, cutoff.monitor_s())
    ) == pytest.approx(cutoff.band(False)[1])


def test_hysteresis_closes_again_below_the_ceiling():
    trip, back = cutoff.trip_pa(ZERO, False), cutoff.trip_pa(ZERO, False, falling=True)
    assert 20_000 < trip - back < 60_000
    assert cutoff.trip_pa(ZERO, True) > cutoff.trip_pa(ZERO, True, falling=True)


def test_latch_is_driven_with_room_to_spare():
    v = cutoff.latch(load())
    assert v["drive"] > 1.5
    assert v["threshold_v"] < v["empty_signal_v"] / 2


def test_sealed_element_would_leave_the_band():
    assert cutoff.sealed_shift_pa(3000) == pytest.approx(
        31_216, abs=200
    )  # ISO 2533: 70 109 Pa at 3000 m
    assert cutoff.band(False)[2] + cutoff.sealed_shift_pa(3000) > 550_000


def test_wider_element_does_not_meet_the_low_range_and_is_said_so():
    meets = {c.name: c.meets for c in cutoff.choices()}
    assert [n for n, ok in meets.items() if ok and "mechanical" in n] == []
    assert not next(ok for n, ok in meets.items() if "2 % total error band" in n)
    assert next(ok for n, ok in meets.items() if "used here" in n)


def test_daily_test_lowers_the_threshold_to_a_pressure_that_every_source_reaches():
    """The air itself must pass it: over any residue in the manifold, far under the lowest target's stop, and far from the threshold with R36 broken."""
    low, nominal, high = cutoff.test_band()
    assert 150_000 < low < nominal < high < 260_000
    r = {ref: ohms(load()[ref].value) for ref in ("R35", "R37", "R32")}
    r36_broken = pressure(
        cutoff.threshold(r["R35"], 1e12, r["R37"], 0.0, 1.0, cutoff.monitor_s() + 1 / r["R32"])
    )
    assert r36_broken > high + 50_000


def test_errors_move_the_trip_the_way_they_must():
    assert cutoff.trip_pa({**ZERO, "c_error_fs": 0.01}, False) == pytest.approx(
        cutoff.trip_pa(ZERO, False) - 10_000
    )
    assert cutoff.trip_pa({**ZERO, "comparator_offset": 0.004}, False) == pytest.approx(
        cutoff.trip_pa(ZERO, False) + 1_000
    )
    assert cutoff.trip_pa({**ZERO, "R36": 0.001}, False) > cutoff.trip_pa(ZERO, False)


def test_transfer_round_trip():
    assert (
        fraction(500_000) == pytest.approx(0.5)
        and pressure(0.1) == pytest.approx(0.0)
        and pressure(0.9) == pytest.approx(1e6)
    )
