"""The ride envelope against rows computed apart from this package (US Standard Atmosphere 1976, ideal gas)."""

import pytest
from rimward.limits.ceiling import Place, Ride, Rim, Tyre, assess
from rimward.limits.ceiling.envelope import envelope, fill_ceiling


def test_18_c_200_m_to_45_c_2400_m() -> None:
    """ambient0 98945.4 Pa, a_min 75634.3 Pa, F 427837 Pa; filled to the limit it reads 578855 Pa."""
    found = envelope(500_000, 427_000, Place.of(18, 200), Ride.of(2400, 45))
    assert found.fill_ambient_pa == pytest.approx(
        98_945.4, abs=0.05
    ) and found.lowest_ambient_pa == pytest.approx(75_634.3, abs=0.05)
    assert found.fill_ceiling_pa == pytest.approx(427_837, rel=1e-6)
    assert found.highest_gauge_if_filled_to_limit_pa == pytest.approx(578_855, rel=1e-6)
    assert found.highest_gauge_if_filled_to_ceiling_pa == pytest.approx(
        499_085, abs=1
    )  # from 427 kPa, by the same formula


def test_20_c_200_m_to_40_c_700_m() -> None:
    assert fill_ceiling(500_000, Place.of(20, 200), Ride.of(700, 40)) == pytest.approx(
        456_363, rel=1e-6
    )


@pytest.mark.parametrize(
    ("fill", "ride"),
    [
        (Place.of(35, 0), Ride.of(None, 30)),
        (Place.of(20, 1500), Ride.of(200, None)),
        (Place.of(35, 1500), Ride.of(200, 30)),
    ],
)
def test_clamps(fill: Place, ride: Ride) -> None:
    """The fill place is a point of the ride: a cooler or lower ride never lifts the fill above the limit."""
    assert fill_ceiling(500_000, fill, ride) == 500_000


def test_ride_not_stated_says_40_c_and_110_percent() -> None:
    """500 kPa filled at 20 °C and 200 m reaches 110 % (550 kPa) at 44.5 °C; ISO 4210-2's 110 % is from memory."""
    found = assess(
        Rim.parse("622x23TSS", "5 bar"),
        Tyre.parse("28-622", "4-6 bar", approved="yes"),
        Place.of(20, 200),
    )
    text = next(note.text for note in found.warnings if note.id == "ride-not-stated")
    assert (
        "44.5 °C" in text and "5.41 bar" in text
    )  # (500 + 98.945) x 313.15 / 293.15 - 98.945 = 540.86 kPa
