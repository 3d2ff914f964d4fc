"""Orifice as a sonic conductance: ideal-nozzle choked flow, k = 1.4, R = 287.05287 (gas dynamics textbooks; rows computed outside
this project)."""

from math import sqrt

import pytest
from rimward.simulation.plant.gas import GAMMA, R_AIR, mass_flow, orifice_c

ROWS = [  # diameter mm, discharge coefficient, g/s choked at 601325 Pa and 293.15 K, C dm3/(s bar)
    (1.0, 1.0, 1.1147912, 0.1564465),
    (1.0, 0.61, 0.6800226, 0.0954324),
    (1.0, 0.72, 0.8026497, 0.1126415),
    (1.0, 0.84, 0.9364246, 0.1314151),
    (2.0, 0.65, 2.8984571, 0.4067610),
    (0.5, 0.65, 0.1811536, 0.0254226),
    (4.0, 0.9, 16.0529930, 2.2528299),
]


@pytest.mark.parametrize("diameter_mm, discharge, g_s, c", ROWS)
def test_orifice(diameter_mm, discharge, g_s, c):
    conductance = orifice_c(diameter_mm / 1000.0, discharge)
    assert conductance * 1e8 == pytest.approx(c, abs=1e-7)  # one unit of the last digit
    assert mass_flow(conductance, 0.528, 601325.0, 101325.0) * 1000.0 == pytest.approx(
        g_s, abs=1e-7
    )


def test_ideal_nozzle_constants():
    """Definition: critical ratio 0.52828 and choked coefficient 0.0404147 s sqrt(K)/m for air."""
    assert pytest.approx(0.5282817877171742, rel=1e-12) == (2.0 / (GAMMA + 1.0)) ** (
        GAMMA / (GAMMA - 1.0)
    )
    assert sqrt(GAMMA / R_AIR * (2.0 / (GAMMA + 1.0)) ** 6) == pytest.approx(
        0.04041469754796885, rel=1e-9
    )


@pytest.mark.parametrize("diameter_mm, c", [(0.5, 0.032), (1.0, 0.128), (2.0, 0.512), (4.0, 2.048)])
def test_rule_of_thumb(diameter_mm, c):
    """C ~ 0.128 d^2 (pneumatics handbooks, from memory) is an orifice with a discharge coefficient near 0.82."""
    assert orifice_c(diameter_mm / 1000.0, 0.818) * 1e8 == pytest.approx(c, rel=0.01)
