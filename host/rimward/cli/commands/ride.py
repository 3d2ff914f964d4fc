"""`rimward ride`: readings of a fill across temperature and altitude."""

from typing import Any

import click

from rimward.base.errors import Refusal
from rimward.base.units import parse_pressure
from rimward.cli.commands.ceiling import (
    attempt,
    conclude,
    json_option,
    options,
    pair_options,
    read_place,
    read_ride,
    read_tyre,
    ride_options,
)
from rimward.limits.ceiling import Note, Rim, assess
from rimward.limits.ceiling.markings import read_marking
from rimward.limits.ride import Readings
from rimward.limits.ride.picture import draw_heat_map
from rimward.limits.ride.report import answer, assess_fill, sentences

ride_pair_options = options(
    click.option("--rim", metavar="SIZE", help="Rim size and type: draws its limit in."),
    click.option("--tyre", metavar="SIZE", help="Tyre size; with --rim."),
    pair_options,
)


@click.command("ride")
@click.option(
    "--fill",
    required=True,
    metavar="PRESSURE",
    help="The gauge pressure filled, with its unit: '4.6 bar'.",
)
@ride_options
@click.option(
    "--limit", metavar="PRESSURE", help="The limit to draw in, instead of --rim and --tyre."
)
@ride_pair_options
@click.option(
    "--png",
    type=click.Path(dir_okay=False, writable=True),
    metavar="FILE",
    help="Write a heat map.",
)
@json_option
def command(as_json: bool, png: str | None, **given: Any) -> None:
    """Show the readings of one fill from the place of the fill to the hottest, coldest and highest of the ride.

    Exit code 0: computed (read `over_limit` and `under_minimum`). 1: refused. 2: wrong usage.

    Example: rimward ride --fill '4.6 bar' --fill-temp 18 --fill-altitude 200 --ride-altitude-max 2400 --ride-temp-max 45
    --limit '5 bar' --png ride.png
    """

    if bool(given["rim"]) != bool(given["tyre"]):
        raise click.UsageError("--rim and --tyre belong together.")
    if given["limit"] and given["rim"]:
        raise click.UsageError("Give either --limit, or --rim and --tyre.")
    notes: list[Note] = []
    fill_pa = attempt(notes, lambda: parse_pressure(given["fill"], up=True))
    ride = attempt(notes, lambda: read_ride(given))
    limit_pa = attempt(notes, lambda: _limit(notes, given))
    minimum_pa = attempt(notes, lambda: _minimum(given))
    report = assess_fill(fill_pa, read_place(given), ride, limit_pa, notes, minimum_pa)
    if png and report.found:
        _draw(report.found, png)
    conclude(as_json, answer(report), sentences(report), bool(report.refusals))


def _draw(found: Readings, png: str) -> None:
    """Write the heat map. Raises Refusal where the file cannot be written."""

    try:
        draw_heat_map(found, png)
    except OSError as wrong:
        raise Refusal(
            f"The heat map {png!r} cannot be written: {wrong.strerror}.",
            "Name a file in a folder that exists.",
        ) from wrong


def _limit(notes: list[Note], given: dict[str, Any]) -> int | None:
    """Stated limit, or the smallest one of rim and tyre; reasons of a refused pair go to `notes`."""
    if given["limit"]:
        return parse_pressure(given["limit"])
    if not given["rim"]:
        return None
    found = assess(Rim.parse(given["rim"], given["rim_max"]), read_tyre(given))
    notes.extend(found.refusals)
    return found.limit_pa


def _minimum(given: dict[str, Any]) -> int | None:
    """Return the printed minimum of the tyre, with a tyre or stated alone."""
    if given["rim"]:
        return read_tyre(given).min_pa
    return read_marking(given["tyre_min"], minimum_only=True).min_pa if given["tyre_min"] else None
