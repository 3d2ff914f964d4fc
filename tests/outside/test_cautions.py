"""Safety rules with numbers, quoted with their source, against the figures that the project acts on.

Bicycles are outside the scope of 29 CFR 1910.177; it is used by analogy. What README shows of them: tests/unit/test_readme_cautions.py.
"""

import re

import pytest
from rimward.base.units import parse_pressure
from rimward.limits.energy import HIGHLY_HAZARDOUS_J, stored_energy
from rimward.proof.plan import SEATING_MAX_PA
from rimward_protocol import codes

from hardware.air_parts import AIR_PARTS

PSI_PA = 6894.757  # NIST SP 811 (2008), appendix B.8: psi to pascal 6.894 757 E+03
FOOT_M, INCH_M = 0.3048, 0.0254  # NIST SP 811: exact


@pytest.mark.parametrize("seat_max_pa", [codes.SEAT_PAUSE_MAX_PA, SEATING_MAX_PA])
def test_bead_seating_stays_at_or_under_40_psi(seat_max_pa):
    """California Code of Regulations, Title 8, section 3325: beads are seated at not more than 40 psi, here to the whole bar/20 below it."""
    assert 40 * PSI_PA - 1_000 < seat_max_pa <= 40 * PSI_PA


def test_class_limit_of_a_straight_side_rim_is_5_bar_not_73_psi():
    """ETRTO since the 2020/21 manual, as a tyre maker's technical page quotes it: 5 bar. A rim maker prints 73 psi, which is above it."""
    assert codes.STRAIGHT_SIDE_LIMIT_PA == 500_000 == codes.RIG_LOW_CEILING_PA
    assert parse_pressure("73 psi") > codes.STRAIGHT_SIDE_LIMIT_PA > parse_pressure("72.5 psi")


def test_the_hose_is_long_enough_for_title_8():
    """Title 8 section 3325: at least 24 in of hose between clip-on chuck and in-line valve or gauge."""
    hose = next(part for part in AIR_PARTS if part.ref == "H1")
    length_m = float(re.search(r"([\d.]+) m\b", hose.text)[1])
    assert length_m >= 24 * INCH_M


def test_no_tyre_reaches_what_is_called_highly_hazardous():
    """Berkeley EHS, pressure safety: above 100 kJ of stored energy a system is highly hazardous. A 62-622 at 9 bar stays far under it."""
    assert HIGHLY_HAZARDOUS_J == 100_000
    assert (
        max(method.energy_j for method in stored_energy(codes.RIG_HIGH_CEILING_PA, 0.0065))
        < 0.2 * HIGHLY_HAZARDOUS_J
    )
