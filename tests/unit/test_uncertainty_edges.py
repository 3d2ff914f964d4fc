"""Edges of the guard band: what an instrument file may hold, what it leaves out, and the budget's terms one by one, against arithmetic by hand."""

import json
import math
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from rimward.base.units import Refused
from rimward.limits.uncertainty import inflator as module
from rimward.limits.uncertainty.files import inflator, instrument, load_instrument
from rimward.limits.uncertainty.inflator import Calibration, Converter, Inflator, guard_band
from rimward.limits.uncertainty.student import coverage_factor, tail

TODAY = date(2026, 6, 1)
CALIBRATION = {
    "date": "2026-06-01", "gauge_expanded_pa": 2000, "gauge_k": 2, "fit_residual_pa": 800, "fit_points": 6, "hysteresis_pa": 500,
    "repeatability_pa": 400, "repeats": 5, "drift_pa_per_month": 100, "thermal_pa_per_k": 50,
}  # fmt: skip
NONE = Calibration(0, 1, 0, 3, 0, 0, 2, 0, 0, 0)
LSB_PA = 1_000_000 / (0.8 * 2**14)


def chain(**changed: Any) -> dict[str, Any]:
    return {"full_scale": "10 bar", "total_error_band_percent": 1, **changed}


def test_what_a_chain_is_where_nothing_is_stated() -> None:
    assert Converter() == Converter(14, 2.0, 0.0)
    assert inflator(chain()) == Inflator(
        1_000_000, 0.01, 0.0, 0.0, True, Converter(14, 2.0, 0.0), 0.0, 0.0, 0.0, None, "", 0.1, 0.8
    )
    assert inflator(chain(calibration=CALIBRATION), TODAY).calibration == Calibration(
        2000, 2, 800, 6, 500, 400, 5, 100, 0, 50, 0.0, 0.0
    )


def test_every_entry_reaches_its_place() -> None:
    found = inflator(
        chain(
            name="Stand 2", supply_ratio_percent=3, reference_percent=4, reference_shared=False, mounting_pa=5, cracking_pa=6, barometer_pa=7,
            converter={"bits": 12, "integral_lsb": 8, "edge_step_lsb": 9},
        )
    )  # fmt: skip
    assert found == Inflator(
        1_000_000, 0.01, 0.03, 0.04, False, Converter(12, 8, 9), 5, 6, 7, None, "Stand 2"
    )


@pytest.mark.parametrize(
    ("entry", "lowest", "highest"),
    [("bits", 1, 32), ("integral_lsb", 0, 999_999_999.9), ("edge_step_lsb", 0, 999_999_999.9)],
)
def test_ends_of_a_converter_s_entries(entry: str, lowest: float, highest: float) -> None:
    for inside in (lowest, highest):
        inflator(chain(converter={entry: inside}))
    for outside in (lowest - 1, 1_000_000_000 if highest > 32 else 33):
        with pytest.raises(ValueError, match=entry):
            inflator(chain(converter={entry: outside}))


@pytest.mark.parametrize(
    ("entry", "least", "below"),
    [
        ("fit_points", 3, 2), ("repeats", 2, 1), ("kelvin_outside", 0, -0.1), ("gauge_k", 1e-9, 0), ("hysteresis_pa", 0, -1),
        ("drift_pa_per_month", 0, -1),
    ],
)  # fmt: skip
def test_ends_of_a_calibration_s_entries(entry: str, least: float, below: float) -> None:
    inflator(chain(calibration=CALIBRATION | {entry: least}), TODAY)
    with pytest.raises(ValueError, match=entry):
        inflator(chain(calibration=CALIBRATION | {entry: below}), TODAY)


@pytest.mark.parametrize("entry", [name for name in CALIBRATION if name.endswith(("_pa", "_k"))])
def test_a_calibration_without_one_of_its_sizes_is_refused(entry: str) -> None:
    less = {name: value for name, value in CALIBRATION.items() if name != entry}
    with pytest.raises(KeyError, match=entry):
        inflator(chain(calibration=less), TODAY)


@pytest.mark.parametrize("entry", ["full_scale", "total_error_band_percent"])
def test_a_chain_needs_its_scale_and_its_class(entry: str) -> None:
    with pytest.raises(KeyError, match=entry):
        inflator({name: value for name, value in chain().items() if name != entry})


@pytest.mark.parametrize("wrong", [True, "1", None, math.inf, -math.inf, math.nan, [1]])
@pytest.mark.parametrize("entry", ["mounting_pa", "total_error_band_percent", "barometer_pa"])
def test_what_is_no_number_is_refused_by_name(entry: str, wrong: Any) -> None:
    with pytest.raises(ValueError, match=f"{entry} must be a number"):
        inflator(chain(**{entry: wrong}))


@pytest.mark.parametrize(
    ("day", "months"), [("2025-06-01", 365 / 30.4375), ("2022-06-01", 48), ("2026-05-31", 1 / 30.4375)]
)  # fmt: skip
def test_months_since_a_calibration_are_twelfths_of_a_year_of_365_and_a_quarter_days(
    day: str, months: float
) -> None:
    found = inflator(chain(calibration=CALIBRATION | {"date": day}), TODAY).calibration
    assert found.months == pytest.approx(months, rel=1e-12)


def test_a_calibration_of_today_is_taken_and_one_of_tomorrow_refused() -> None:
    assert inflator(chain(calibration=CALIBRATION), TODAY).calibration.months == 0
    with pytest.raises(ValueError, match="2026-06-02 lies in the future"):
        inflator(chain(calibration=CALIBRATION | {"date": "2026-06-02"}), TODAY)


@pytest.mark.parametrize(
    ("raw", "what"),
    [
        ({"guard_pa": 5000, "guard": "5 kPa"}, "both guard and guard_pa"),
        ({"guard_pa": 5000, "full_scale": "10 bar"}, "unknown keys"),
        ({"guard_pa": -1}, "from 0 to 1000000000"),
        ({"guard_pa": 1_000_000_001}, "from 0 to 1000000000"),
        ({"guard_pa": 0.5}, "whole number"),
        (chain(reference_shared=1), "reference_shared must be true or false"),
        (chain(converter={"bit": 12}), "converter has unknown keys"),
        (chain(calibration=CALIBRATION | {"month": 1}), "calibration has unknown keys"),
        (chain(mounting=1), "the file has unknown keys"),
    ],
)
def test_slips_are_refused_by_name(raw: dict[str, Any], what: str) -> None:
    with pytest.raises(ValueError, match=what):
        instrument(raw, TODAY)


def test_a_stored_guard_band_is_taken_as_it_is() -> None:
    assert instrument({"guard_pa": 1_000_000_000}).guard_pa == 1_000_000_000
    found = instrument({"guard": "12.3456 kPa", "name": "Stand 2"})
    assert (found.guard_pa, found.name, found.basis) == (
        12_346,
        "Stand 2",
        "stored in the inflator",
    )


def test_the_basis_of_a_guard_band_in_words() -> None:
    """U = 2 u with u² = (10,000² + (LSB/2)² + (2 LSB)²) / 3; class bound 1 % of 10 bar."""
    expanded = 2 * math.sqrt((10_000**2 + (LSB_PA / 2) ** 2 + (2 * LSB_PA) ** 2) / 3)
    plain = instrument(chain())
    assert plain.guard_pa == math.ceil(expanded)
    words = f"class bound, not calibrated; U {expanded:.0f} Pa, class 10000 Pa; false accept 2.28% "
    assert plain.basis.startswith(words)
    assert instrument(chain(calibration=CALIBRATION), TODAY).basis.startswith("calibrated; U ")


def test_a_file_may_be_100_kb(tmp_path: Path) -> None:
    path = tmp_path / "instrument.json"
    path.write_text(json.dumps({"guard_pa": 5000}).ljust(100_000))
    assert load_instrument(path).guard_pa == 5000
    path.write_text(json.dumps({"guard_pa": 5000}).ljust(100_001))
    with pytest.raises(Refused, match="larger than 100 kB") as refused:
        load_instrument(path)
    assert refused.value.id == "instrument-not-understood"


def test_a_guard_band_rounds_up_from_a_millionth_of_a_pascal_on() -> None:
    for extra, wanted in ((0.0, 10_000), (0.5e-6, 10_000), (3e-6, 10_001), (0.2, 10_001)):
        scale = Inflator(1_000_000, (10_000 + extra) / 1e6, calibration=NONE)
        assert guard_band(scale).guard_pa == wanted


@pytest.mark.parametrize(
    ("changed", "name", "half_width_pa"),
    [
        ({"hysteresis_pa": 600}, "hysteresis", 600),
        ({"drift_pa_per_month": 100, "months": 7}, "drift", 700),
        ({"thermal_pa_per_k": 50, "kelvin_outside": 9}, "thermal", 450),
        ({"beyond_pa": 900}, "above the points", 900),
    ],
)
def test_terms_of_a_calibration(changed: dict, name: str, half_width_pa: float) -> None:
    """Each is rectangular: half width over the root of 3. The converter's linearity is in the fit and not added again."""
    band = guard_band(Inflator(1_000_000, 0.01, calibration=replace(NONE, **changed)))
    assert band.terms[name] == pytest.approx(half_width_pa / math.sqrt(3))
    assert set(band.terms) == {name, "quantisation"}
    assert band.terms["quantisation"] == pytest.approx(LSB_PA / 2 / math.sqrt(3))


@pytest.mark.parametrize(
    ("changed", "name", "u_pa", "dof"),
    [
        ({"fit_residual_pa": 800, "fit_points": 6}, "fit residual", 800, 4),
        ({"fit_residual_pa": 800, "fit_points": 3}, "fit residual", 800, 1),
        ({"repeatability_pa": 800, "repeats": 5}, "repeatability", 800, 4),
        ({"gauge_expanded_pa": 2_000, "gauge_k": 2.5}, "reference gauge", 800, math.inf),
    ],
)
def test_terms_of_a_calibration_with_few_points(
    changed: dict, name: str, u_pa: float, dof: float
) -> None:
    chain_ = Inflator(
        1_000_000, 0.01, converter=Converter(31, 0, 0), calibration=replace(NONE, **changed)
    )
    band = guard_band(chain_)
    assert band.terms[name] == pytest.approx(u_pa)
    if dof == math.inf:
        assert band.combined.dof > 1e6
    else:
        assert band.combined.dof == pytest.approx(dof, abs=0.01)


def test_an_uncalibrated_reading_below_full_scale() -> None:
    """Supply ratio 1 % of the lever P + full scale / 8: 6,250 Pa at 5 bar, 11,250 Pa at full scale."""
    found = Inflator(1_000_000, 0.0, supply_ratio=0.01, converter=Converter(31, 0, 0))
    for at_pa, half in ((500_000, 6_250), (None, 11_250), (0, 1_250)):
        band = guard_band(found, at_pa)
        assert band.terms["supply ratio"] == pytest.approx(half / math.sqrt(3))


def test_terms_of_a_converter() -> None:
    """A half, the integral error and the step at a code's edge, each in steps of full scale over 0.8 x 2^bits, rectangular."""
    found = Inflator(1_000_000, 0.0, converter=Converter(12, 3.0, 5.0))
    lsb = 1_000_000 / (0.8 * 2**12)
    terms = guard_band(found).terms
    assert terms == {
        name: pytest.approx(steps * lsb / math.sqrt(3), rel=1e-9)
        for name, steps in (
            ("quantisation", 0.5),
            ("converter linearity", 3.0),
            ("code edges", 5.0),
        )
    }


@pytest.mark.parametrize("at_pa", [0, 500_000, 1_000_000])
def test_a_reference_counts_where_signal_and_supply_have_one_each(at_pa: int) -> None:
    """Half a per cent of the lever P + full scale / 8, once for the signal and once for the supply; a shared one cancels."""
    made = Inflator(1_000_000, 0.0, reference=0.005, converter=Converter(31, 0, 0))
    half = 0.005 * (at_pa + 125_000) / math.sqrt(3)
    terms = guard_band(replace(made, reference_shared=False), at_pa).terms
    assert terms["reference"] == pytest.approx(half) == terms["supply's reference"]
    shared = guard_band(made, at_pa).terms
    assert "supply's reference" not in shared and shared.get("reference", 0) < 1e-6


def test_a_core_that_cracks_late_adds_its_mean() -> None:
    """A term from 0 to 6,000 Pa: mean 3,000 added to 2 · 6,000/√12, and taken off again for the share falsely accepted."""
    found = Inflator(1_000_000, 0.0, cracking_pa=6_000, converter=Converter(31, 0, 0))
    band = guard_band(found)
    assert band.guard_pa == math.ceil(3_000 + 2 * 6_000 / math.sqrt(12))
    assert band.false_accept.probability == pytest.approx(0.02275, abs=1e-4)
    assert module.GUARD_RATIO == 1.0


@pytest.mark.parametrize("dof", [1, 5, 99_999, 1e5, 1e9, math.inf])
def test_the_tail_at_its_ends(dof: float) -> None:
    assert tail(0.0, dof) == 0.5 and tail(math.inf, 5) == 0.0 and tail(-math.inf, 5) == 1.0
    assert tail(-2.0, dof) == pytest.approx(1 - tail(2.0, dof), abs=1e-12)


@pytest.mark.parametrize(
    ("t", "dof", "p"),
    [
        # one degree of freedom: 1/2 - atan(t)/pi; two: (1 - t / sqrt(2 + t²)) / 2
        *((t, 1, 0.5 - math.atan(t) / math.pi) for t in (0.1, 1, 12.706, 63.657)),
        *((t, 2, (1 - t / math.sqrt(2 + t * t)) / 2) for t in (0.1, 1, 4.303, 9.925)),
        *((-t, 2, (1 + t / math.sqrt(2 + t * t)) / 2) for t in (0.1, 1, 4.303)),
    ],
)
def test_the_tail_where_it_has_a_closed_form(t: float, dof: float, p: float) -> None:
    assert tail(t, dof) == pytest.approx(p, rel=1e-11)


@pytest.mark.parametrize("t", [-3, 0.5, 1, 2, 3, 4, 5])
@pytest.mark.parametrize("dof", [1e5, 2e5, 1e7])
def test_many_degrees_of_freedom(t: float, dof: float) -> None:
    """Expansion about the normal law (Abramowitz and Stegun 26.7.5): phi t (t² + 1) / (4 n), and its next term."""
    phi = math.exp(-t * t / 2) / math.sqrt(2 * math.pi)
    first = t * (t * t + 1) / (4 * dof)
    second = t * (3 * t**6 - 7 * t**4 - 5 * t * t - 3) / (96 * dof**2)
    wanted = 0.5 * math.erfc(t / math.sqrt(2)) + phi * (first + second)
    assert tail(t, dof) == pytest.approx(wanted, rel=2e-7)


@pytest.mark.parametrize(
    ("probability", "dof", "k"),
    [
        *((p, 1, math.tan(math.pi * p / 2)) for p in (0.01, 0.5, 0.6827, 0.95, 0.9973)),
        *((p, 2, p * math.sqrt(2 / (1 - p * p))) for p in (0.01, 0.5, 0.6827, 0.95, 0.9973)),
    ],
)
def test_the_factor_where_it_has_a_closed_form(probability: float, dof: float, k: float) -> None:
    assert coverage_factor(probability, dof) == pytest.approx(k, rel=1e-9)
    for wrong in ((0, dof), (1, dof), (probability, 0), (probability, -1)):
        with pytest.raises(ValueError):
            coverage_factor(*wrong)
    assert coverage_factor(0.5, 0.5) > coverage_factor(0.5, 1)
