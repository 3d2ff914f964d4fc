"""The guard band of an inflator: what is inside the class band, what is shared, what time and temperature add."""

import json
import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rimward.limits.ceiling import Place, Refused, Ride
from rimward.limits.ceiling.envelope import envelope
from rimward.limits.uncertainty.decision import false_accept
from rimward.limits.uncertainty.files import inflator, load_instrument
from rimward.limits.uncertainty.gum import combine, components, normal, one_sided, rectangular
from rimward.limits.uncertainty.inflator import (
    Calibration,
    Converter,
    Inflator,
    guard_band,
    pair_difference,
)
from rimward.limits.uncertainty.ride import envelope_uncertainty
from rimward.limits.uncertainty.student import coverage_factor, tail

PLAIN = Inflator(full_scale_pa=1_000_000, total_error_band=0.01)
FULL = Inflator(
    1_000_000,
    0.01,
    supply_ratio=0.001,
    reference=0.0005,
    converter=Converter(14, 2, 0),
    mounting_pa=200,
    cracking_pa=5000,
    barometer_pa=200,
)
CALIBRATION = Calibration(2000, 2, 800, 6, 500, 400, 5, 100, 6, 50, 10)


def test_the_class_band_is_rectangular_and_counted_once() -> None:
    band = guard_band(replace(PLAIN, converter=Converter(30, 0, 0)))
    assert band.combined.u == pytest.approx(10_000 / math.sqrt(3), rel=1e-6)
    assert band.terms.keys() == {"class band", "quantisation"}
    assert band.guard_pa == math.ceil(2 * 10_000 / math.sqrt(3))


@given(st.floats(0, 0.02), st.floats(0, 5000), st.floats(0, 20_000), st.booleans())
def test_never_below_the_class_bound_nor_below_u(
    supply: float, mounting: float, cracking: float, calibrated: bool
) -> None:
    inflator = replace(
        FULL,
        supply_ratio=supply,
        mounting_pa=mounting,
        cracking_pa=cracking,
        calibration=CALIBRATION if calibrated else None,
    )
    band = guard_band(inflator)
    assert band.guard_pa >= band.class_bound_pa and band.guard_pa >= band.combined.expanded
    assert band.false_accept.probability <= 0.0228


def test_the_false_accept_probability_comes_with_its_condition() -> None:
    found = guard_band(replace(FULL, cracking_pa=0)).false_accept
    assert (
        found.probability == pytest.approx(0.02275, abs=1e-6)
        and "exactly at the stop reading" in found.condition
    )


def test_a_shared_reference_cancels_and_two_do_not() -> None:
    shared = guard_band(replace(PLAIN, reference=0.01))
    apart = guard_band(replace(PLAIN, reference=0.01, reference_shared=False))
    assert "reference" not in shared.terms
    lever = 1_000_000 * (1 + 0.1 / 0.8)
    assert (
        apart.terms["reference"]
        == pytest.approx(lever * 0.01 / math.sqrt(3))
        == apart.terms["supply's reference"]
    )


def test_code_edges_and_quantisation_are_in_pascal() -> None:
    step = 1_000_000 / (0.8 * 2**12)
    band = guard_band(replace(PLAIN, converter=Converter(12, 4, 9)))
    assert band.terms["quantisation"] == pytest.approx(step / 2 / math.sqrt(3))
    assert band.terms["converter linearity"] == pytest.approx(4 * step / math.sqrt(3))
    assert band.terms["code edges"] == pytest.approx(9 * step / math.sqrt(3))


def test_cracking_pressure_counts_on_one_side_only_and_is_never_credited() -> None:
    term = one_sided("core cracking", 6000)
    assert (term.nominal_value, term.std_dev) == (3000, pytest.approx(6000 / math.sqrt(12)))
    without, with_core = (
        guard_band(replace(FULL, cracking_pa=0)),
        guard_band(replace(FULL, cracking_pa=6000)),
    )
    assert with_core.guard_pa >= without.guard_pa + 3000


def test_calibration_replaces_the_class_terms_and_ages() -> None:
    terms = guard_band(replace(FULL, calibration=CALIBRATION)).terms
    assert {"class band", "supply ratio", "converter linearity"}.isdisjoint(terms)
    assert (
        terms["reference gauge"] == 1000
        and terms["drift"] == pytest.approx(600 / math.sqrt(3))
        and terms["thermal"] == pytest.approx(500 / math.sqrt(3))
    )
    old = guard_band(replace(FULL, total_error_band=0, calibration=replace(CALIBRATION, months=60)))
    new = guard_band(replace(FULL, total_error_band=0, calibration=CALIBRATION))
    assert old.guard_pa > new.guard_pa
    assert new.combined.dof < math.inf
    assert terms["quantisation"] == pytest.approx(1_000_000 / (0.8 * 2**14) / 2 / math.sqrt(3))


def test_what_two_transducers_share_cancels_in_their_difference() -> None:
    shared = pair_difference(FULL, FULL, 500_000)
    own = replace(FULL, supply_ratio=0, reference=0, barometer_pa=0, cracking_pa=0)
    assert shared.u == pytest.approx(math.sqrt(2) * guard_band(own, 500_000).combined.u)


def test_an_input_used_twice_is_fully_correlated() -> None:
    a = rectangular("a", 3.0)
    assert combine(a + a).u == pytest.approx(2 * math.sqrt(3)) and combine(a - a).u == 0
    assert components(a + normal("b", 2.0)) == {"a": pytest.approx(math.sqrt(3)), "b": 2.0}


def test_fill_temperature_and_weather_belong_to_the_envelope() -> None:
    ride = envelope(500_000, 427_000, Place.of(18, 200), Ride.of(2400, 45))
    temperature_only = envelope_uncertainty(500_000, ride, u_fill_k=1, weather_pa=0, change_pa=0)
    assert temperature_only.value == pytest.approx(427_837, abs=1)
    assert temperature_only.u == pytest.approx(575_634.26 / 318.15)
    weather_only = envelope_uncertainty(500_000, ride, u_fill_k=0, weather_pa=3500, change_pa=0)
    assert weather_only.u == pytest.approx(3500 / math.sqrt(3) * (1 - 291.15 / 318.15))
    at_rest = envelope(500_000, 500_000, Place.of(18, 200), None)
    assert envelope_uncertainty(500_000, at_rest, u_fill_k=1, change_pa=0).u == pytest.approx(
        0, abs=1e-6
    )


def write(tmp_path: Path, **content: object) -> Path:
    path = tmp_path / "i.json"
    path.write_text(json.dumps(content), encoding="utf-8")
    return path


def test_instrument_files(tmp_path: Path) -> None:
    assert load_instrument(write(tmp_path, guard_pa=9000)).guard_pa == 9000
    assert load_instrument(write(tmp_path, guard="1.5 psi")).guard_pa == 10_343
    plain = {"full_scale": "10 bar", "total_error_band_percent": 1}
    by_class = load_instrument(write(tmp_path, **plain))
    assert by_class.guard_pa == guard_band(PLAIN).guard_pa and "not calibrated" in by_class.basis
    found = {
        "date": "2026-01-01",
        "gauge_expanded_pa": 20_000,
        "gauge_k": 2,
        "fit_residual_pa": 800,
        "fit_points": 6,
        "hysteresis_pa": 500,
        "repeatability_pa": 400,
        "repeats": 5,
        "drift_pa_per_month": 500,
        "thermal_pa_per_k": 50,
    }
    path = write(tmp_path, **plain, calibration=found)
    soon, late = load_instrument(path, date(2026, 2, 1)), load_instrument(path, date(2028, 2, 1))
    assert "calibrated" in soon.basis and late.guard_pa > soon.guard_pa


@pytest.mark.parametrize(
    "content",
    [
        {},
        {"guard_pa": -1},
        {"guard_pa": "x"},
        {"full_scale": "10 bar"},
        {"full_scale": "10 bar", "total_error_band_percent": -1},
        {
            "full_scale": "10 bar",
            "total_error_band_percent": 1,
            "calibration": {"date": "2026-01-01", "fit_points": 2, "repeats": 5},
        },
        {
            "full_scale": "10 bar",
            "total_error_band_percent": 1,
            "calibration": {"date": "2026-01-01", "fit_points": 6, "repeats": 5},
        },
    ],
)
def test_instrument_files_refused(tmp_path: Path, content: dict) -> None:
    with pytest.raises(Refused) as refusal:
        load_instrument(write(tmp_path, **content))
    assert refusal.value.id == "instrument-not-understood"


GOOD = {
    "full_scale": "10 bar",
    "total_error_band_percent": 1,
    "converter": {"bits": 14},
    "calibration": {
        "date": "2026-01-01",
        "gauge_expanded_pa": 2000,
        "gauge_k": 2,
        "fit_residual_pa": 800,
        "fit_points": 6,
        "hysteresis_pa": 500,
        "repeatability_pa": 400,
        "repeats": 5,
        "drift_pa_per_month": 100,
        "thermal_pa_per_k": 50,
    },
}
TODAY = date(2026, 6, 1)


@pytest.mark.parametrize(
    ("part", "change", "names"),
    [
        ("calibration", {"date": "2026-06-02"}, "future"),
        ("calibration", {"fit_points": 6.5}, "fit_points"),
        ("calibration", {"repeats": 2.9}, "repeats"),
        ("calibration", {"repeats": True}, "repeats"),
        ("calibration", {"gauge_expanded_pa": True}, "gauge_expanded_pa"),
        ("calibration", {"gauge_expanded_pa": "2000"}, "gauge_expanded_pa"),
        ("calibration", {"gauge_k": 0}, "gauge_k"),
        ("calibration", {"drift_pa_per_mont": 1}, "drift_pa_per_mont"),
        ("converter", {"bits": 14.5}, "bits"),
        ("converter", {"bits": 0}, "bits"),
        ("converter", {"integral_lsb": float("inf")}, "integral_lsb"),
        ("", {"total_error_band_percent": False}, "total_error_band_percent"),
        ("", {"total_error_band_percent": float("nan")}, "total_error_band_percent"),
        ("", {"reference_shared": "no"}, "reference_shared"),
        ("", {"calibration": []}, "calibration"),
        ("", {"barometer": 200}, "barometer"),
        ("", {"guard_pa": 9000}, "unknown"),
    ],
)
def test_instrument_files_with_a_slip_are_refused(
    tmp_path: Path, part: str, change: dict, names: str
) -> None:
    assert load_instrument(write(tmp_path, **GOOD), TODAY).guard_pa >= 10_000
    content = GOOD | ({part: GOOD[part] | change} if part else change)
    with pytest.raises(Refused, match=names) as refusal:
        load_instrument(write(tmp_path, **content), TODAY)
    assert refusal.value.id == "instrument-not-understood"


def test_three_points_twice_are_a_calibration(tmp_path: Path) -> None:
    few = GOOD["calibration"] | {"fit_points": 3, "repeats": 2}
    assert load_instrument(write(tmp_path, **GOOD | {"calibration": few}), TODAY).guard_pa >= 10_000
    for name, value in (("fit_points", 2), ("repeats", 1)):
        with pytest.raises(Refused, match=name):
            load_instrument(write(tmp_path, **GOOD | {"calibration": few | {name: value}}), TODAY)


@pytest.mark.parametrize("written", ["1e400", "true", "9000.5", "-1", "1e30"])
def test_a_guard_band_is_a_whole_number(tmp_path: Path, written: str) -> None:
    (tmp_path / "i.json").write_text(f'{{"guard_pa": {written}}}', encoding="utf-8")
    with pytest.raises(Refused) as refusal:
        load_instrument(tmp_path / "i.json")
    assert refusal.value.id == "instrument-not-understood"


def test_drift_counts_months_since_the_calibration(tmp_path: Path) -> None:
    path = write(
        tmp_path, **GOOD | {"calibration": GOOD["calibration"] | {"drift_pa_per_month": 3000}}
    )
    basis = {
        months: load_instrument(path, date(2026 + months // 12, 1, 1)).guard_pa
        for months in (12, 24)
    }
    assert basis[24] / basis[12] == pytest.approx(
        2, rel=0.01
    )  # 36 and 72 kPa of drift beside 1 kPa of everything else


def test_a_month_is_a_twelfth_of_a_year_of_365_and_a_quarter_days() -> None:
    assert inflator(GOOD, date(2030, 1, 1)).calibration.months == pytest.approx(
        48.0, rel=1e-12
    )  # 1,461 days
    assert inflator(GOOD, date(2026, 1, 1)).calibration.months == 0.0


@pytest.mark.parametrize("probability", [0.0, 1.0, -0.1, 1.1])
def test_no_factor_covers_nothing_or_everything(probability: float) -> None:
    with pytest.raises(ValueError, match="probability"):
        coverage_factor(probability)


@pytest.mark.parametrize("dof", [1e6, 1e9, 1e10, 1e12, 1e15, 1e300])
def test_with_very_many_degrees_of_freedom_the_normal_law_holds(dof: float) -> None:
    for t in (-2.0, 0.0, 0.5, 1.0, 2.0, 3.0):
        assert tail(t, dof) == pytest.approx(0.5 * math.erfc(t / math.sqrt(2)), rel=1e-4)
    assert coverage_factor(0.9545, dof) == pytest.approx(2.0, abs=1e-4)
    assert false_accept(2.0, 1.0, dof).probability == pytest.approx(0.02275, abs=1e-5)


def test_the_two_ways_to_student_meet() -> None:
    for t in (0.5, 1.0, 2.0, 3.0):
        assert tail(t, 1e5 - 1) == pytest.approx(tail(t, 1e5 + 1), rel=1e-7)


def test_an_instrument_file_that_is_no_object(tmp_path: Path) -> None:
    (tmp_path / "i.json").write_text("[1]", encoding="utf-8")
    with pytest.raises(Refused):
        load_instrument(tmp_path / "i.json")
