"""Checks of place and ride: a fill temperature that is missing, implausible or hotter than the whole ride."""

from collections.abc import Iterator

from rimward.base.units import celsius
from rimward.limits.ceiling.model import FILL_MAX_CK, FILL_MIN_CK, Note, Place, Ride


def place_refusals(place: Place, ride: Ride | None) -> Iterator[Note]:
    """Return the reasons why no ceiling can be computed for this fill on this ride; each names what to state."""
    stated = (
        [ck for ck in (ride.temp_max_ck, ride.temp_min_ck) if ck is not None]
        if ride is not None
        else []
    )
    if place.temp_ck is None:
        if stated:
            yield Note(
                "fill-temperature-missing",
                "A temperature is stated for the ride but none for the fill. Measure the tyre or the air where you fill and state --fill-temp.",
            )
        return
    if not FILL_MIN_CK <= place.temp_ck <= FILL_MAX_CK:
        yield Note(
            "fill-temperature-implausible",
            f"{celsius(place.temp_ck):g} °C is not a plausible tyre temperature at a fill ({celsius(FILL_MIN_CK):.0f} to "
            f"{celsius(FILL_MAX_CK):.0f} °C). Measure again; write Fahrenheit with its letter, as 68F.",
        )
    elif ride is not None and ride.temp_max_ck is not None and place.temp_ck > ride.temp_max_ck:
        yield Note(
            "fill-hotter-than-ride",
            f"The fill is stated at {celsius(place.temp_ck):g} °C, hotter than the ride's hottest of {celsius(ride.temp_max_ck):g} °C. Check "
            f"both; if the tyre is that hot where it is filled, that is the ride's hottest: --ride-temp-max {celsius(place.temp_ck):g}.",
        )
    if ride is not None and len(stated) == 2 and stated[1] > stated[0]:
        yield Note(
            "ride-temperatures-crossed",
            f"The ride's coldest of {celsius(stated[1]):g} °C lies above its hottest of {celsius(stated[0]):g} °C. Correct one of them.",
        )
