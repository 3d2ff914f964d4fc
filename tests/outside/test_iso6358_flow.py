"""Flow through ISO 6358 restrictions at published-form rows.

Formula: MapleSim and MathWorks help pages for ISO 6358 (Sanville form). rho0 = 1.185 kg/m3, T0 = 293.15 K: ISO 8778, from memory.
Rows computed from that formula outside this project's code. Unit: 1 dm3/(s bar) = 1e-8 m3/(s Pa).
"""

from math import sqrt

import pytest
from rimward.simulation.plant.air import restriction
from rimward.simulation.plant.gas import C_UNIT, mass_flow, row_flow, series

ROWS = [  # C dm3/(s bar), b, p1 Pa, p2 Pa, g/s, L/min ANR
    (0.2, 0.2, 601325.0, 101325.0, 1.42514025, 72.159000),
    (0.2, 0.5, 601325.0, 101325.0, 1.42514025, 72.159000),
    (0.2, 0.528, 601325.0, 101325.0, 1.42514025, 72.159000),
    (0.2, 0.2, 601325.0, 301325.0, 1.32034474, 66.852898),
    (0.2, 0.5, 601325.0, 301325.0, 1.42513679, 72.158825),
    (0.2, 0.528, 601325.0, 301325.0, 1.42514025, 72.159000),
    (0.2, 0.2, 601325.0, 401325.0, 1.15660492, 58.562275),
    (0.2, 0.5, 601325.0, 401325.0, 1.34289311, 67.994588),
    (0.2, 0.528, 601325.0, 401325.0, 1.36156727, 68.940115),
    (0.2, 0.2, 601325.0, 501325.0, 0.86984570, 44.042820),
    (0.2, 0.5, 601325.0, 501325.0, 1.06129965, 53.736691),
    (0.2, 0.528, 601325.0, 501325.0, 1.08584338, 54.979412),
    (0.2, 0.2, 801325.0, 601325.0, 1.37819627, 69.782089),
    (0.2, 0.5, 801325.0, 601325.0, 1.64379619, 83.230187),
    (0.2, 0.528, 801325.0, 601325.0, 1.67507683, 84.814017),
    (0.2, 0.2, 901325.0, 601325.0, 1.73410286, 87.802676),
    (0.2, 0.5, 901325.0, 601325.0, 2.01323095, 101.935744),
    (0.2, 0.528, 901325.0, 601325.0, 2.04119251, 103.351520),
    (1.0, 0.2, 601325.0, 101325.0, 7.12570125, 360.795000),
    (1.0, 0.2, 601325.0, 401325.0, 5.78302461, 292.811373),
    (1.0, 0.5, 601325.0, 501325.0, 5.30649827, 268.683457),
    (1.0, 0.528, 801325.0, 601325.0, 8.37538414, 424.070083),
    (1.0, 0.2, 901325.0, 601325.0, 8.67051430, 439.013382),
    (1.0, 0.528, 901325.0, 601325.0, 10.20596257, 516.757599),
]


@pytest.mark.parametrize("c, b, p1, p2, g_s, l_min", ROWS)
def test_flow_row(c, b, p1, p2, g_s, l_min):
    flow = mass_flow(c * C_UNIT, b, p1, p2)
    assert flow * 1000.0 == pytest.approx(g_s, rel=1e-7)
    assert flow / 1.185 * 60000.0 == pytest.approx(l_min, rel=1e-7)


@pytest.mark.parametrize("c, b, p1, p2, g_s, l_min", ROWS)
def test_the_step_of_the_plant_has_the_same_flow_when_nothing_yields(c, b, p1, p2, g_s, l_min):
    flow = restriction(c * C_UNIT * 1.185, b, 1.0 / (1.0 - b), p1, p2, 0.0, 0.0)
    assert flow * 1000.0 == pytest.approx(g_s, rel=1e-7)


def test_warm_air_flows_by_the_root_of_its_temperature():
    cold, warm = mass_flow(1e-8, 0.3, 6e5, 5e5, 293.15), mass_flow(1e-8, 0.3, 6e5, 5e5, 350.0)
    assert warm / cold == pytest.approx(sqrt(293.15 / 350.0), rel=1e-12)


def test_flow_turns_with_the_pressures():
    assert mass_flow(1e-8, 0.3, 5e5, 6e5) == -mass_flow(1e-8, 0.3, 6e5, 5e5)
    assert mass_flow(1e-8, 0.3, 5e5, 5e5) == 0.0


def test_two_equal_restrictions_in_series_lie_near_the_rules_of_thumb():
    """1/C^3 rule 0.7937, 1/C^2 rule 0.7071 (pneumatics handbooks, from memory); the solved row chokes between or just beyond them."""
    for b in (0.2, 0.3, 0.5):
        c, fitted_b = series(((1e-8, b), (1e-8, b)))
        assert 0.68e-8 < c < 0.95e-8
        assert 0.0 <= fitted_b < b + 0.1


@pytest.mark.parametrize("ratio", [0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.995])
def test_the_fitted_row_carries_what_the_restrictions_one_by_one_carry(ratio):
    """Hose, chuck and valve core of the reference inflator: one (C, b) against the row solved exactly."""
    parts = ((1.5e-8, 0.3), (0.8e-8, 0.3), (0.25e-8, 0.3))
    c, b = series(parts)
    exact = row_flow(parts, 6e5, ratio * 6e5)
    assert mass_flow(c, b, 6e5, ratio * 6e5) == pytest.approx(exact, rel=0.012)
