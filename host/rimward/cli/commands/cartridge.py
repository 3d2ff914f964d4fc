"""`rimward cartridge`: pressure in a tyre from a gas cartridge."""

from typing import Any

import click

from rimward.base.units import parse_pressure
from rimward.cli.commands.ceiling import (
    ALTITUDE,
    FILL_TEMPERATURE,
    RIDE_ALTITUDE_MAX,
    RIDE_ROUTE,
    RIDE_TEMP_MAX,
    FiniteRange,
    attempt,
    conclude,
    json_option,
    pair_options,
    read_ride,
    read_tyre,
)
from rimward.limits.cartridge.verdict import answer, assess_cartridge, sentences
from rimward.limits.ceiling import Note, Rim


@click.command("cartridge")
@click.option(
    "--grams",
    type=FiniteRange(0, 1000, min_open=True),
    required=True,
    metavar="G",
    help="Carbon dioxide in one cartridge.",
)
@click.option(
    "--count", type=click.IntRange(1, 50), default=1, show_default=True, help="How many cartridges."
)
@click.option(
    "--tyre", metavar="SIZE", help="Tyre size: 28-622. Needed unless --volume-l is given."
)
@click.option(
    "--rim",
    metavar="SIZE",
    help="Rim size and type; with it the result is held against the ceiling.",
)
@pair_options
@click.option(
    "--volume-l",
    type=FiniteRange(0, 1000, min_open=True),
    metavar="V",
    help="Measured air volume in litres, instead of the computed one.",
)
@click.option(
    "--start",
    type=click.Choice(("seated", "flat-tube")),
    default="seated",
    show_default=True,
    help="seated: full of air, the safe side. flat-tube: a collapsed tube with none.",
)
@click.option(
    "--start-pressure", metavar="PRESSURE", help="Gauge pressure already in a seated tyre."
)
@click.option(
    "--temp",
    type=FILL_TEMPERATURE,
    default=20.0,
    show_default=True,
    metavar="TEMP",
    help="Temperature at which the tyre settles.",
)
@click.option(
    "--altitude",
    type=ALTITUDE,
    default=0.0,
    show_default=True,
    metavar="ALTITUDE",
    help="Altitude of the fill.",
)
@RIDE_TEMP_MAX
@RIDE_ALTITUDE_MAX
@RIDE_ROUTE
@json_option
def command(as_json: bool, **given: Any) -> None:
    """Compute the pressure that a CO2 cartridge leaves in a tyre, with real-gas behaviour.

    It is compared with the wheel's ceiling for this ride where the tyre settles, and with its limit at the hottest and highest of
    the ride, both at
    the least volume inside casing and tube.
    Exit code 0: computed (read `over_ceiling`). 1: refused. 2: wrong usage.

    Example: rimward cartridge --grams 8 --tyre 28-622 --air tubeless --rim 622x23TSS --approved yes --temp 20 --ride-temp-max 40
    """
    if not given["tyre"] and not given["volume_l"]:
        raise click.UsageError("Give --tyre, or --volume-l with a measured volume.")
    if given["rim"] and not given["tyre"]:
        raise click.UsageError("--rim needs --tyre: a limit belongs to a rim with a tyre.")
    if given["start"] == "flat-tube" and given["start_pressure"]:
        raise click.UsageError("A flat tube has no --start-pressure.")

    notes: list[Note] = []
    tyre = attempt(notes, lambda: read_tyre(given)) if given["tyre"] else None
    rim = (
        attempt(notes, lambda: Rim.parse(given["rim"], given["rim_max"])) if given["rim"] else None
    )
    start_pa = (
        attempt(notes, lambda: parse_pressure(given["start_pressure"], up=True))
        if given["start_pressure"]
        else 0
    )
    ride = attempt(notes, lambda: read_ride(given | {"ride_temp_min": None}))
    verdict = assess_cartridge(
        given["grams"] * given["count"],
        rim,
        tyre,
        notes,
        volume_l=given["volume_l"],
        start=given["start"],
        start_pa=start_pa or 0,
        temp_c=given["temp"],
        altitude_m=given["altitude"],
        ride=ride,
    )
    conclude(as_json, answer(verdict), sentences(verdict), bool(verdict.refusals))
