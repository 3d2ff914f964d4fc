"""`rimward preset`: a rider's front and rear targets for a ride."""

from pathlib import Path
from typing import Any

import click

from rimward.base.errors import Refusal
from rimward.base.output import console, emit_json
from rimward.base.units import parse_pressure, show_limit
from rimward.cli.commands._port import port_option
from rimward.cli.commands.ceiling import read_place, read_ride, ride_options
from rimward.cli.commands.profile_make import FILE, instrument_of, slug
from rimward.cli.commands.wheel_options import DATABASE, JSON, WHO, new_file, options, register

INSTRUMENT = click.option(
    "--instrument",
    type=FILE,
    metavar="FILE",
    help="An inflator's calibration: targets must not be above where it stops.",
)
OVERWRITE = click.option("--overwrite", is_flag=True, help="Replace files that exist.")


@click.group()
def command() -> None:
    """Rider's front and rear targets for a ride. The file holds no ceiling: each wheel's is computed at each use, and none is shared."""


@command.command()
@click.argument("name")
@click.option("--rider", required=True, help="Whose preset it is.")
@click.option("--front", required=True, metavar="WHEEL", help="Front wheel, of the register.")
@click.option(
    "--front-target", required=True, metavar="PRESSURE", help="What the rider wants in it, gauge."
)
@click.option("--rear", required=True, metavar="WHEEL", help="Rear wheel, of the register.")
@click.option(
    "--rear-target", required=True, metavar="PRESSURE", help="What the rider wants in it, gauge."
)
@ride_options
@click.option(
    "-o", "--out", type=FILE, required=True, metavar="FILE.json", help="Where to write it."
)
@options(INSTRUMENT, OVERWRITE, DATABASE, JSON)
def make(
    name: str,
    rider: str,
    out: Path,
    instrument: Path | None,
    overwrite: bool,
    database: str | None,
    as_json: bool,
    **given: Any,
) -> None:
    """Make a preset of two wheels. A target above its own wheel's ceiling is refused."""
    from rimward.wheels import preset

    targets = {end: parse_pressure(given[f"{end}_target"]) for end in preset.ENDS}
    with register(database) as held:
        made, checked = preset.make(
            held,
            name,
            rider,
            given,
            targets,
            read_place(given),
            read_ride(given),
            instrument_of(instrument),
        )
    preset.write(new_file(out, overwrite), made)
    tell(made, checked, as_json, str(out))


def tell(made: Any, checked: Any, machine: bool, file: str) -> None:
    """Print a preset with today's ceilings, each with its own wheel."""
    from rimward.wheels import preset
    from rimward.wheels.preset.card import ride_line, size_line

    if machine:
        emit_json(
            {
                "file": file,
                "preset": preset.to_json(made),
                "now": {c.end: end_now(c) for c in checked},
            }
        )
        return
    console.print(f"{made.name}, {made.rider}", markup=False)
    console.print(ride_line(checked), markup=False)
    for c in checked:
        stop = (
            f", this inflator stops at {show_limit(c.answer.stop_reading_pa)}"
            if c.answer.stop_reading_pa is not None
            else ""
        )
        text = f"target {show_limit(c.target_pa)}, ceiling {show_limit(c.answer.ceiling_pa)} gauge{stop}"
        console.print(f"  {c.end}: {c.wheel.label}, {size_line(c)}: {text}", markup=False)
        for note in end_now(c)["warnings"]:
            console.print(f"    caution ({note['id']}): {note['text']}", markup=False)
    console.print(file, markup=False)


def end_now(c: Any) -> dict[str, Any]:
    """One wheel with its present assessment."""
    from rimward.wheels.profiles import cautions
    from rimward.wheels.register.issued import kept_words

    notes = [{"id": note.id, "text": note.text} for note in cautions(c.target_pa, c.answer)]
    if c.kept:
        text = (
            f"As for its last profile: {kept_words(c.kept)}. To leave them out: rimward profile make --wheel {c.wheel.wheel_id} "
            "--without-ride."
        )
        notes.append({"id": "ride-as-before", "text": text})
    return {
        "wheel_id": c.wheel.wheel_id,
        "ceiling_pa": c.answer.ceiling_pa,
        "stop_reading_pa": c.answer.stop_reading_pa,
        "warnings": notes,
    }


def opened(file: Path, instrument: Path | None, database: str | None) -> Any:
    """Load a preset and both wheels."""
    from rimward.wheels import preset

    read = preset.read(file)
    with register(database) as held:
        return read, preset.check(held, read, instrument_of(instrument))


@command.command()
@click.argument("file", type=FILE)
@options(INSTRUMENT, DATABASE, JSON)
def show(file: Path, instrument: Path | None, database: str | None, as_json: bool) -> None:
    """Show a preset with both present ceilings."""
    read, checked = opened(file, instrument, database)
    tell(read, checked, as_json, str(file))


@command.command()
@click.argument("file", type=FILE)
@click.option(
    "-o",
    "--out",
    type=FILE,
    required=True,
    metavar="FILE",
    help="card.html, card.pdf, card.png or card.svg.",
)
@click.option(
    "--sheet",
    type=click.Choice(["a4", "letter"]),
    help="Put a PDF's card on a sheet of this paper, with marks to cut along.",
)
@options(INSTRUMENT, OVERWRITE, DATABASE, JSON)
def card(
    file: Path,
    out: Path,
    sheet: str | None,
    instrument: Path | None,
    overwrite: bool,
    database: str | None,
    as_json: bool,
) -> None:
    """Print a preset's card."""
    from rimward.wheels.preset import card as cards

    read, checked = opened(file, instrument, database)
    cards.write(new_file(out, overwrite), read, checked, sheet)
    if as_json:
        emit_json({"file": str(out)})
    else:
        console.print(f"Card written to {out}.", markup=False)


@command.command()
@click.argument("file", type=FILE)
@click.option(
    "-o",
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=".",
    metavar="FOLDER",
    help="Where to write them.",
)
@options(INSTRUMENT, OVERWRITE, WHO, DATABASE, JSON)
def profiles(
    file: Path,
    out: Path,
    instrument: Path | None,
    overwrite: bool,
    who: str,
    database: str | None,
    as_json: bool,
) -> None:
    """Make the next profile of each of the two wheels, each from its own limits."""
    from rimward.wheels import keys, profile_files
    from rimward.wheels import profiles as wheel_profiles

    _, checked = opened(file, instrument, database)
    ring = keys.load()
    out.mkdir(parents=True, exist_ok=True)
    written = {}
    with register(database) as held:
        for c in checked:
            data = wheel_profiles.issue(held, c.wheel, c.asked, ring, who)
            path = new_file(out / f"{slug(data)}-{c.end}.rwp", overwrite)
            profile_files.write(path, data)
            written[c.end] = {"file": str(path), "profile": profile_files.to_json(data)}
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
    """Send a preset to an inflator: one entry there, then front or rear. A wheel's newest profile is sent too where the inflator lacks it.

    Refused where a target lies above the inflator's stop reading, and where a profile is no longer valid. Only the preset is
    tagged here. It
    holds targets, never a ceiling; a new wheel is confirmed at the inflator before its first fill.
    """
    from rimward.device.link import verbs
    from rimward.device.link.ports import open_client
    from rimward.wheels import keys
    from rimward.wheels.preset import record

    made, checked = opened(file, None, database)
    with open_client(port, reconnect_s=5.0) as client:
        record.refuse_above_stop(checked, verbs.status(client)["guard_pa"])
        data = record.record_of(made, checked, keys.load())
        held = {
            row["profile"]["wheel_id"].hex(): row["profile"]["issue"]
            for row in verbs.list_profiles(client)
            if row.get("profile")
        }
        wanted = {c.wheel.label: newest_of(c.wheel) for c in checked}
        lacking = [
            (label, one)
            for label, one in wanted.items()
            if held.get(one["wheel_id"].hex()) != one["issue"]
        ]
        sent = {label: verbs.send_profile(client, one["data"]) for label, one in lacking}
        row = verbs.send_preset(client, data)
    if as_json:
        emit_json({**row, "preset": record.to_json(data), "profiles": list(sent.values())})
        return
    for label, one in sent.items():
        asks = (
            "; the inflator asks a person about it before its next fill"
            if one["waiting_for_person"]
            else ""
        )
        console.print(
            f"Profile of {label} stored and read back: revision {one['revision']}{asks}.",
            markup=False,
        )
    console.print(
        f"Preset of {made.rider} stored by the inflator and read back: digest {row['sha256'][:16]}.",
        markup=False,
    )
    console.print("Choose it on the inflator's display, then front or rear.", markup=False)


def newest_of(wheel: Any) -> dict[str, Any]:
    """Newest profile of a wheel, its fields and bytes. Refusal where it is no longer valid."""
    from rimward.formats import records
    from rimward.wheels.tag.reading import says, standing_of

    data = bytes.fromhex(wheel.values["profile"]["data"])
    fields = records.unpack_profile(data)
    state = standing_of(wheel, data, fields["revision"])
    if state != "current":
        raise Refusal(
            f"The newest profile of {wheel.label} no longer counts. {says(wheel, state)}",
            "Make both again: rimward preset profiles FILE.",
        )
    return {**fields, "data": data}
