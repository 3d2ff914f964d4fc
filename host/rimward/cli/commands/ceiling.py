"""`rimward ceiling`: allowed pressure of a rim with a tyre."""

import math
from collections.abc import Callable, Iterable
from typing import Any

import click

from rimward.base.atmosphere import HIGHEST_M, LOWEST_M
from rimward.base.conditions import parse_celsius, parse_metres
from rimward.base.errors import Refusal
from rimward.base.output import console, emit_json
from rimward.base.units import celsius
from rimward.limits.ceiling import (
    Assessment,
    Instrument,
    MakerTable,
    Note,
    Place,
    Refused,
    Ride,
    Rim,
    Tyre,
    assess,
    load_maker_table,
    refused,
)
from rimward.limits.ceiling.model import AIRS, APPROVALS, BEADS, FILL_MAX_CK, FILL_MIN_CK
from rimward.limits.ceiling.wording import sentences
from rimward.limits.ride.route import highest_point_m


class Quantity(click.ParamType):  # type: ignore[type-arg]
    """A number with or without its unit, within a range; `nan` is refused.

    `meant`: range that the message names, where a narrower one is plausible and what lies between is answered with reasons later.
    """

    def __init__(
        self,
        name: str,
        parse: Callable[[str], float],
        low: float,
        high: float,
        unit: str,
        meant: tuple[float, float] | None = None,
    ) -> None:
        self.name, self.parse, self.low, self.high, self.unit = name, parse, low, high, unit
        self.meant = meant or (low, high)

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Parse and check the value, as click requires."""
        try:
            number = value if isinstance(value, (int, float)) else self.parse(value)
        except Refusal as refusal:
            self.fail(str(refusal), param, ctx)
        if not self.low <= number <= self.high:
            low, high = self.meant
            self.fail(f"{value} is not from {low:g} to {high:g} {self.unit}.", param, ctx)
        return float(number)


class FiniteRange(click.FloatRange):
    """A range that refuses `nan`."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Parse and check the value, as click requires."""
        number = super().convert(value, param, ctx)
        if not math.isfinite(number):
            self.fail(f"{value} is not a number.", param, ctx)
        return number


ALTITUDE = Quantity("altitude", parse_metres, LOWEST_M, HIGHEST_M, "m")
TEMPERATURE = Quantity("temperature", parse_celsius, -40, 150, "°C")
FILL_TEMPERATURE = Quantity(
    "temperature", parse_celsius, -40, 150, "°C", (celsius(FILL_MIN_CK), celsius(FILL_MAX_CK))
)
Options = Callable[[Any], Any]


def options(*items: Options) -> Options:
    """Combine several options into one decorator, shown in this order."""

    def decorate(function: Any) -> Any:
        for item in reversed(items):
            function = item(function)
        return function

    return decorate


pair_options = options(
    click.option(
        "--rim-max",
        metavar="PRESSURE",
        help="Maximum marked on the rim, with its unit: '5 bar', '72.5 psi', '5 bar / 73 psi'.",
    ),
    click.option(
        "--tyre-range", metavar="RANGE", help="Range printed on the tyre: '4-6 bar', '85-120 psi'."
    ),
    click.option("--tyre-min", metavar="PRESSURE", help="Minimum printed on the tyre."),
    click.option("--tyre-max", metavar="PRESSURE", help="Maximum printed on the tyre."),
    click.option(
        "--approved",
        type=click.Choice(APPROVALS),
        default="unknown",
        show_default=True,
        help="Does the tyre's maker approve it for straight-side (hookless) rims?",
    ),
    click.option(
        "--bead",
        type=click.Choice(BEADS),
        default="unknown",
        show_default=True,
        help="The tyre's bead.",
    ),
    click.option(
        "--air",
        type=click.Choice(AIRS),
        default="unknown",
        show_default=True,
        help="With a tube or tubeless. A tube never relaxes a limit.",
    ),
)
RIDE_ALTITUDE_MAX = click.option(
    "--ride-altitude-max", type=ALTITUDE, metavar="ALTITUDE", help="Highest altitude of the ride."
)
RIDE_TEMP_MAX = click.option(
    "--ride-temp-max",
    type=TEMPERATURE,
    metavar="TEMP",
    help="Highest temperature the tyre can reach on the ride.",
)
RIDE_ROUTE = click.option(
    "--ride-route",
    type=click.Path(dir_okay=False),
    metavar="FILE.gpx",
    help="Take the highest altitude from a route, plus 50 m.",
)
ride_options = options(
    click.option(
        "--fill-temp",
        type=FILL_TEMPERATURE,
        metavar="TEMP",
        help="Air temperature where you fill, as 18 (Celsius) or 64F.",
    ),
    click.option(
        "--tyre-temp",
        type=FILL_TEMPERATURE,
        metavar="TEMP",
        help="Temperature of the tyre there; the lower of the two counts.",
    ),
    click.option(
        "--fill-altitude",
        type=ALTITUDE,
        metavar="ALTITUDE",
        help="Altitude where you fill, as 200 (metres) or 650ft; sea level unless given, the safe side.",
    ),
    RIDE_ALTITUDE_MAX,
    RIDE_TEMP_MAX,
    click.option(
        "--ride-temp-min",
        type=TEMPERATURE,
        metavar="TEMP",
        help="Lowest temperature on the ride: how far the fill falls.",
    ),
    RIDE_ROUTE,
)
json_option = click.option("--json", "as_json", is_flag=True, help="Answer in JSON.")


@click.command("ceiling")
@click.option(
    "--rim",
    required=True,
    metavar="SIZE",
    help="Rim size and type: 622x23TSS, 622x19C, 19-622, or 622x23? where the type is unknown.",
)
@click.option(
    "--tyre", required=True, metavar="SIZE", help="Tyre size, two numbers with a dash: 28-622."
)
@pair_options
@ride_options
@click.option(
    "--limit-at-fill-only",
    is_flag=True,
    help="Hold the limit at the fill only although a ride is stated. Recorded; refused above 105 % on the ride.",
)
@click.option(
    "--instrument",
    type=click.Path(dir_okay=False),
    metavar="FILE",
    help="An inflator's instrument file: adds its guard band and stop reading.",
)
@click.option(
    "--maker-table",
    type=click.Path(dir_okay=False),
    metavar="FILE",
    help="A maker's table of widths and pressures. May lower a limit, never raise one.",
)
@json_option
def command(as_json: bool, **given: Any) -> None:
    """Compute the pressure limits of a rim with a tyre, and the ceiling of a fill.

    Exit code 0: there is a ceiling. 1: refused, the reasons are given. 2: wrong usage.

    Example: rimward ceiling --rim 622x23TSS --rim-max '5 bar' --tyre 28-622 --tyre-range '4-6 bar' --approved yes
    --fill-temp 18 --fill-altitude 200 --ride-altitude-max 2400 --ride-temp-max 45
    """
    found = find(**given)
    conclude(as_json, found.to_json(), sentences(found), found.status == "refused")


def conclude(as_json: bool, answer: Any, lines: Iterable[str], refused: bool) -> None:
    """Show an answer as JSON or as lines for people; a refused one ends with exit code 1."""
    if as_json:
        emit_json(answer)
    else:
        for line in lines:
            console.print(line, markup=False)
    if refused:
        raise SystemExit(1)


def find(
    *,
    instrument: str | None = None,
    maker_table: str | None = None,
    limit_at_fill_only: bool = False,
    **given: Any,
) -> Assessment:
    """Assess the typed values; an unreadable one becomes a refusal with its id."""
    notes: list[Note] = []
    rim = attempt(notes, lambda: Rim.parse(given["rim"], given["rim_max"]))
    tyre = attempt(notes, lambda: read_tyre(given))
    ride = attempt(notes, lambda: read_ride(given))
    table: MakerTable | None = attempt(
        notes, lambda: load_maker_table(maker_table) if maker_table else None
    )
    inflator: Instrument | None = attempt(
        notes, lambda: _instrument(instrument) if instrument else None
    )
    if notes or rim is None or tyre is None:
        return refused(notes)
    return assess(
        rim,
        tyre,
        read_place(given),
        ride,
        inflator,
        table,
        held_on="fill" if limit_at_fill_only else "ride",
    )


def attempt(notes: list[Note], read: Callable[[], Any]) -> Any:
    """Return the result of `read`; add a refusal to `notes`."""
    try:
        return read()
    except Refused as refusal:
        notes.append(Note(refusal.id, str(refusal)))
        return None


def read_tyre(given: dict[str, Any]) -> Tyre:
    """Read the tyre from the options. Raises Refused or UsageError."""
    if given["tyre_range"] and (given["tyre_min"] or given["tyre_max"]):
        raise click.UsageError("Give either --tyre-range, or --tyre-min and --tyre-max.")
    return Tyre.parse(
        given["tyre"],
        given["tyre_range"],
        min_text=given["tyre_min"],
        max_text=given["tyre_max"],
        approved=given["approved"],
        bead=given["bead"],
        air=given["air"],
    )


def read_place(given: dict[str, Any]) -> Place:
    """Read the place of the fill from the options."""
    return Place.of(given["fill_temp"], given["fill_altitude"], given["tyre_temp"])


def read_ride(given: dict[str, Any]) -> Ride:
    """Read the ride from the options; the higher of a stated altitude and a route's. Raises Refused."""
    highest, route = given["ride_altitude_max"], given["ride_route"]
    if not route:
        return Ride.of(highest, given["ride_temp_max"], temp_min_c=given["ride_temp_min"])

    point = highest_point_m(route)
    return Ride.of(
        point if highest is None else max(highest, point),
        given["ride_temp_max"],
        "route",
        given["ride_temp_min"],
    )


def _instrument(path: str) -> Instrument:
    from rimward.limits.uncertainty.files import load_instrument

    return load_instrument(path)
