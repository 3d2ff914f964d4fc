"""`rimward profile`: make and show the binary record of a wheel's limits."""

from pathlib import Path
from typing import Any

import click
from rimward_protocol.codes import word_of
from rimward_protocol.enumerations import POSITIONS

from rimward.ceiling.model import Note
from rimward.commands._port import port_option, tell
from rimward.commands.ceiling import read_place, read_ride, ride_options
from rimward.commands.wheel_options import ABOUT_WHEEL, DATABASE, JSON, RIM_AND_TYRE, WHO, new_file, options, stated
from rimward.errors import Refusal
from rimward.output import console, emit_json
from rimward.units import celsius, parse_pressure, show_limit, show_reading

WARMER_CK = 300  # 3 °C: the example shown of what a warmer tyre is filled to
STANDARD_AMBIENT_PA = 101_325
MAY_BE_FILLED = ("current", "unknown-wheel", "newer-than-register")  # standings in a register that does not speak against a profile
FILE = click.Path(path_type=Path, dir_okay=False)
MAKE_ONLY = (
    click.option("--target", metavar="PRESSURE", help="What the tyre is filled to, gauge, as '4.6 bar'. You choose it; it must not be above the ceiling."),
    click.option("--seat-pause", metavar="PRESSURE", help="Pause until the bead is seen seated (default 2.75 bar, or the target if that is lower)."),
    click.option("--time-budget", type=click.IntRange(10, 1800), metavar="S", help="Longest time with the pump on (default: by volume)."),
    click.option("--limit-at-fill-only", is_flag=True, help="Hold the limit at the fill only although a ride is stated. Recorded; refused above 105 % on the ride."),
    click.option("--instrument", type=FILE, metavar="FILE", help="An inflator's calibration: the target must not be above where it stops."),
    click.option("--maker-table", type=FILE, metavar="FILE", help="A maker's own table of widths and maxima."),
    click.option("--without-ride", is_flag=True, help="Leave out the ride and fill place that the wheel's last profile was made for."),
    click.option("--untagged", is_flag=True, help="Leave the workshop's tag out; no inflator takes it until it is tagged."),
)
WITHOUT_REGISTER = (
    click.option("--label", help="Name of a wheel that is not in the register."),
    click.option("--wheel-id", metavar="HEX", help="Its id, 16 hexadecimal digits (default: a new one)."),
    click.option("--revision", type=click.IntRange(1, 2**30 - 1), default=1, help="Higher than the last profile with that id."),
)


@click.group()
def command() -> None:
    """Wheel profiles: the record that an inflator takes its ceiling from."""


@command.command()
@click.option("--wheel", metavar="WHEEL", help="A wheel of the register.")
@click.option("--from", "from_file", type=FILE, metavar="FILE", help="A profile as JSON, turned into binary as it is; its tag is kept, none is made.")
@options(MAKE_ONLY, ride_options, WITHOUT_REGISTER, RIM_AND_TYRE, ABOUT_WHEEL)
@click.option("-o", "--out", type=FILE, metavar="FILE", help="Where to write; .json for JSON, else binary (default: LABEL-rREVISION.rwp).")
@click.option("--overwrite", is_flag=True, help="Replace that file.")
@options(WHO, DATABASE, JSON)
def make(**given: Any) -> None:
    """Make a profile: of a wheel in the register, from options, or from JSON.

    rimward profile make --wheel aspen --target '4.6 bar'
    """
    sources = [name for name in ("wheel", "from_file", "rim") if given[name]]
    if len(sources) != 1:
        raise click.UsageError("Give one of --wheel, --from, or --rim with --tyre and --label.")
    if given["out"]:
        new_file(given["out"], given["overwrite"])  # before a revision is used up
    made, notes = {"wheel": from_register, "from_file": from_json_file, "rim": from_options}[sources[0]](given)
    path = given["out"] or Path(f"{slug(made)}.rwp")
    from rimward import profiles

    profiles.write(new_file(path, given["overwrite"]), made)
    told = describe(made, given["database"])
    warn_untagged(told)
    if given["as_json"]:
        emit_json({"file": str(path), **told, "warnings": [{"id": note.id, "text": note.text} for note in notes]})
    else:
        print_profile(told)
        for note in notes:
            console.print(f"caution ({note.id}): {note.text}", markup=False)
        console.print(f"written to {path}", markup=False)


def slug(data: bytes) -> str:
    """A file name from label and revision."""
    import re

    from rimward.records import unpack_profile

    fields = unpack_profile(data)
    return f"{re.sub(r'[^A-Za-z0-9]+', '-', fields['label']).strip('-').lower() or 'wheel'}-r{fields['revision']}"


def asked_of(given: dict[str, Any]) -> Any:
    """The options as what is asked of the profile."""
    from rimward.ceiling import load_maker_table
    from rimward.profiles import Asked
    if not given["target"]:
        raise click.UsageError("Give --target, as --target '4.6 bar'.")
    return Asked(
        parse_pressure(given["target"]),
        read_place(given),
        read_ride(given),
        instrument_of(given["instrument"]),
        load_maker_table(given["maker_table"]) if given["maker_table"] else None,
        parse_pressure(given["seat_pause"]) if given["seat_pause"] else None,
        given["time_budget"],
        given["limit_at_fill_only"],
    )


def instrument_of(path: Path | None) -> Any:
    """The inflator whose stop reading the target must keep to, where one is given."""
    if path is None:
        return None
    from rimward.uncertainty.files import load_instrument

    return load_instrument(path)


def ring_of(given: dict[str, Any]) -> Any:
    """The workshop's keys, or None when no tag is wanted."""
    from rimward import keys

    return None if given["untagged"] else keys.load()


def from_register(given: dict[str, Any]) -> tuple[bytes, list[Any]]:
    from rimward import profiles
    from rimward.commands.wheel import register

    asked, ring = asked_of(given), ring_of(given)
    with register(given["database"]) as held:
        wheel = held.get(given["wheel"])
        kept: list[str] = []
        if "profile" in wheel.values and not given["without_ride"]:
            asked, kept = profiles.as_before(asked, wheel.values["profile"])
        notes = profiles.cautions(asked.target_pa, profiles.assess_wheel(wheel.values, asked), wheel.label)
        if kept:
            text = f"As for the last profile: {', '.join(kept)}. Give --without-ride to leave it out."
            notes.append(Note("ride-as-before", text))
        twin = [other.label for other in held.all() if other.wheel_id != wheel.wheel_id and profiles.same_label(other.label, wheel.label)]
        if twin:
            notes.append(Note("label-twice", f"Another wheel, {twin[0]}, has the same label on the inflator's display. Rename one: rimward wheel edit."))
        return profiles.issue(held, wheel, asked, ring, given["who"]), notes


def from_json_file(given: dict[str, Any]) -> tuple[bytes, list[Any]]:
    from rimward import keys, profiles

    data = profiles.read(given["from_file"])
    if profiles.origin(data, keys.load())["state"] == "foreign":
        raise Refusal("The tag does not fit this profile: it was edited, or another workshop made it.", "Make it from the wheel: rimward profile make --wheel.")
    return data, []


def from_options(given: dict[str, Any]) -> tuple[bytes, list[Any]]:
    from rimward import keys, profiles
    from rimward.register.fields import ENTERED, check_values

    values = stated(**{name: given.get(name) for name in ENTERED})
    missing = [name for name in ("label", "rim", "tyre") if name not in values]
    if missing:
        raise click.UsageError(f"Give {' and '.join('--' + m for m in missing)} too.")
    try:
        wheel_id = profiles.exact_hex(given["wheel_id"].lower(), 8) if given["wheel_id"] else profiles.new_wheel_id()
    except ValueError:
        raise click.UsageError("--wheel-id needs 16 hexadecimal digits.") from None
    asked, ring = asked_of(given), ring_of(given)
    if ring and ring.keys:
        profiles.refuse_unmarked(values)
    answer = profiles.assess_wheel(checked := check_values(values), asked)
    number = keys.next_issue(ring.current) if ring and ring.keys else None
    data = profiles.build(checked, wheel_id, given["revision"], asked, answer, number)
    return profiles.tagged(data, ring) if ring and ring.keys else data, profiles.cautions(asked.target_pa, answer, checked["label"])


def describe(data: bytes, database: str | None = None) -> dict[str, Any]:
    """A profile as JSON, whose tag it carries, and what the register says of it."""
    from rimward import keys, profiles
    from rimward.commands.wheel import register
    from rimward.records import unpack_profile
    from rimward.tag import reading

    fields = unpack_profile(data)
    with register(database) as held:
        state = reading.standing(held, data, fields)
        wheel = held.by_id(fields["wheel_id"].hex())
    entry = wheel.values.get("profile") if wheel else None
    known = bool(entry and entry["revision"] == fields["revision"])
    return {
        "profile": profiles.to_json(data),
        "bytes": len(data),
        "origin": profiles.origin(data, keys.load()),
        "standing": state,
        "superseded": state == "superseded",
        "says": reading.says(wheel, state),
        "conditions": profiles.conditions_of(entry) if entry and known else None,
    }


def warn_untagged(told: dict[str, Any]) -> None:
    if told["origin"]["state"] == "untagged":
        text = "Untagged: no inflator takes a ceiling from it."
        click.echo(f"{text} Make a key: rimward key new.", err=True)


ORIGINS = {
    "untagged": "no tag",
    "ours": "tagged by this workshop",
    "ours-earlier": "tagged with an earlier key of this workshop: make it anew",
    "foreign": "TAG NOT OURS: made by another workshop, or altered",
}


def ride_line(p: dict[str, Any]) -> str:
    """What the ceiling holds for."""
    from rimward.ceiling.model import UNSTATED_FILL_CK
    if "ride-stated" not in p["flags"]:
        return "not stated: the limit holds at the fill, not on a hotter or higher ride"
    held = " (the limit is held at the fill only)" if "limit-at-fill" in p["flags"] else ""
    heat = f"tyre up to {celsius(p['temp_max_ck']):.1f} °C" if p["temp_max_ck"] > UNSTATED_FILL_CK else "no warming stated"
    return f"lowest ambient {show_reading(p['ambient_min_pa'])} absolute, {heat}{held}"


def conditions_line(held: dict[str, Any] | None) -> str:
    """Fill place, ride and time as they are in the register."""
    if held is None:
        return "not in this computer's register"
    rows = (
        ("fill at", held["fill_ck"], lambda ck: f"{celsius(ck):.1f} °C"), ("filled at", held["fill_altitude_m"], lambda m: f"{m:g} m"),
        ("ride up to", held["ride_altitude_max_m"], lambda m: f"{m:g} m"), ("tyre up to", held["ride_temp_max_ck"], lambda ck: f"{celsius(ck):.1f} °C"),
        ("ride down to", held["ride_temp_min_ck"], lambda ck: f"{celsius(ck):.1f} °C"),
    )  # fmt: skip
    stated = [f"{name} {shown(value)}" for name, value, shown in rows if value is not None]
    return "; ".join([*stated, f"made {held['made'] or 'at a time not kept'}"])


def refuse_outdated(told: dict[str, Any], what: str) -> None:
    """Raise Refusal for a profile that the register says is superseded, retired, changed or another one."""
    if told["standing"] not in MAY_BE_FILLED:
        raise Refusal(f"Not {what}: {told['says']}")


def elsewhere(p: dict[str, Any]) -> str:
    """What the inflator fills to where the tyre is warmer than the target is meant for."""
    warmer_ck = p["ref_temp_ck"] + WARMER_CK
    reads = (p["target_pa"] + STANDARD_AMBIENT_PA) * warmer_ck // p["ref_temp_ck"] - STANDARD_AMBIENT_PA
    return f"a tyre of {celsius(warmer_ck):.1f} °C is filled to {show_limit(reads)}, the same air"


def print_profile(told: dict[str, Any]) -> None:
    """A profile for people: every limit in bar and psi, gauge."""
    from rich.markup import escape
    from rich.table import Table

    p = told["profile"]
    rows = (
        ("wheel", f"{p['label']} ({p['position']}), id {p['wheel_id']}, revision {p['revision']} of {p['made']}"),
        ("tyre and rim", f"{p['tyre_width_dmm'] / 10:g}-{p['bead_seat_mm']} on {p['rim_width_dmm'] / 10:g} mm inside, {p['rim_class']}"),
        ("limit", f"{show_limit(p['limit_pa'])} gauge ({p['limit_source']})"),
        ("ceiling", f"{show_limit(p['ceiling_pa'])} gauge"),
        ("target", f"{show_limit(p['target_pa'])} gauge at {celsius(p['ref_temp_ck']):.1f} °C; {elsewhere(p)}"),
        ("seat pause", f"{show_limit(p['seat_pause_pa'])} gauge"),
        ("ride", ride_line(p)),
        ("made for", conditions_line(told["conditions"])),
        ("air volume", f"{p['volume_low_ml'] / 1000:.2f} to {p['volume_ml'] / 1000:.2f} L, pump at most {p['time_budget_s']} s"),
        ("chuck, flags", ", ".join([p["chuck"], *p["flags"]])),
        ("tag", ORIGINS[told["origin"]["state"]]),
        ("register", told["says"]),
    )
    table = Table(show_header=False)
    for head, text in rows:
        table.add_row(head, escape(text))
    console.print(table)


@command.command()
@click.argument("file", type=FILE)
@options(DATABASE, JSON)
def show(file: Path, database: str | None, as_json: bool) -> None:
    """Show a profile: a binary file, its JSON, or the text of a tag's code."""
    from rimward import profiles

    told = describe(profiles.read(file), database)
    if as_json:
        emit_json(told)
    else:
        print_profile(told)


@command.command("list")
@options((port_option,), DATABASE, JSON)
def list_command(port: str, database: str | None, as_json: bool) -> None:
    """List the profiles that an inflator holds, and what the register says of each."""
    from rimward import profiles
    from rimward.link import verbs
    from rimward.link.ports import open_client

    with open_client(port) as client:
        rows = verbs.list_profiles(client)
    for row in rows:
        told = describe(row["data"], database) if row["intact"] else None
        row["standing"], row["says"] = (told["standing"], told["says"]) if told else (None, "")
    if as_json:
        emit_json([{**row, "profile": profiles.to_json(row["data"]) if row["intact"] else None, "data": row["data"].hex()} for row in rows])
    else:
        print_held(rows)


@command.command()
@click.argument("wheel")
@options((port_option,), JSON)
def delete(wheel: str, port: str, as_json: bool) -> None:
    """Delete a WHEEL's profile (id or label) from an inflator; confirm it there with the workshop button."""
    from rimward.link import verbs
    from rimward.link.ports import open_client

    with open_client(port) as client:
        row = verbs.delete_profile(client, wheel, tell)
    if as_json:
        emit_json(row)
    else:
        text = f"Deleted: {row['label']}, revision {row['revision']}. The inflator still takes only later revisions of this wheel."
        console.print(text, markup=False)


# flag of a held profile -> words where it is set, where it is not
HELD_WORDS = {
    "chosen": ("chosen", ""),
    "confirmed": ("confirmed", "waits to be confirmed"),
    "tag_fits": ("tag fits its key", "no tag that fits its key"),
}


def print_held(rows: list[dict[str, Any]]) -> None:
    """What an inflator holds, for people."""
    from rich.markup import escape
    from rich.table import Table
    if not rows:
        console.print("The inflator holds no profile. Until one is sent it fills with its built-in straight-side profile only.", markup=False)
        return
    table = Table("wheel, id", "revision", "ceiling (gauge)", "target (gauge)", "state there")
    table.columns[0].min_width = 16  # an id is never cut
    for row in rows:
        state = ", ".join(words[not row[name]] for name, words in HELD_WORDS.items() if words[not row[name]])
        if row["intact"]:
            p = row["profile"]
            limits = (show_limit(p["ceiling_pa"]), show_limit(p["target_pa"]))
            place = word_of(POSITIONS, p["position"])
            if row["standing"] not in ("current", None):
                state += f"\n{escape(row['says'])}"
            table.add_row(f"{escape(p['label'])} ({place})\n{p['wheel_id'].hex()}", str(p["revision"]), *limits, state)
        else:
            table.add_row("DAMAGED: send it again", "", "", "", state)
    console.print(table)


@command.command()
@click.argument("file", type=FILE)
@options((port_option,), DATABASE, JSON)
def send(file: Path, port: str, database: str | None, as_json: bool) -> None:
    """Send a profile to an inflator, unless the register says that it no longer counts. Nothing is tagged here: that is done by `make` only.

    Done only when the digest of what the inflator stored matches.
    """
    from rimward import profiles
    from rimward.link import verbs
    from rimward.link.ports import open_client

    data = profiles.read(file)
    told = describe(data, database)
    if told["origin"]["state"] == "untagged":
        raise Refusal("This profile carries no tag, so no inflator takes it.", "Make it of its wheel: rimward profile make --wheel WHEEL --target PRESSURE.")
    refuse_outdated(told, "sent")
    if told["standing"] != "current":
        click.echo(f"{told['says']} {ORIGINS[told['origin']['state']].capitalize()}.", err=True)
    with open_client(port, reconnect_s=5.0) as client:
        row = verbs.send_profile(client, data)
    if as_json:
        emit_json({**row, "standing": told["standing"]})
        return
    console.print(f"Stored by the inflator and read back: revision {row['revision']}, digest {row['sha256'][:16]}.", markup=False)
    if row["waiting_for_person"]:
        console.print("The inflator asks a person about this wheel before its next fill: compare and confirm there.", markup=False)
