"""Stored energy at the ends of its range: near ambient, under vacuum, at altitude; which method is lowest and highest where."""

from collections.abc import Callable

import pytest
from rimward.limits import energy


def by_method(gauge_pa: float, ambient_pa: float = energy.AMBIENT_PA) -> dict[str, float]:
    return {m.id: m.energy_j for m in energy.stored_energy(gauge_pa, 0.001, ambient_pa)}


@pytest.mark.parametrize("gauge_pa", [0.0, -1e-9, -50.0, -60_000.0, -101_324.999, -101_325.0])
def test_at_or_under_ambient_nothing_is_stored(gauge_pa: float) -> None:
    assert set(by_method(gauge_pa).values()) == {0.0}


def test_under_vacuum_is_refused() -> None:
    with pytest.raises(ValueError, match="vacuum"):
        energy.stored_energy(-101_326.0, 0.001)


def test_a_soft_tyre_at_altitude_has_no_pcc2_energy() -> None:
    found = by_method(10_000, 70_000)
    assert (
        found["pcc2"]
        == 0
        < min(found["isentropic"], found["brode"], found["isothermal"], found["availability"])
    )


@pytest.mark.parametrize("ambient_pa", [70_000, 101_325])
@pytest.mark.parametrize(
    ("ratio", "lowest", "highest"),
    [(1.2, "availability", "brode"), (6.5, "availability", "brode"), (6.8, "isentropic", "brode"), (9.1, "isentropic", "brode"), (9.5, "isentropic", "isothermal")],
)  # fmt: skip
def test_which_method_is_lowest_and_highest(
    ambient_pa: float, ratio: float, lowest: str, highest: str
) -> None:
    four = {
        name: joules
        for name, joules in by_method((ratio - 1) * ambient_pa, ambient_pa).items()
        if name != "pcc2"
    }
    assert (min(four, key=four.__getitem__), max(four, key=four.__getitem__)) == (lowest, highest)


def test_what_cannot_be_is_refused() -> None:
    for ambient_pa in (0.0, -1.0):
        with pytest.raises(ValueError, match="ambient"):
            energy.isothermal_j(500_000, 0.001, ambient_pa)
    for factor in (0, 3):
        with pytest.raises(ValueError, match="factor"):
            energy.pcc2_scaled_distance_m(5000, factor)
    assert energy.isothermal_j(101_325, 0.0) == 0.0
    assert energy.isothermal_j(500_000, 0.001, 1.0) > 0


def test_later_editions_count_twice_where_no_edition_is_named() -> None:
    assert energy.pcc2_scaled_distance_m(5_000) == energy.pcc2_scaled_distance_m(5_000, 2)


def test_every_method_counts_from_ambient_on() -> None:
    """PCC-2 has 101.0 kPa as its ambient: at sea level it counts 0.8 J/L from the first pascal on, and nothing at ambient itself."""
    for gauge_pa, counted in ((0.0, False), (0.5, True)):
        found = {one.id: one.energy_j for one in energy.stored_energy(gauge_pa, 0.001)}
        assert (found["pcc2"] > 0.2) is counted
        assert all(0 <= found[name] < 0.002 for name in found if name != "pcc2")


@pytest.mark.parametrize(
    "function",
    [
        energy.isentropic_j,
        energy.brode_j,
        energy.isothermal_j,
        energy.availability_j,
        energy.pcc2_j,
    ],
)
@pytest.mark.parametrize(
    ("pressure_pa", "volume_m3"),
    [(50_000.0, 0.001), (500_000.0, -0.001), (float("nan"), 0.001), (500_000.0, float("inf"))],
)
def test_each_method_refuses_what_cannot_be(
    function: Callable[[float, float], float], pressure_pa: float, volume_m3: float
) -> None:
    with pytest.raises(ValueError, match="finite|below"):
        function(pressure_pa, volume_m3)


def test_each_method_at_one_point() -> None:
    """500 kPa gauge in a litre, worked out apart: p V/(k-1)(1-(a/p)^((k-1)/k)), (p-a)V/(k-1), p V ln(p/a), a V (r ln r - r + 1)."""
    found = by_method(500_000)
    expected = {
        "isentropic": 599.50,
        "brode": 1250.0,
        "isothermal": 1070.84,
        "availability": 570.84,
    }
    assert {name: round(found[name], 2) for name in expected} == pytest.approx(expected, abs=0.01)
