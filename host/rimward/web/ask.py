"""What a page's form says, as the verbs want it."""

import math
from collections.abc import Callable, Mapping
from typing import Any

from rimward.atmosphere import HIGHEST_M, LOWEST_M
from rimward.ceiling import Assessment, Instrument, Note, Place, Refused, Ride, Rim, Tyre, assess, refused
from rimward.conditions import parse_celsius, parse_metres
from rimward.errors import Refusal
from rimward.register.fields import ENTERED
from rimward.units import bar_up

Form = Mapping[str, Any]
TEMP_C = (-40.0, 150.0)
NAMES = {
    "fill_temp": "Air where you fill",
    "tyre_temp": "Tyre",
    "fill_altitude": "Altitude of the fill",
    "ride_altitude_max": "Highest point",
    "ride_temp_max": "Hottest tyre",
    "ride_temp_min": "Coldest on the ride",
}
BOUNDS = {name: TEMP_C if "temp" in name else (LOWEST_M, HIGHEST_M) for name in NAMES}


def text(form: Form, name: str, most: int = 200) -> str:
    """A field's text, stripped."""
    value = form.get(name, "")
    return value.strip()[:most] if isinstance(value, str) else ""


def number(form: Form, name: str, low: float, high: float, says: str, parse: Callable[[str], float] | None = None) -> float | None:
    """A number with decimal point or comma, `parse` for one with a unit; None for an empty field. Refusal outside low..high."""
    given = text(form, name, 40)
    if not given:
        return None
    try:
        value = parse(given) if parse else float(given.replace("−", "-").replace(",", "."))
    except ValueError:
        value = math.nan
    except Refusal as refusal:
        raise Refusal(f"{says}: {refusal.text}", refusal.fix) from None
    if not low <= value <= high:
        raise Refusal(f"{says}: '{given}' is no number from {low:g} to {high:g}.", "Correct that field.")
    return value


def whole(form: Form, name: str, low: int, high: int, says: str) -> int | None:
    """A whole number; None for an empty field. Refusal for a fraction or outside low..high."""
    value = number(form, name, low, high, says)
    if value is not None and value != int(value):
        raise Refusal(f"{says}: '{text(form, name, 40)}' is no whole number.", "Correct that field.")
    return None if value is None else int(value)


def conditions(form: Form, route_m: float | None = None) -> tuple[Place, Ride]:
    """Fill place and ride; the higher of a stated altitude and a route's highest point."""
    given = {name: number(form, name, *BOUNDS[name], NAMES[name], parse_celsius if "temp" in name else parse_metres) for name in NAMES}
    top = given["ride_altitude_max"]
    if route_m is not None:
        top = route_m if top is None else max(top, route_m)
    place = Place.of(given["fill_temp"], given["fill_altitude"], given["tyre_temp"])
    return place, Ride.of(top, given["ride_temp_max"], "route" if route_m is not None else "stated", given["ride_temp_min"])


def wheel_values(form: Form) -> dict[str, Any]:
    """The wheel's own fields that were filled in."""
    return {name: text(form, name) for name in ENTERED if text(form, name)}


def pair(form: Form) -> tuple[Rim, Tyre]:
    """Rim and tyre. Raises Refused, or Refusal for a choice that is none."""
    values = wheel_values(form)
    rim = Rim.parse(values.get("rim", ""), values.get("rim_max"))
    try:
        tyre = Tyre.parse(
            values.get("tyre", ""),
            values.get("tyre_range"),
            min_text=values.get("tyre_min"),
            max_text=values.get("tyre_max"),
            approved=values.get("approved", "unknown"),
            bead=values.get("bead", "unknown"),
            air=values.get("air", "unknown"),
        )
    except ValueError as wrong:
        raise Refusal(f"The tyre cannot be read: {wrong}.", "Choose one of the values offered.") from wrong
    return rim, tyre


def assessment(form: Form, instrument: Instrument | None, route_m: float | None = None) -> Assessment:
    """The ceiling of what the form says; what cannot be read is a refusal of the answer."""
    try:
        rim, tyre = pair(form)
        place, ride = conditions(form, route_m)
    except Refusal as refusal:
        return refused([Note(refusal.id if isinstance(refusal, Refused) else "not-understood", str(refusal))])
    return assess(rim, tyre, place, ride, instrument)


def inflator_of(state: Mapping[str, Any]) -> Instrument | None:
    """The connected inflator's guard band, for the stop reading."""
    status, about = state.get("status"), state.get("about")
    if not status or not about:
        return None
    guard = int(status["guard_pa"])
    return Instrument(guard, about["device"], f"inflator {about['device']} says its guard band is {bar_up(guard)} bar")
