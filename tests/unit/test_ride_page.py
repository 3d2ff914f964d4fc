"""What the ride page says of a fill: nothing where nothing is stated, a tick only for a ride that is stated whole."""

import pytest
from rimward.limits.ceiling import Place, Ride, Rim, Tyre, assess
from rimward.limits.ceiling.wording import chain
from rimward.web.ride_page import claim, unstated
from rimward.web.state import environment

RIM, TYRE = Rim.parse("622x23TSS", "5 bar"), Tyre.parse("28-622", "3.5-6 bar", approved="yes")


def page(place: Place, ride: Ride, stated_pa: int | None = None) -> str:
    found = assess(RIM, TYRE, place, ride)
    missing = unstated(place, ride)
    drawn = None if missing else claim(found, place, ride, [], stated_pa)
    return (
        environment()
        .get_template("_ride.html")
        .render(
            found=found,
            chain=chain(found),
            sum="",
            caution="",
            drawn=drawn,
            missing=missing,
            top=None,
            target="",
        )
    )


@pytest.mark.parametrize(
    ("place", "ride", "asks"),
    [
        (Place.of(), Ride.of(), ("temperature where you fill", "highest point")),
        (Place.of(18, 200), Ride.of(), ("highest point",)),
        (Place.of(None, 200), Ride.of(1200), ("temperature where you fill",)),
    ],
)
def test_nothing_stated_nothing_claimed(place: Place, ride: Ride, asks: tuple[str, ...]) -> None:
    html = page(place, ride)
    assert (
        "✓" not in html
        and "not over the limit" not in html
        and "0 °C" not in html.split("Ceiling")[0]
    )
    assert all(words in html for words in asks) and "Ceiling <strong>" in html


@pytest.mark.parametrize(
    ("ride", "tick"),
    [(Ride.of(1200, 40), True), (Ride.of(1200, None), False), (Ride.of(None, 40), False)],
)
def test_a_tick_needs_height_and_heat(ride: Ride, tick: bool) -> None:
    html = page(Place.of(18, 200), ride)
    assert (
        ("✓" in html) is tick
        and ("as far as the ride is stated" in html) is not tick
        and "not over the limit" in html
    )


def test_a_stated_fill_over_the_limit_and_one_exactly_at_it() -> None:
    assert "✕" in page(Place.of(18, 200), Ride.of(1200, 40), 480_000)
    assert "✕" in page(Place.of(18, 200), Ride.of(1200, None), 480_000 + 20_000)
    assert "✓" in page(Place.of(18, 200), Ride.of(200, 18), 500_000)


def test_a_fill_that_is_too_soft_in_the_cold_is_reported() -> None:
    ride = Ride.of(1200, 40, temp_min_c=-15)
    assert "falls to" not in page(Place.of(18, 200), ride, 440_000)  # 3.79 bar
    html = page(
        Place.of(18, 200), ride, 390_000
    )  # (3.9 + 0.98945) x 258.15 / 291.15 - 0.98945 = 3.3458 bar
    assert "falls to 3.34 bar" in html and "3.50 bar" in html


def test_the_top_of_the_table_can_be_drawn() -> None:
    assert "reads up to" in page(Place.of(18, 9000), Ride.of(9000, 18))
