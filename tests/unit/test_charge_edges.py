"""Edges of a charge from a cartridge: which place and heat count, what a search for the largest charge ends at. Ideal figures by hand: p V = n R T."""

from dataclasses import replace

import pytest
from rimward.limits.cartridge import charge as module
from rimward.limits.cartridge.charge import Charge, charge_tyre, largest_grams
from rimward.limits.volume import Volumes

R, CO2 = 8.31446261815324, 44.0095
LITRES = Volumes(1.0, 1.2, 1.5)


@pytest.mark.parametrize(
    ("changed", "top_m", "hottest_c"),
    [
        ({}, 0, 20),
        ({"altitude_m": 500, "temp_c": 5}, 500, 5),
        ({"altitude_m": 500, "ride_altitude_max_m": 400, "ride_temp_max_c": 19}, 500, 20),
        ({"altitude_m": -50, "ride_altitude_max_m": 0, "temp_c": -3, "ride_temp_max_c": 0}, 0, 0),
        ({"ride_altitude_max_m": 2_400, "ride_temp_max_c": 45}, 2_400, 45),
    ],
)
def test_ride_and_place_whichever_is_higher_and_hotter(
    changed: dict[str, float], top_m: float, hottest_c: float
) -> None:
    one = Charge(16, LITRES, **changed)
    assert (one.top_m, one.hottest_c) == (top_m, hottest_c)
    found = charge_tyre(one)
    assert (found.hottest.temp_c, found.settled.temp_c) == (hottest_c, one.temp_c)


def test_what_a_charge_may_be() -> None:
    for wrong in ({"start": "other"}, {"start": "flat-tube", "start_pa": 1}):
        with pytest.raises(ValueError, match="start"):
            Charge(16, LITRES, **wrong)
    Charge(16, LITRES, "flat-tube", 0)
    assert module.OVERNIGHT_LOSS_PERCENT == (10, 60)
    assert (module.JUST_AFTER_C, module.JUST_AFTER_BAND_C) == (-10.0, (-20.0, 0.0))


@pytest.mark.parametrize("start", ["seated", "flat-tube"])
@pytest.mark.parametrize("start_pa", [0, 50_000])
def test_the_ideal_figure_by_hand(start: str, start_pa: int) -> None:
    """Pressure of the gas added at 20 °C in the low volume; a seated tyre holds its air as well."""
    if start == "flat-tube" and start_pa:
        return
    gas = 16 / CO2 * R * 293.15 / 0.001
    wanted = gas + start_pa if start == "seated" else gas - 101_325
    found = charge_tyre(Charge(16, LITRES, start, start_pa))
    assert found.ideal_pa == pytest.approx(wanted, rel=1e-4)
    flat = charge_tyre(Charge(0.01, LITRES, "flat-tube"))
    assert flat.ideal_pa == flat.settled.low_volume_pa == flat.just_after_band_pa[0] == 0
    below_ideal = found.settled.low_volume_pa / wanted
    assert 0.9 < below_ideal < 1.0


def test_just_after_is_never_warmer_than_where_it_settles() -> None:
    for temp_c, cold in ((20, -10), (-9, -10), (-10, -10), (-15, -15)):
        found = charge_tyre(Charge(16, LITRES, temp_c=temp_c))
        assert found.just_after.temp_c == cold
        low, high = found.just_after_band_pa
        assert low <= found.just_after.low_volume_pa <= high
    frozen = charge_tyre(Charge(16, LITRES, temp_c=-25))
    assert frozen.just_after == frozen.settled
    assert frozen.just_after_band_pa == (frozen.settled.low_volume_pa,) * 2
    mild = charge_tyre(Charge(16, LITRES, temp_c=30))
    for at, temp_c in zip(mild.just_after_band_pa, (-20, 0)):
        seated = module._gauge(Charge(16, LITRES, temp_c=30), 16, 0.001, temp_c)
        assert at == seated


def test_each_volume_has_its_pressure() -> None:
    """Twice the volume, half the absolute pressure of the gas, about."""
    state = charge_tyre(Charge(8, LITRES)).settled
    gas = [8 / CO2 * R * 293.15 / litres * 1000 for litres in (1.0, 1.2, 1.5)]
    for found, ideal in zip(
        (state.low_volume_pa, state.nominal_volume_pa, state.high_volume_pa), gas
    ):
        assert 0.95 * ideal < found < ideal


def test_without_a_limit_nothing_is_compared() -> None:
    found = charge_tyre(Charge(16, LITRES))
    assert (found.over_ceiling, found.largest_grams) == (None, None)
    assert charge_tyre(Charge(16, LITRES), 100_000_000).over_ceiling is False
    assert charge_tyre(Charge(16, LITRES), 10_000).over_ceiling is True
    assert charge_tyre(Charge(16, LITRES), 100_000_000, ceiling_pa=10_000).over_ceiling is True


@pytest.mark.parametrize("bound", ["limit", "ceiling"])
def test_the_largest_charge_is_within_and_a_hundredth_more_is_not(bound: str) -> None:
    """The ride's heat and height count against the limit, the place against the ceiling."""
    one = Charge(1, LITRES, ride_temp_max_c=45, ride_altitude_max_m=2_000)
    given = (400_000, None) if bound == "limit" else (10_000_000, 400_000)
    grams = largest_grams(one, *given)
    assert round(grams * 100) == pytest.approx(grams * 100, abs=1e-9)
    assert not module._over(one, grams, *given) and module._over(one, grams + 0.01, *given)
    shown = [charge_tyre(replace(one, grams=grams + more)) for more in (0, 0.01)]
    states = [one.hottest if bound == "limit" else one.settled for one in shown]
    assert states[0].low_volume_pa <= 400_000 < states[1].low_volume_pa
    ideal = 400_000 * 0.001 / (R * (318.15 if bound == "limit" else 293.15)) * CO2
    assert grams == pytest.approx(ideal, rel=0.12)


def test_a_tyre_that_is_over_already_takes_nothing_and_one_without_end_stops() -> None:
    assert largest_grams(Charge(1, LITRES, start_pa=300_000), 200_000) == 0.0
    assert largest_grams(Charge(1, LITRES, start_pa=300_000), 300_000) == 0.0
    flat = Charge(1, LITRES, "flat-tube", ride_altitude_max_m=0)
    assert 0 < largest_grams(flat, 0) < 2
    assert largest_grams(flat, 10**15) <= 131_072


def test_the_range_of_the_gas_model(monkeypatch: pytest.MonkeyPatch) -> None:
    """The higher of the two states, absolute."""
    hot = charge_tyre(Charge(16, LITRES, ride_temp_max_c=45))
    absolute = hot.hottest.low_volume_pa + Charge(16, LITRES).ambient_pa
    assert not hot.past_validity
    for bound, past in ((absolute - 1, True), (absolute, False), (absolute + 1, False)):
        monkeypatch.setattr(module, "VALID_TO_PA", bound)
        assert charge_tyre(Charge(16, LITRES, ride_temp_max_c=45)).past_validity is past
    cold = charge_tyre(Charge(16, LITRES)).settled.low_volume_pa + 101_325
    monkeypatch.setattr(module, "VALID_TO_PA", cold - 1)
    assert charge_tyre(Charge(16, LITRES)).past_validity
