"""Low, nominal and high volume, and what a check by volume cannot see."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rimward.limits.ceiling.standards import measuring_rim_mm
from rimward.limits.volume import (
    chord_l,
    least_inside,
    stated,
    torus_l,
    volumes,
    wrong_wheel_limits,
)


@given(
    st.integers(18, 130),
    st.sampled_from((305, 406, 559, 584, 622)),
    st.none() | st.floats(0.2, 0.95),
)
def test_low_nominal_high_in_order(width: int, seat: int, share: float | None) -> None:
    found = volumes(width, seat, None if share is None else width * share)
    assert 0 < found.low_l < found.nominal_l < found.high_l


@given(st.floats(18, 60), st.floats(0.01, 0.98), st.floats(0.001, 0.01))
def test_a_wider_rim_never_adds_to_the_low_volume(width: float, share: float, more: float) -> None:
    assert chord_l(width, 622, width * (share + more)) <= chord_l(width, 622, width * share)


def test_a_chord_of_nothing_is_the_torus_standing_on_the_bead_seat() -> None:
    assert chord_l(28, 622, 1e-6) == pytest.approx(torus_l(28, 622), rel=1e-9)


@pytest.mark.parametrize("inner", [28, 30, 0, -1])
def test_a_rim_as_wide_as_the_tyre_has_no_chord(inner: float) -> None:
    with pytest.raises(ValueError):
        chord_l(28, 622, inner)


def test_a_measured_volume_is_all_three() -> None:
    assert stated(1.3).low_l == stated(1.3).nominal_l == stated(1.3).high_l == 1.3


def test_the_limits_of_the_wrong_wheel_check_are_stated() -> None:
    told = {found.what: found.told_apart for found in wrong_wheel_limits(40, 622)}
    assert told == {
        "the bicycle's other wheel with the same tyre": False,
        "the same tyre width on a 584 mm rim": False,
    }
    assert volumes(28, 622).high_l < volumes(57, 622).low_l  # a gross mistake is detected


@pytest.mark.parametrize(("width", "inner"), [(28, 19), (57, 25), (83, 45), (84, 75.6), (100, 76)])
def test_without_a_rim_it_is_the_measuring_rim_and_at_most_nine_tenths_of_the_tyre(
    width: int, inner: float
) -> None:
    assert volumes(width, 559).low_l == pytest.approx(chord_l(width, 559, inner), rel=1e-12)


def by_hand(width: float, seat: float, inner: float) -> float:
    """Litres of a circle of the tyre's width on a chord, rotated: slices of the circle, each 2 pi times its distance from the axle."""
    radius, steps = width / 2, 20_000
    centre = seat / 2 + math.sqrt(radius**2 - (inner / 2) ** 2)
    bottom = seat / 2
    step = (centre + radius - bottom) / steps
    total = 0.0
    for i in range(steps):
        r = bottom + (i + 0.5) * step
        total += 2 * math.pi * r * 2 * math.sqrt(max(radius**2 - (r - centre) ** 2, 0.0)) * step
    return total / 1e6


@pytest.mark.parametrize(
    ("width", "seat", "inner"), [(28, 622, 19), (40, 584, 25), (62, 406, 30), (23, 622, 21.9)]
)
def test_the_low_volume_by_slices(width: float, seat: float, inner: float) -> None:
    assert chord_l(width, seat, inner) == pytest.approx(by_hand(width, seat, inner), rel=1e-5)
    assert volumes(width, seat, inner).low_l == chord_l(width, seat, inner)


@pytest.mark.parametrize(("seat", "well"), [(622, 0.2), (311, 0.1), (584, 0.2 * 584 / 622)])
def test_the_rim_s_well_goes_with_its_diameter(seat: float, well: float) -> None:
    """0.2 L at 622 mm."""
    found = volumes(28, seat, 19)
    assert found.high_l - found.nominal_l == pytest.approx(well, rel=1e-9)
    assert found.nominal_l == pytest.approx(math.pi**2 * (seat + 28) * 14**2 / 1e6, rel=1e-12)


@pytest.mark.parametrize("width", [18, 23, 28, 32.5, 40, 62, 120])
@pytest.mark.parametrize("tube", [True, False])
def test_without_a_rim_the_measuring_rim_counts(width: float, tube: bool) -> None:
    """At most 90 % of the width; inside, casing and tube take 1 and 0.6 mm of each side, and a rim no more than 99 % of what is left."""
    inner = min(measuring_rim_mm(width), width * 0.9)
    assert volumes(width, 622) == volumes(width, 622, inner)
    assert least_inside(width, 622, tube=tube) == least_inside(width, 622, inner, tube=tube)
    hollow = width - (3.2 if tube else 2.0)
    found = least_inside(width, 622, width * 0.98, tube=tube)
    assert found.low_l == pytest.approx(
        chord_l(hollow, 622, min(width * 0.98, hollow * 0.99)), rel=1e-12
    )
    wide = volumes(width, 622, width * 0.98)
    assert (found.nominal_l, found.high_l) == (wide.nominal_l, wide.high_l)


def test_a_tube_counts_unless_it_is_left_out() -> None:
    assert least_inside(28, 622, 19) == least_inside(28, 622, 19, tube=True)
    with pytest.raises(ValueError):
        least_inside(3.2, 622, 3)


@pytest.mark.parametrize(
    ("seat", "others"), [(622, [584]), (584, [622]), (559, [584, 622]), (305, [584, 622])]
)
def test_which_wheels_are_compared(seat: int, others: list[int]) -> None:
    found = wrong_wheel_limits(40, seat)
    assert [one.what for one in found] == [
        "the bicycle's other wheel with the same tyre",
        *(f"the same tyre width on a {other} mm rim" for other in others),
    ]
    own = volumes(40, seat)
    for one, other in zip(found[1:], others):
        their = volumes(40, other)
        apart = their.high_l < own.low_l or their.low_l > own.high_l
        assert one.told_apart is apart
    assert not found[0].told_apart
