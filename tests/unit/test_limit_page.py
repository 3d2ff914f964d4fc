"""The Limit page of a wheel that has a profile: it begins with that profile's ride and asks for what has to be today's."""

import html
import json
import re

from tests.unit.shopdesk import FRONT, RIDE
from tests.unit.test_wheel_loss import page


def field(text, name):
    """What a field of the form holds."""
    found = re.search(rf'<input id="f-{name}"[^>]* value="([^"]*)"', text)
    assert found, name
    return found[1]


def test_a_next_profile_begins_with_the_last_ride_and_asks_for_todays_air(desk):
    desk("key", "new")
    wheel = desk.json("wheel", "add", *FRONT)["wheel_id"]
    bare = page(f"/limit/{wheel}")
    assert field(bare, "ride_temp_max") == "" and "ride-kept" not in bare
    desk.json("profile", "make", "--wheel", wheel, "--target", "3.8 bar", *RIDE, "-o", "one.rwp")
    text = page(f"/limit/{wheel}")
    stated = dict(zip(RIDE[::2], RIDE[1::2]))
    assert (
        field(text, "ride_temp_max") == stated["--ride-temp-max"]
        and field(text, "ride_altitude_max") == stated["--ride-altitude-max"]
    )
    assert field(text, "fill_temp") == "" and field(text, "target") == "" and "ride-kept" in text
    ride = {
        "ride_temp_max": field(text, "ride_temp_max"),
        "ride_altitude_max": field(text, "ride_altitude_max"),
    }
    asked = json.loads(page(f"/limit/{wheel}/assess", ride))
    assert (
        not asked["ready"]
        and "No ceiling yet: state the air where you fill" in html.unescape(asked["html"])
        and "Refused" not in asked["html"]
    )
    told = json.loads(page(f"/limit/{wheel}/assess", {**ride, "fill_temp": "18"}))
    assert "data-ceiling" in told["html"]
    wrong = json.loads(page(f"/limit/{wheel}/assess", {**ride, "fill_temp": "90"}))
    assert "Refused: no pressure is allowed" in wrong["html"], (
        "an entry that is wrong is refused as ever"
    )
