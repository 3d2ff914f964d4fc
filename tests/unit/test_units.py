"""Written pressures, exact conversion, and rounding to the safe side."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rimward.base import units
from rimward.base.units import Refused, parse_pressure

PSI = Fraction("6894.757293168361")  # 0.45359237 x 9.80665 / 0.0254^2, to 16 digits


@pytest.mark.parametrize(
    ("text", "pa"),
    [
        ("5 bar", 500_000),
        ("5,0 bar", 500_000),
        ("500 kPa", 500_000),
        ("0.5 MPa", 500_000),
        ("0,5 MPa", 500_000),
        (".5 MPa", 500_000),
        ("500000 Pa", 500_000),
        ("5000 hPa", 500_000),
        ("5000 mbar", 500_000),
        ("5 barg", 500_000),
        ("72.5 psig", 499_869),
        ("500 kPag", 500_000),
        ("5.1 kp/cm2", 500_139),
        ("72.5 psi", 499_869),
        ("72.5PSI", 499_869),
        ("73 psi", 503_317),
        ("5.1 kgf/cm2", 500_139),
        ("5.1 kgf/cm²", 500_139),
        ("5.1 kg/cm2", 500_139),
        ("  4.6 Bar ", 460_000),
        ("72.518869 psi", 500_000),
        ("5.098581 kgf/cm2", 500_000),
        ("1.7 kgf/cm2", 166_713),  # 166,713.05 Pa
        ("2.3 kgf/cm2", 225_553),  # 225,552.95 Pa, as near as six decimals come to a whole pascal
    ],
)
def test_pressures_as_written(text: str, pa: int) -> None:
    assert parse_pressure(text) == pa


@pytest.mark.parametrize(
    ("text", "id"),
    [
        ("5", "unit-missing"),
        ("5.0", "unit-missing"),
        ("", "pressure-not-understood"),
        ("bar", "pressure-not-understood"),
        ("-5 bar", "pressure-not-understood"),
        ("0 bar", "pressure-not-understood"),
        ("5 bara", "pressure-not-understood"),
        ("5 psia", "pressure-not-understood"),
        ("5 mPa", "pressure-not-understood"),
        ("1,000 kPa", "pressure-not-understood"),
        ("5 barn", "pressure-not-understood"),
        ("5 bar 6", "pressure-not-understood"),
        ("1e9 bar", "pressure-not-understood"),
        ("nan bar", "pressure-not-understood"),
        ("٥ foo", "pressure-not-understood"),
    ],
)
def test_what_is_not_a_pressure_is_refused_by_id(text: str, id: str) -> None:
    with pytest.raises(Refused) as refusal:
        parse_pressure(text)
    assert refusal.value.id == id and "\n" not in str(refusal.value)


def test_a_minimum_rounds_up_and_a_limit_down() -> None:
    assert parse_pressure("85 psi") == 586_054
    assert parse_pressure("85 psi", up=True) == 586_055
    assert parse_pressure("1.7 kgf/cm2", up=True) == 166_713  # not 166,714 for 0.05 Pa


@given(st.integers(1, 2_000_000))
def test_the_same_pressure_in_any_unit(pa: int) -> None:
    written = (
        f"{pa} Pa",
        f"{Fraction(pa, 1000).__float__():.3f} kPa",
        f"{pa / 1e5:.5f} bar",
        f"{pa / 1e6:.6f} MPa",
        f"{pa / PSI.__float__():.6f} psi",
        f"{pa / 98066.5:.7f} kgf/cm2",
    )
    positive = [text for text in written if float(text.split()[0]) > 0]
    assert {parse_pressure(text) for text in positive} == {pa}


@given(st.integers(0, 2_000_000))
def test_shown_limits_never_round_up(pa: int) -> None:
    bar, psi = Fraction(units.bar_down(pa)) * 100_000, Fraction(units.psi_down(pa)) * PSI
    assert pa - 1000 < bar <= pa
    assert pa - PSI / 10 < psi and psi.__floor__() <= pa, (
        "written again, it is read as this limit or less"
    )
    assert pa <= Fraction(units.bar_up(pa)) * 100_000 < pa + 1000
    assert (
        pa <= (Fraction(units.psi_up(pa)) * PSI).__ceil__()
        and Fraction(units.psi_up(pa)) * PSI < pa + PSI / 10 + 1
    )


@given(st.integers(1, 3000))
def test_what_was_written_in_psi_is_shown_as_written(tenths: int) -> None:
    text = f"{tenths / 10:.1f}"
    assert (
        units.psi_down(parse_pressure(f"{text} psi"))
        == units.psi_up(parse_pressure(f"{text} psi", up=True))
        == text
    )


@given(st.integers(1000, 2_000_000), st.floats(0.001, 1000))
def test_a_reading_above_a_limit_never_looks_like_it(limit: int, above: float) -> None:
    shown = units.show_reading(limit + above, limit)
    bar, psi = shown.replace("(", "").replace(")", "").split()[::2]
    assert Fraction(bar) > Fraction(units.bar_down(limit)) and Fraction(psi) > Fraction(
        units.psi_down(limit)
    )


def test_five_bar_shows_72_5_and_never_73() -> None:
    assert units.show_limit(500_000) == "5.00 bar (72.5 psi)"


@pytest.mark.parametrize(
    ("celsius", "down", "up"),
    [
        (18, 29115, 29115),
        (18.004, 29115, 29116),
        (-5, 26815, 26815),
        (0.1, 27325, 27325),
        (-0.005, 27314, 27315),
    ],
)
def test_centikelvin_rounds_cold_for_the_fill_and_hot_for_the_ride(
    celsius: float, down: int, up: int
) -> None:
    assert (units.centikelvin_down(celsius), units.centikelvin_up(celsius)) == (down, up)


def test_exceeds_ignores_only_the_error_of_arithmetic() -> None:
    assert not units.exceeds(500_000 + 6e-11, 500_000) and units.exceeds(500_000.001, 500_000)
    assert units.show_reading(500_000 + 6e-11, 500_000) == "5.00 bar (72.5 psi)"


def test_a_reading_just_above_a_limit_is_shown_one_step_above_it() -> None:
    assert units.show_reading(500_001, 500_000) == "5.01 bar (72.6 psi)"
    assert (
        units.show_reading(499_600, 499_999) == "5.00 bar (72.5 psi)"
    )  # at or under it, to the nearest step


def test_temperatures_to_a_hundredth_of_a_kelvin_to_the_safe_side() -> None:
    assert (units.celsius(29315), units.celsius(27315), units.celsius(26365)) == (20.0, 0.0, -9.5)
    assert (units.centikelvin_down(18.009), units.centikelvin_up(18.001)) == (29115, 29116)
    assert (units.centikelvin_down(-5.001), units.centikelvin_up(-5.009)) == (26814, 26815)


@pytest.mark.parametrize("tenths", [1, 9, 10, 425, 580, 725, 726, 871, 1_305])
def test_shown_pressures_step_exactly_at_the_pascal_that_is_read_back(tenths: int) -> None:
    """A pascal under what a figure means as a limit, or over what it means as a minimum, the next figure is shown."""
    text = [f"{(tenths + more) / 10:.1f}" for more in (-1, 0, 1)]
    down = parse_pressure(f"{text[1]} psi")
    up = parse_pressure(f"{text[1]} psi", up=True)
    assert [units.psi_down(down + more) for more in (-1, 0, 1)] == [text[0], text[1], text[1]]
    assert [units.psi_up(up + more) for more in (-1, 0, 1)] == [text[1], text[1], text[2]]


@pytest.mark.parametrize("hundredths", [1, 99, 100, 275, 500, 899])
def test_shown_bar_steps_at_whole_kilopascals(hundredths: int) -> None:
    text = [f"{(hundredths + more) / 100:.2f}" for more in (-1, 0, 1)]
    pa = hundredths * 1_000
    assert [units.bar_down(pa + more) for more in (-1, 0, 1)] == [text[0], text[1], text[1]]
    assert [units.bar_up(pa + more) for more in (-1, 0, 1)] == [text[1], text[1], text[2]]
    assert [units.floor_kpa(pa + more) for more in (-1, 0, 999.9)] == [pa - 1_000, pa, pa]


@pytest.mark.parametrize(
    ("text", "down", "up"),
    [
        ("1.7 kgf/cm2", 166_713, 166_713),  # 0.05 Pa above
        ("2.3 kgf/cm2", 225_553, 225_553),  # 0.05 Pa below
        ("0.01002 kgf/cm2", 982, 983),  # 982.626 Pa
        ("1.000003 kgf/cm2", 98_066, 98_067),  # 0.206 Pa below the next
        ("1.0000044 kgf/cm2", 98_066, 98_067),  # 0.0685 Pa below the next
        ("1.0000046 kgf/cm2", 98_067, 98_067),  # 0.0489 Pa below
        ("0.0001 bar", 10, 10),
        ("0.000011 bar", 1, 2),  # a decimal unit is never rounded to the nearest
        ("5000.01 Pa", 5_000, 5_001),
    ],
)
def test_what_is_near_a_whole_pascal(text: str, down: int, up: int) -> None:
    assert (parse_pressure(text), parse_pressure(text, up=True)) == (down, up)


@pytest.mark.parametrize(
    ("text", "id"),
    [
        ("", "pressure-not-understood"), ("bar", "pressure-not-understood"), ("-", "pressure-not-understood"), ("--5 bar", "pressure-not-understood"),
        ("5 bara", "pressure-not-understood"), ("5 mPa", "pressure-not-understood"), ("1,000 kPa", "pressure-not-understood"), ("5", "unit-missing"),
        ("-5", "unit-missing"), ("0.1", "unit-missing"),
    ],
)  # fmt: skip
def test_a_reading_that_is_none_is_refused_by_id(text: str, id: str) -> None:
    with pytest.raises(Refused) as refusal:
        units.parse_reading(text)
    assert refusal.value.id == id and refusal.value.text and refusal.value.fix
