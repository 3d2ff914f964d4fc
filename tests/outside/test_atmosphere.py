"""The standard atmosphere against published values and two independent libraries."""

import ambiance
import fluids
import pytest
from rimward.base.atmosphere import (
    EXPONENT,
    ambient_pa,
    geopotential_m,
    pressure_at_geopotential_pa,
    temperature_k,
)

# level m: US 1976 geopotential Pa, geometric Pa, T at geopotential, T at geometric, H(Z). Source: US Standard Atmosphere 1976, its formula
# and constants, computed apart from this package.
ROWS = """
0|101325.0000|101325.0000|288.1500|288.1500|0.0000
100|100129.4386|100129.4573|287.5000|287.5000|99.9984
250|98357.5361|98357.6514|286.5250|286.5251|249.9902
500|95460.8393|95461.2895|284.9000|284.9003|499.9607
750|92633.6114|92634.5999|283.2750|283.2756|749.9115
1000|89874.5705|89876.2852|281.6500|281.6510|999.8427
1500|84556.0048|84559.6767|278.4000|278.4023|1499.6461
1609.344|83427.5882|83431.7691|277.6893|277.6919|1608.9367
2000|79495.2155|79501.4246|275.1500|275.1541|1999.3709
2500|74682.5337|74691.7565|271.9000|271.9064|2499.0172
3000|70108.5447|70121.1622|268.6500|268.6592|2998.5849
3500|65764.0844|65780.3905|265.4000|265.4125|3498.0740
4000|61640.2353|61660.4441|262.1500|262.1664|3997.4846
5000|54019.9121|54048.2861|255.6500|255.6755|4996.0703
"""
TABLE = [tuple(float(cell) for cell in line.split("|")) for line in ROWS.split()]


@pytest.mark.parametrize(
    ("level", "geopotential", "geometric", "t_geopotential", "t_geometric", "height"), TABLE
)
def test_every_row(
    level: float,
    geopotential: float,
    geometric: float,
    t_geopotential: float,
    t_geometric: float,
    height: float,
) -> None:
    assert pressure_at_geopotential_pa(level) == pytest.approx(geopotential, rel=1e-8)
    assert ambient_pa(level) == pytest.approx(geometric, rel=1e-8)
    assert temperature_k(level) == pytest.approx(t_geopotential, abs=6e-5)
    assert temperature_k(geopotential_m(level)) == pytest.approx(t_geometric, abs=6e-5)
    assert geopotential_m(level) == pytest.approx(height, abs=6e-5)


@pytest.mark.parametrize("level", [row[0] for row in TABLE])
def test_against_fluids_and_ambiance(level: float) -> None:
    assert ambient_pa(level) == pytest.approx(fluids.ATMOSPHERE_1976(level).P, rel=1e-6)
    assert ambient_pa(level) == pytest.approx(
        float(ambiance.Atmosphere(level).pressure[0]), rel=2e-6
    )  # ICAO 7488's rounded gas constant


@pytest.mark.parametrize(
    ("level", "published"),
    [(500, 9.5461e4), (1000, 8.9876e4), (2000, 7.9501e4), (3000, 7.0121e4), (5000, 5.4048e4)],
)
def test_published_five_digits(level: float, published: float) -> None:
    """US Standard Atmosphere 1976, table I, geometric altitude; from memory."""
    assert ambient_pa(level) == pytest.approx(published, abs=1)


def test_exponent() -> None:
    """g0 M / (R* L) with the 1976 constants."""
    assert pytest.approx(5.255876113278518, rel=1e-12) == EXPONENT


@pytest.mark.parametrize(
    ("level", "shift_kpa"),
    [
        (500, 5.8637105),
        (1000, 11.4487148),
        (1500, 16.7653233),
        (2000, 21.8235754),
        (2500, 26.6332435),
        (3000, 31.2038378),
        (4000, 39.6645559),
        (5000, 47.2767139),
    ],
)
def test_gauge_shift_of_a_sealed_tyre(level: float, shift_kpa: float) -> None:
    """101.325 kPa less the geometric pressure; computed apart from this package."""
    assert (101_325 - ambient_pa(level)) / 1000 == pytest.approx(shift_kpa, abs=1e-6)


@pytest.mark.parametrize("level", [-501, 9001, float("nan")])
def test_outside_the_table_is_an_error(level: float) -> None:
    with pytest.raises(ValueError):
        ambient_pa(level)
