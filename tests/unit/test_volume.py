"""Low, nominal and high volume, and what a check by volume cannot see."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rimward.limits.volume import chord_l, stated, torus_l, volumes, wrong_wheel_limits


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
