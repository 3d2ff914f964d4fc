"""The hardware folder's flow function against rows computed from ISO 6358's formula outside this project, ISO 4126-1 and the stated rules of thumb."""

import pytest

from hardware import air
from hardware.params import PARAMS

# C dm3/(s bar), b, p1 Pa, p2 Pa (absolute) -> psi, q_m g/s (computed there from the formula of two published help pages)
ROWS = [
    (0.2, 0.2, 601325.0, 101325.0, 1.0, 1.42514025),
    (0.2, 0.5, 601325.0, 301325.0, 0.99999757, 1.42513679),
    (0.2, 0.2, 601325.0, 401325.0, 0.81157270, 1.15660492),
    (0.2, 0.528, 601325.0, 501325.0, 0.76192037, 1.08584338),
    (0.2, 0.5, 801325.0, 601325.0, 0.86554755, 1.64379619),
    (1.0, 0.2, 901325.0, 601325.0, 0.81179261, 8.67051430),
    (1.0, 0.5, 601325.0, 401325.0, 0.94228839, 6.71446557),
    (1.0, 0.528, 901325.0, 601325.0, 0.95555173, 10.20596257),
]


@pytest.mark.parametrize("c,b,p1,p2,psi,grams", ROWS)
def test_flow_rows(c, b, p1, p2, psi, grams):
    assert air.psi(p2 / p1, b) == pytest.approx(psi, abs=1e-8)
    assert air.mass_flow(c, b, p1, p2) * 1000 == pytest.approx(grams, rel=1e-8)


def test_no_flow_uphill():
    assert air.flow(1.0, 0.3, 2e5, 2e5) == 0 and air.flow(1.0, 0.3, 2e5, 3e5) == 0


def test_choked_rise_of_a_tyre():
    """V 1.77 L, C 0.2, 901 325 Pa: 101.55663 kPa/s with rho0 R T0 = 99 717 Pa; here free air is counted at 100 kPa, 0.3 % more."""
    rise = air.flow(0.2, 0.3, 901325.0, 101325.0) * 1e5 / 1.77e-3
    assert rise == pytest.approx(101556.63, rel=0.004)


def test_bores_fit_the_rule_of_thumb():
    """C about 0.128 d2 (pneumatics handbooks, from memory): 2.5 mm vent 0.80, 1.25 mm restrictor 0.20."""
    assert pytest.approx(PARAMS["vent_c"].nom, rel=0.01) == 0.128 * 2.5**2
    assert pytest.approx(PARAMS["inlet_c"].nom, rel=0.01) == 0.128 * 1.25**2


@pytest.mark.parametrize("name,set_pa", [("relief_low", 590e3), ("relief_high", 1050e3)])
def test_relief_tolerance_is_that_of_iso_4126(name, set_pa):
    """ISO 4126-1 (read in a copy of the 2016 amendment): set pressure 3 % or 0.1 bar, the greater; overpressure 10 % or 0.1 bar at most."""
    tolerance = max(0.03 * set_pa, 10e3)
    p = PARAMS[name]
    assert (p.low, p.high) == pytest.approx((set_pa - tolerance, set_pa + tolerance))
    assert PARAMS["relief_over"].high == 0.10


def test_receiver_rule_for_comparison():
    """29 CFR 1910.169(b)(3) (seen beside 1910.177): relief at no more than 110 % of the allowed pressure. Hose and parts are rated for 16 bar."""
    assert PARAMS["relief_high"].high * 1.10 < 1.6e6
