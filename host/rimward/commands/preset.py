"""`rimward preset`: a rider's front and rear targets for a ride."""

from pathlib import Path
from typing import Any

import click

from rimward.commands._port import port_option
from rimward.commands.ceiling import read_place, read_ride, ride_options
from rimward.commands.profile import FILE, instrument_of
from rimward.commands.wheel_options import DATABASE, JSON, WHO, new_file, options
from rimward.errors import Refusal
from rimward.output import console, emit_json

INSTRUMENT = click.option("--instrument", type=FILE, metavar="FILE", help="An inflator's calibration: targets must not be above where it stops.")
OVERWRITE = click.option("--overwrite", is_flag=True, help="Replace files that exist.")


@click.group()
def command() -> None:
    """A rider's front and rear targets for a ride. The file holds no ceiling: each wheel's is worked out anew, and none is shared."""


@command.command()
@click.argument("name")
@click.option("--rider", required=True, help="Whose preset it is.")
@click.option("--front", required=True, metavar="WHEEL", help="Front wheel, of the register.")
@click.option("--front-target", required=True, metavar="PRESSURE", help="What the rider wants in it, gauge.")
@click.option("--rear", required=True, metavar="WHEEL", help="Rear wheel, of the register.")
@click.option("--rear-target", required=True, metavar="PRESSURE", help="What the rider wants in it, gauge.")
@ride_options
@click.option("-o", "--out", type=FILE, required=True, metavar="FILE.json", help="Where to write it.")
@options(INSTRUMENT, OVERWRITE, DATABASE, JSON)
def make(name: str, rider: str, out: Path, instrument: Path | None, overwrite: bool, database: str | None, as_json: bool, **given: Any) -> None:
    """Make a preset of two wheels. A target above its own wheel's ceiling is refused."""
    from rimward import preset
    from rimward.commands.wheel import register
    from rimward.units import parse_pressure

    targets = {end: parse_pressure(given[f"{end}_target"]) for end in preset.ENDS}
    with register(database) as held:
        made, checked = preset.make(held, name, rider, given, targets, read_place(given), read_ride(given), instrument_of(instrument))
    preset.write(new_file(out, overwrite), made)
    tell(made, checked, as_json, str(out))


def tell(made: Any, checked: Any, machine: bool, file: str) -> None:
    """A preset with today's ceilings, each with its own wheel."""
    from rimward import preset
    from rimward.preset.card import ride_line, size_line
    from rimward.units import show_limit

    if machine:
        emit_json({"file": file, "preset": preset.to_json(made), "now": {c.end: end_now(c) for c in checked}})
        return
    console.print(f"{made.name}, {made.rider}", markup=False)
    console.print(ride_line(made), markup=False)
    for c in checked:
        stop = f", this inflator stops at {show_limit(c.answer.stop_reading_pa)}" if c.answer.stop_reading_pa is not None else ""
        text = f"target {show_limit(c.target_pa)}, ceiling {show_limit(c.answer.ceiling_pa)} gauge{stop}"
        console.print(f"  {c.end}: {c.wheel.label}, {size_line(c)}: {text}", markup=False)
        for note in end_now(c)["warnings"]:
            console.print(f"    caution ({note['id']}): {note['text']}", markup=False)
    console.print(file, markup=False)


def end_now(c: Any) -> dict[str, Any]:
    """One wheel as it stands today."""
    from rimward.profiles import cautions

    notes = [{"id": note.id, "text": note.text} for note in cautions(c.target_pa, c.answer)]
    return {"wheel_id": c.wheel.wheel_id, "ceiling_pa": c.answer.ceiling_pa, "stop_reading_pa": c.answer.stop_reading_pa, "warnings": notes}


def opened(file: Path, instrument: Path | None, database: str | None) -> Any:
    """A preset and both wheels as they stand now."""
    from rimward import preset
    from rimward.commands.wheel import register

    read = preset.read(file)
    with register(database) as held:
        return read, preset.check(held, read, instrument_of(instrument))


@command.command()
@click.argument("file", type=FILE)
@options(INSTRUMENT, DATABASE, JSON)
def show(file: Path, instrument: Path | None, database: str | None, as_json: bool) -> None:
    """Show a preset, with both ceilings worked out anew."""
    read, checked = opened(file, instrument, database)
    tell(read, checked, as_json, str(file))


@command.command()
@click.argument("file", type=FILE)
@click.option("-o", "--out", type=FILE, required=True, metavar="FILE", help="card.html, card.pdf, card.png or card.svg.")
@click.option("--sheet", type=click.Choice(["a4", "letter"]), help="Put a PDF's card on a sheet of this paper, with marks to cut along.")
@options(INSTRUMENT, OVERWRITE, DATABASE, JSON)
def card(file: Path, out: Path, sheet: str | None, instrument: Path | None, overwrite: bool, database: str | None, as_json: bool) -> None:
    """Print a preset's card."""
    from rimward.preset import card as cards

    read, checked = opened(file, instrument, database)
    cards.write(new_file(out, overwrite), read, checked, sheet)
    if as_json:
        emit_json({"file": str(out)})
    else:
        console.print(f"Card written to {out}.", markup=False)


@command.command()
@click.argument("file", type=FILE)
@click.option("-o", "--out", type=click.Path(path_type=Path, file_okay=False), default=".", metavar="FOLDER", help="Where to write them.")
@options(INSTRUMENT, OVERWRITE, WHO, DATABASE, JSON)
def profiles(file: Path, out: Path, instrument: Path | None, overwrite: bool, who: str, database: str | None, as_json: bool) -> None:
    """Make the next profile of each of the two wheels, each from its own limits."""
    from rimward import keys
    from rimward import profiles as verbs
    from rimward.commands.profile import slug
    from rimward.commands.wheel import register

    _, checked = opened(file, instrument, database)
    ring = keys.load()
    out.mkdir(parents=True, exist_ok=True)
    written = {}
    with register(database) as held:
        for c in checked:
            data = verbs.issue(held, c.wheel, c.asked, ring, who)
            path = new_file(out / f"{slug(data)}-{c.end}.rwp", overwrite)
            verbs.write(path, data)
            written[c.end] = {"file": str(path), "profile": verbs.to_json(data)}
    if as_json:
        emit_json(written)
    else:
        for end, one in written.items():
            console.print(f"{end}: {one['file']}", markup=False)


@command.command()
@click.argument("file", type=FILE)
@port_option
@options(DATABASE, JSON)
def send(file: Path, port: str, database: str | None, as_json: bool) -> None:
    """Send a preset to an inflator: one entry there, then front or rear. Both wheels' profiles must be there already.

    Refused where a target lies above where that inflator stops. The inflator asks no person: a preset holds targets, never a ceiling.
    """
    from rimward import keys
    from rimward.link import verbs
    from rimward.link.ports import open_client
    from rimward.preset import record

    made, checked = opened(file, None, database)
    with open_client(port, reconnect_s=5.0) as client:
        record.refuse_above_stop(checked, verbs.status(client)["guard_pa"])
        held = {row["profile"]["wheel_id"].hex() for row in verbs.list_profiles(client) if row.get("profile")}
        for c in checked:
            if c.wheel.wheel_id not in held:
                raise Refusal(f"The inflator does not know {c.wheel.label}.", "Send both profiles first: rimward preset profiles FILE, then rimward profile send.")
        data = record.record_of(made, checked, keys.load())
        row = verbs.send_preset(client, data)
    if as_json:
        emit_json({**row, "preset": record.to_json(data)})
        return
    console.print(f"Preset of {made.rider} stored by the inflator and read back: digest {row['sha256'][:16]}.", markup=False)
    console.print("Choose it on the inflator's display, then front or rear.", markup=False)
