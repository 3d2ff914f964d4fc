"""Form values, parsed for the verbs."""

import math
from collections.abc import Callable, Mapping
from typing import Any

from rimward.base.atmosphere import HIGHEST_M, LOWEST_M
from rimward.base.conditions import parse_celsius, parse_metres
from rimward.base.errors import Refusal
from rimward.base.units import bar_up
from rimward.limits.ceiling import (
    Assessment,
    Instrument,
    Note,
    Place,
    Refused,
    Ride,
    Rim,
    Tyre,
    assess,
    refused,
)
from rimward.web.wording import on_page
from rimward.wheels.register.fields import ENTERED, FIELDS

Form = Mapping[str, Any]


class AtFields(Refusal):
    """A refusal whose reasons belong to fields of the form: `fields` by name."""

    def __init__(self, fields: dict[str, str]) -> None:
        super().__init__("The form has fields to correct.", next(iter(fields.values())))
        self.fields = fields


TEMP_C = (-40.0, 150.0)
NAMES = {
    "fill_temp": "Air where you fill",
    "tyre_temp": "Tyre",
    "fill_altitude": "Altitude of the fill",
    "ride_altitude_max": "Highest point",
    "ride_temp_max": "Hottest tyre",
    "ride_temp_min": "Coldest on the ride",
}
EMPTY = {
    "label": "Give the wheel a name.",
    "rim": "Enter the rim's size, as 622x23TSS.",
    "tyre": "Enter the tyre's size, as 28-622.",
}
BOUNDS = {name: TEMP_C if "temp" in name else (LOWEST_M, HIGHEST_M) for name in NAMES}


def text(form: Form, name: str, most: int = 200) -> str:
    """Return the stripped text of a field."""
    value = form.get(name, "")
    return value.strip()[:most] if isinstance(value, str) else ""


def number(
    form: Form,
    name: str,
    low: float,
    high: float,
    says: str,
    parse: Callable[[str], float] | None = None,
) -> float | None:
    """Return a number with decimal point or comma, `parse` for one with a unit; None for an empty field. Refusal outside low..high."""
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
        raise Refusal(
            f"{says}: '{given}' is no number from {low:g} to {high:g}.", "Correct that field."
        )
    return value


def whole(form: Form, name: str, low: int, high: int, says: str) -> int | None:
    """Return a whole number; None for an empty field. Refusal for a fraction or outside low..high."""
    value = number(form, name, low, high, says)
    if value is not None and value != int(value):
        raise Refusal(
            f"{says}: '{text(form, name, 40)}' is no whole number.", "Correct that field."
        )
    return None if value is None else int(value)


def conditions(form: Form, route_m: float | None = None) -> tuple[Place, Ride]:
    """Place of the fill and ride; the higher of a stated altitude and a route's highest point."""
    given = {name: _condition(form, name) for name in NAMES}
    top = given["ride_altitude_max"]
    if route_m is not None:
        top = route_m if top is None else max(top, route_m)
    place = Place.of(given["fill_temp"], given["fill_altitude"], given["tyre_temp"])
    return place, Ride.of(
        top,
        given["ride_temp_max"],
        "route" if route_m is not None else "stated",
        given["ride_temp_min"],
    )


def _condition(form: Form, name: str) -> float | None:
    return number(
        form, name, *BOUNDS[name], NAMES[name], parse_celsius if "temp" in name else parse_metres
    )


def wheel_values(form: Form) -> dict[str, Any]:
    """Return the wheel's own fields that are filled in."""
    return {name: text(form, name) for name in ENTERED if text(form, name)}


def wheel_errors(form: Form, whole: bool = False) -> dict[str, str]:
    """Errors of the wheel's own fields, by field; `whole`: empty required ones count too."""
    values, errors = wheel_values(form), {}
    for name, value in values.items():
        try:
            FIELDS[name].check(value)
        except Refusal as refusal:
            errors[name] = on_page(str(refusal))
    if whole:
        errors |= {
            name: EMPTY.get(name, "Fill in this field.")
            for name, row in FIELDS.items()
            if row.required and name not in values
        }
    return errors


def condition_errors(form: Form) -> dict[str, str]:
    """Errors of the fields of place and ride, by field."""
    errors = {}
    for name in NAMES:
        try:
            _condition(form, name)
        except Refusal as refusal:
            errors[name] = on_page(str(refusal))
    return errors


def pair(form: Form) -> tuple[Rim, Tyre]:
    """Rim and tyre. Raises Refused, or Refusal for an unknown choice."""
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
        raise Refusal(
            f"The tyre cannot be read: {wrong}.", "Choose one of the values offered."
        ) from wrong
    return rim, tyre


def assessment(
    form: Form, instrument: Instrument | None, route_m: float | None = None
) -> Assessment:
    """Ceiling of the form's values; an unreadable one becomes a refusal of the answer."""
    try:
        rim, tyre = pair(form)
        place, ride = conditions(form, route_m)
    except Refusal as refusal:
        return refused(
            [Note(refusal.id if isinstance(refusal, Refused) else "not-understood", str(refusal))]
        )
    return assess(rim, tyre, place, ride, instrument)


def inflator_of(state: Mapping[str, Any]) -> Instrument | None:
    """Guard band of the connected inflator, for the stop reading."""
    status, about = state.get("status"), state.get("about")
    if not status or not about:
        return None
    guard = int(status["guard_pa"])
    return Instrument(
        guard,
        about["device"],
        f"inflator {about['device']} says its guard band is {bar_up(guard)} bar",
    )
