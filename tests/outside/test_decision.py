"""Decision rules: ILAC-G8:09/2019, ISO 14253-1:2017 and JCGM 106:2012; normal probabilities computed apart from this package."""

import pytest
from rimward.base.units import psi_down
from rimward.limits.uncertainty.decision import (
    acceptance_limit,
    conformance_probability,
    false_accept,
)
from rimward.limits.uncertainty.student import coverage_factor


@pytest.mark.parametrize(
    ("r", "percent"),
    [
        (0.0, 50.0),
        (0.5, 15.8655254),
        (0.83, 4.8457226),
        (1.0, 2.2750131948),
        (1.25, 0.6209665),
        (1.5, 0.1349898),
    ],
)
def test_false_accept_of_a_guard_band(r: float, percent: float) -> None:
    """w = r U with U = 2 u, a reading exactly at the acceptance limit, no prior, normal. ILAC-G8: w = 0 up to 50 %, w = U below 2.5 %."""
    assert false_accept(r * 2.0, 1.0).probability * 100 == pytest.approx(percent, abs=1e-7)


@pytest.mark.parametrize(
    ("y", "u", "limit", "p"),
    [
        (494, 3, 500, 0.9772498680518208),
        (497, 3, 500, 0.8413447460685429),
        (490, 3, 500, 0.9995709396668032),
        (-5.47, 0.05, -5.40, 0.9192433407662273),
    ],
)
def test_conformance_probability(y: float, u: float, limit: float, p: float) -> None:
    """Last row: JCGM 106 clause 7, the Zener diode (from memory)."""
    assert conformance_probability(y, u, limit) == pytest.approx(p, rel=1e-12)


def test_speed_radar() -> None:
    """JCGM 106 clause 8 (from memory): 100 km/h, u = 2 %, 99.9 % one-sided: 106.58761 km/h."""
    assert 100 / (1 - 0.02 * coverage_factor(0.998)) == pytest.approx(106.58761, abs=1e-5)


@pytest.mark.parametrize(
    ("expanded", "limit", "psi"),
    [
        (2, 498, "72.2"),
        (5, 495, "71.7"),
        (10, 490, "71.0"),
        (12.5, 487.5, "70.7"),
        (25, 475, "68.8"),
    ],
)
def test_500_kpa_with_a_guard_band(expanded: float, limit: float, psi: str) -> None:
    """w = U; psi 72.2287934, 71.7936802, 71.0684915, 70.7058971, 68.8929254, shown rounded down."""
    assert acceptance_limit(500, expanded) == limit and psi_down(int(limit * 1000)) == psi
