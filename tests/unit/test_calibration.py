"""Calibration by the numbers: fit, guard band, budget and decision as left, on synthetic points."""

import dataclasses
import math
from types import SimpleNamespace

import pytest
from rimward.base.errors import Refusal
from rimward.device.calibration import BENCH, ORDINARY, Point, assess_as_left, fit, fit_points
from rimward.device.calibration.fit import CONVERTERS, FULL_SCALE_PA, LIMITS, Left, compose
from rimward.simulation.plant.sensing import code_edges

from tests.unit.calibrationbench import GAUGE, NOMINAL


def synthetic(
    gain=1.0, offset=0.0, bend=0.0, gap=0.0, nominal=NOMINAL, spread=60.0, b=None, zero_shown=0.0
):
    """Points of two transducers that read (true - offset) / gain, A with a bend and a gap between up and down; `b`: gain and offset of B."""
    points = []
    b_gain, b_offset = b or (gain, offset)
    steps = [
        (True, 0),
        *((True, pa) for pa in nominal),
        *((False, pa) for pa in nominal[::-1]),
        (False, 0),
    ]
    for rising, true in steps:
        a = (
            (true - offset) / gain
            + (bend if 250e3 < true < 350e3 else 0.0)
            + (gap if rising else 0.0)
        )
        shown = true if true else zero_shown
        points.append(Point(rising, shown, a, (true - b_offset) / b_gain, spread, 101_325, 29_315))
    return points


def test_recovers_gain_and_offset_exactly_from_clean_points():
    result = fit_points(synthetic(1.008, -3000.0), *GAUGE)
    for channel in result.channels:
        assert channel.gain == pytest.approx(1.008, rel=1e-9)
        assert channel.offset_pa == pytest.approx(-3000.0, abs=1e-3)
        assert channel.residual_pa < 1e-3


def test_guard_band_is_never_below_class_bound_nor_reference():
    assert fit_points(synthetic(), *GAUGE).guard_pa == 10_000
    assert fit_points(synthetic(), 14_000.0, 2.0, 1000.0).guard_pa >= 15_000


def test_a_year_of_drift_is_counted_from_the_start():
    """100 Pa a month over the twelve months until the next calibration, rectangular: 1200 / sqrt(3) Pa."""
    for channel in fit_points(synthetic(), *GAUGE).channels:
        assert channel.terms["drift"] == pytest.approx(1200 / 3**0.5)


def test_the_band_counts_what_lies_above_the_highest_point():
    """Points to 4.9 bar, ceilings to 9 bar: the class's share of the 4.1 bar not visited, rectangular; with points to the end nothing."""
    for channel in fit_points(synthetic(), *GAUGE).channels:
        assert channel.terms["above the points"] == pytest.approx(
            10_000 * 410_000 / 900_000 / 3**0.5, rel=0.01
        )
    whole = fit_points(synthetic(nominal=[*NOMINAL, 700_000, 900_000]), *GAUGE)
    assert all("above the points" not in channel.terms for channel in whole.channels)
    assert whole.expanded_pa < fit_points(synthetic(), *GAUGE).expanded_pa


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (synthetic(nominal=NOMINAL[:5]), "at least 6"),
        (synthetic(nominal=[10_000 * n for n in range(1, 8)]), "highest point"),
        (synthetic(bend=8_000.0), "residual"),
        (synthetic(gap=9_000.0), "hysteresis|residual"),
        (synthetic(offset=10_100.0), "Both transducers differ"),
        (synthetic(offset=-10_100.0), "Both transducers differ"),
        (synthetic(offset=10_100.0, b=(1.0, 0.0)), "Transducer A does not calibrate: offset"),
        (synthetic(b=(1.0, -10_100.0)), "Transducer B does not calibrate: offset"),
        (synthetic(gain=1.015, offset=-5_000.0, b=(1.024, -9_000.0)), "gain"),
        (synthetic(spread=5_000.0), "spread"),
        (synthetic(zero_shown=1_300.0), "at open air"),
        (synthetic(zero_shown=-1_300.0), "at open air"),
        ([p for p in synthetic() if not p.zero], "no zero point"),
    ],
)
def test_poor_fit_is_refused_with_its_reason(points, words):
    with pytest.raises(Refusal, match=words):
        fit_points(points, *GAUGE)


def test_what_the_class_allows_is_taken_and_a_bench_has_its_own_class():
    assert fit_points(synthetic(offset=9_900.0), *GAUGE).channels[0].offset_pa == pytest.approx(
        9_900.0
    )
    high = [100_000, 250_000, 400_000, 550_000, 700_000, 850_000, 980_000]
    assert fit_points(synthetic(offset=15_900.0, nominal=high), *GAUGE, BENCH).guard_pa >= 16_000
    with pytest.raises(Refusal, match="Both"):
        fit_points(synthetic(offset=16_100.0, nominal=high), *GAUGE, BENCH)
    with pytest.raises(Refusal, match=r"at least 9\.0 bar"):
        fit_points(synthetic(), *GAUGE, BENCH)


def test_a_wrong_reference_never_moves_the_stop_past_the_ceiling():
    """Exact transducers and a reference that reads low or high by so much, its zero with it or not: accepted or not, the true stop holds."""
    refused = 0
    for error in range(-30_000, 30_001, 1_500):
        points = [
            dataclasses.replace(p, reference_pa=p.reference_pa + error * (not p.zero))
            for p in synthetic()
        ]
        try:
            result = fit_points(points, *GAUGE)
        except Refusal:
            refused += 1
            continue
        for channel in result.channels:
            true = (
                500_000 - result.guard_pa - channel.offset_pa
            ) / channel.gain  # what exact transducers read as the stop is reached
            assert true <= 500_000
    assert refused > 20


def test_corrections_do_not_add_up_past_the_class():
    """Each of two runs is 8 kPa off, within the class; their sum is not."""
    once = {"a": (1.0, 8_000.0), "b": (1.0, 8_000.0)}
    with pytest.raises(Refusal, match="Both"):
        fit_points(synthetic(offset=8_000.0), *GAUGE, ORDINARY, once)
    fit_points(synthetic(offset=-8_000.0), *GAUGE, ORDINARY, once)


def test_the_budget_of_b_covers_what_the_processor_s_converter_does_at_its_code_edges():
    """Signal and supply both go through it: every pressure to 10 bar, every supply of the regulator, edges of the largest size read."""
    worst = 0.0
    for supply_v in (4.75 + 0.005 * n for n in range(101)):
        whole = 0.6 * supply_v / 3.3 * 4096
        for share in (0.1 + 0.002 * n for n in range(401)):
            ratio = code_edges(share * whole, 15.0) / code_edges(whole, 15.0)
            worst = max(worst, abs(ratio - share) / 0.8 * FULL_SCALE_PA)
    converter = CONVERTERS["b"]
    covered = converter.edge_step_lsb * FULL_SCALE_PA / (0.8 * 2**converter.bits)
    assert covered / 2 < worst <= covered * 1.06  # a supply of 4.75 V makes a code 5 % larger
    terms = {
        c.name: c.terms["code edges"]
        for c in fit_points(synthetic(), *GAUGE).channels
        if "code edges" in c.terms
    }
    assert terms == {"b": pytest.approx(covered / 3**0.5)}


def test_as_left_conforms_inside_the_guard_band_less_the_reference_s_u():
    result = dataclasses.replace(fit_points(synthetic(), *GAUGE), guard_pa=8_000)
    assert result.expanded_pa > 7_000
    allowed = result.guard_pa - 1_000 - 200
    for off, conforms in ((allowed - 1, True), (allowed + 1, False)):
        left = assess_as_left(
            [Point(True, 400_000.0, 400_000.0 + off, 400_000.0, 60.0, 101_325, 29_315)],
            result,
            1_000.0,
            200.0,
        )
        assert left.conforms is conforms and left.worst_pa == pytest.approx(off)


@pytest.mark.parametrize("name", ["a", "b"])
def test_the_coefficients_written_correct_what_the_inflator_shows(name):
    """A is sealed: its absolute reading minus the barometer is shown. Corrected: gain x shown + offset, at any pressure and any weather."""
    in_force_gain, in_force_offset, gain, offset, ambient = 1.004, -700.0, 0.997, 350.0, 97_300.0
    new_gain, new_offset = compose(name, (gain, offset), (in_force_gain, in_force_offset), ambient)
    under = ambient if name == "a" else 0.0
    for raw in (under, under + 250_000.0, under + 700_000.0):
        shown = in_force_gain * raw + in_force_offset - under
        assert new_gain * raw + new_offset - under == pytest.approx(gain * shown + offset, abs=1e-6)


def test_the_budget_of_each_transducer_restated():
    """Standard uncertainties, Pa: 50 Pa/K over 15 K, 100 Pa for the barometer, 60 Pa of spread over 50 readings, each worked out apart."""
    a, b = (channel.terms for channel in fit_points(synthetic(), *GAUGE).channels)
    for terms in (a, b):
        assert terms["thermal"] == pytest.approx(750 / 3**0.5) and terms[
            "barometer"
        ] == pytest.approx(100 / 3**0.5)
        assert terms["repeatability"] == pytest.approx(60 / 50, rel=0.001) or terms[
            "repeatability"
        ] == pytest.approx(60 / 50**0.5, rel=0.001)
        assert terms["reference gauge"] == pytest.approx(
            math.hypot(1000 / 2, 200 / 3**0.5), rel=1e-9
        )
    assert "code edges" not in a and b["code edges"] == pytest.approx(
        7.5 * 1.1 * 1.9 / 4096 * 1.25e6 / 3**0.5, rel=0.001
    )
    assert (ORDINARY.class_pa, ORDINARY.reach_pa, ORDINARY.end_pa, BENCH.class_pa) == (
        10_000,
        450_000,
        900_000,
        16_000,
    )


def test_too_low_a_highest_point_is_named_in_bar():
    with pytest.raises(Refusal, match=r"The highest point is 4.00 bar. Go up to at least 4.5 bar"):
        fit_points(synthetic(nominal=[50_000, 100_000, 150_000, 200_000, 300_000, 400_000]), *GAUGE)


def test_the_figures_of_a_calibration():
    """Criteria and classes of our choice, and both converters, as the page on calibration states them."""
    assert LIMITS == {"residual": 3_000, "hysteresis": 5_000, "gain": 0.02, "spread": 2_000}
    assert (fit.POINTS_MIN, fit.READINGS, fit.ZERO_PA, fit.EDGE_CODES) == (6, 50, 10_000, 7.5)
    assert pytest.approx(1.1) == fit.CODE
    scales = [(s.full_scale_pa, s.class_band, s.end_pa, s.reach_pa) for s in (ORDINARY, BENCH)]
    assert scales == [(1_000_000, 0.01, 900_000, 450_000), (1_600_000, 0.01, 1_000_000, 900_000)]
    a, b = CONVERTERS["a"], CONVERTERS["b"]
    assert (a.bits, a.integral_lsb, a.edge_step_lsb, b.bits, b.integral_lsb) == (16, 4, 0, 12, 2)
    assert fit.FACTORY == {"a": (1, 0), "b": (1, 0)}


@pytest.mark.parametrize("name", ["residual", "hysteresis", "spread"])
def test_a_figure_at_its_limit_is_accepted(monkeypatch, name):
    points = synthetic(bend=2_000.0, gap=900.0)
    channel = fit_points(points, *GAUGE).channels[0]
    size = {"spread": 60.0, "residual": channel.residual_pa, "hysteresis": channel.hysteresis_pa}
    assert size[name] > 0
    monkeypatch.setitem(LIMITS, name, size[name])
    fit_points(points, *GAUGE)
    monkeypatch.setitem(LIMITS, name, size[name] * (1 - 1e-9))
    with pytest.raises(Refusal, match=name if name != "spread" else "Readings at a point"):
        fit_points(points, *GAUGE)


@pytest.mark.parametrize(
    ("points", "words"),
    [
        (synthetic(bend=8_000.0), r"Transducer A does not calibrate: residual \d+ Pa, at most 3000 Pa\."),
        (synthetic(gain=1.0209, offset=-4_000.0), r"Transducer A does not calibrate: gain 0\.0209, at most 0\.02\."),
    ],
)  # fmt: skip
def test_a_poor_figure_is_named_with_its_unit(monkeypatch, points, words):
    monkeypatch.setattr(fit, "_check_shift", lambda *_: None)
    with pytest.raises(Refusal, match=words):
        fit_points(points, *GAUGE)


def test_points_at_their_limits_are_accepted():
    """A zero of exactly U and resolution, six points each way, the highest exactly at the reach; a point of 10 kPa is no zero."""
    six = [50_000, 100_000, 200_000, 300_000, 400_000, 450_000]
    fit_points(synthetic(nominal=six, zero_shown=1_200.0), *GAUGE)
    fit_points(synthetic(nominal=[10_000, *six[1:]]), *GAUGE)
    with pytest.raises(Refusal, match="5 points up and 5 down"):
        fit_points(synthetic(nominal=[9_999, *six[1:]]), *GAUGE)
    with pytest.raises(Refusal, match="no zero point"):
        fit_points(synthetic()[1:], *GAUGE)


@pytest.mark.parametrize(
    ("a", "b", "words"),
    [
        (10_000.0, 10_000.0, None),
        (10_001.0, 10_001.0, "Both transducers differ from the reference the same way by 10001 Pa"),
        (10_001.0, -10_001.0, "Transducer A does not calibrate: offset 10001 Pa"),
        (10_001.0, 0.0, "Transducer A does not calibrate"),
        (0.0, -10_000.0, None),
        (0.0, -10_001.0, "Transducer B does not calibrate"),
    ],
)
def test_an_error_of_the_class_is_accepted_and_a_pascal_more_is_not(a, b, words):
    found = {"a": (1.0, a), "b": (1.0, b)}
    if words is None:
        return fit._check_shift(synthetic(), found, ORDINARY, fit.FACTORY)
    with pytest.raises(Refusal, match=words):
        fit._check_shift(synthetic(), found, ORDINARY, fit.FACTORY)


def test_the_shift_of_a_sealed_transducer_is_taken_at_the_first_point_s_barometer():
    """The gain in force multiplies the air pressure too: what later points say of it changes nothing."""
    points = synthetic()
    later = [dataclasses.replace(p, ambient_pa=301_325) for p in points[1:]]
    found, force = {"a": (1.0, 0.0), "b": (1.0, 0.0)}, {"a": (1.04, -4_000.0), "b": (1.0, 0.0)}
    with pytest.raises(Refusal, match=r"Transducer A does not calibrate: offset (\d+) Pa") as first:
        fit._check_shift(points, found, ORDINARY, force)
    with pytest.raises(Refusal) as then:
        fit._check_shift([points[0], *later], found, ORDINARY, force)
    assert str(then.value) == str(first.value)


def test_half_of_the_gap_between_up_and_down_is_in_the_budget():
    """The mean of up and down is used: each lies half of the gap away from it; rectangular."""
    channel = fit_points(synthetic(gap=1_000.0), *GAUGE).channels[0]
    assert channel.hysteresis_pa == pytest.approx(1_000.0, rel=0.01)
    assert channel.terms["hysteresis"] == pytest.approx(channel.hysteresis_pa / 2 / 3**0.5)
    assert "hysteresis" not in fit_points(synthetic(gap=1_000.0), *GAUGE).channels[1].terms


def test_the_gap_is_taken_at_the_nearest_pressure():
    points = [
        Point(up, pa, pa, pa, 60.0, 101_325, 29_315)
        for up, pa in ((True, 100.0), (True, 300.0), (False, 290.0), (False, 120.0))
    ]
    assert fit._hysteresis(points, [5.0, 50.0, 20.0, 1.0]) == 30.0


def test_above_the_points_the_slope_counts_twice():
    """900 kPa less 490 kPa, k = 2 on a slope's standard uncertainty of 0.001, and 10 kPa of 900."""
    line = SimpleNamespace(slope=SimpleNamespace(std_dev=0.001))
    assert fit._beyond(line, synthetic(), ORDINARY) == pytest.approx(
        410_000 * (0.002 + 10_000 / 900_000)
    )
    assert fit._beyond(line, synthetic(nominal=[*NOMINAL, 950_000]), ORDINARY) == 0


def test_left_at_the_limit_conforms():
    assert Left((), 100.0, 100.0).conforms and not Left((), 100.1, 100.0).conforms
