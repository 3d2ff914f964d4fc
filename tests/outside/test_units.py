"""Unit conversions against their definitions, NIST SP 811 and trade texts."""

from fractions import Fraction

import pytest
from rimward.base.units import KGF_CM2_PA, PSI_PA, bar_down, parse_pressure, psi_down


def test_definitions() -> None:
    """psi = 0.45359237 kg x 9.80665 m/s2 / (0.0254 m)^2; kgf/cm2 = 98 066.5 Pa. NIST SP 811 prints 6.894 757 E+03 (from memory)."""
    assert float(PSI_PA) == pytest.approx(6894.757293168361, rel=1e-15)
    assert f"{float(PSI_PA):.3f}" == "6894.757"
    assert Fraction("98066.5") == KGF_CM2_PA and float(KGF_CM2_PA / PSI_PA) == pytest.approx(
        14.223343307119563, rel=1e-14
    )


@pytest.mark.parametrize(
    ("bar", "psi"),
    [
        (2, 29.007547546),
        (3, 43.511321319),
        (4, 58.015095092),
        (4.5, 65.266981979),
        (5, 72.518868865),
        (5.5, 79.770755752),
        (6, 87.022642638),
        (7, 101.526416411),
        (8, 116.030190184),
    ],
)
def test_bar_to_psi(bar: float, psi: float) -> None:
    """By definition."""
    assert float(Fraction(bar) * 100_000 / PSI_PA) == pytest.approx(psi, abs=6e-10)
    assert parse_pressure(f"{psi:.9f} psi") == bar * 100_000


@pytest.mark.parametrize(
    ("psi", "kpa"),
    [
        ("30", 206.842718795),
        ("60", 413.685437590),
        ("65", 448.159224056),
        ("70", 482.633010522),
        ("72", 496.422525108),
        ("72.5", 499.869903755),
        ("73", 503.317282401),
        ("80", 551.580583453),
        ("100", 689.475729317),
        ("120", 827.370875180),
    ],
)
def test_psi_to_kilopascal_rounds_down_to_the_pascal(psi: str, kpa: float) -> None:
    """By definition."""
    assert parse_pressure(f"{psi} psi") == int(kpa * 1000)


def test_common_practice_five_bar_is_72_5_psi() -> None:
    """common practice: 5 bar = 72.5 psi for hookless rims; trade texts print 72, 72.5 and 73 psi, and 73 psi is above 500 kPa."""
    assert (bar_down(500_000), psi_down(500_000)) == ("5.00", "72.5")
    assert (
        parse_pressure("72 psi") < parse_pressure("72.5 psi") < 500_000 < parse_pressure("73 psi")
    )
