"""`rimward profile make`: a profile from a wheel of the register, from options, or from JSON."""

import re
from pathlib import Path
from typing import Any

import click

from rimward.base.errors import Refusal
from rimward.base.output import console, emit_json
from rimward.base.units import parse_pressure
from rimward.cli.commands.ceiling import read_place, read_ride, ride_options
from rimward.cli.commands.profile_text import describe, print_profile, warn_untagged
from rimward.cli.commands.wheel_options import (
    ABOUT_WHEEL,
    DATABASE,
    JSON,
    OVERWRITE,
    RIM_AND_TYRE,
    WHO,
    new_file,
    options,
    register,
    stated,
)
from rimward.limits.ceiling import load_maker_table
from rimward.limits.ceiling.model import Note

FILE = click.Path(path_type=Path, dir_okay=False)
MAKE_ONLY = (
    click.option(
        "--target",
        metavar="PRESSURE",
        help="What the tyre is filled to, gauge, as '4.6 bar'. You choose it; it must not be above the ceiling.",
    ),
    click.option(
        "--seat-pause",
        metavar="PRESSURE",
        help="Pause until the bead is seen seated (default 2.75 bar, or the target if that is lower).",
    ),
    click.option(
        "--time-budget",
        type=click.IntRange(10, 1800),
        metavar="S",
        help="Longest time with the pump on (default: by volume).",
    ),
    click.option(
        "--limit-at-fill-only",
        is_flag=True,
        help="Hold the limit at the fill only although a ride is stated. Recorded; refused above 105 % on the ride.",
    ),
    click.option(
        "--instrument",
        type=FILE,
        metavar="FILE",
        help="An inflator's calibration: the target must not be above where it stops.",
    ),
    click.option(
        "--maker-table", type=FILE, metavar="FILE", help="A maker's own table of widths and maxima."
    ),
    click.option(
        "--without-ride",
        is_flag=True,
        help="Leave out the ride and fill place that the wheel's last profile was made for.",
    ),
    click.option(
        "--untagged",
        is_flag=True,
        help="Leave the workshop's tag out; no inflator takes it until it is tagged.",
    ),
)
WITHOUT_REGISTER = (
    click.option("--label", help="Name of a wheel that is not in the register."),
    click.option(
        "--wheel-id", metavar="HEX", help="Its id, 16 hexadecimal digits (default: a new one)."
    ),
    click.option(
        "--revision",
        type=click.IntRange(1, 2**30 - 1),
        default=1,
        help="Higher than the last profile with that id.",
    ),
)


@click.command()
@click.option("--wheel", metavar="WHEEL", help="A wheel of the register.")
@click.option(
    "--from",
    "from_file",
    type=FILE,
    metavar="FILE",
    help="A profile as JSON, turned into binary as it is; its tag is kept, none is made.",
)
@options(MAKE_ONLY, ride_options, WITHOUT_REGISTER, RIM_AND_TYRE, ABOUT_WHEEL)
@click.option(
    "-o",
    "--out",
    type=FILE,
    metavar="FILE",
    help="Where to write; .json for JSON, else binary (default: LABEL-rREVISION.rwp).",
)
@options(OVERWRITE, WHO, DATABASE, JSON)
def make(**given: Any) -> None:
    """Make a profile from a wheel of the register, from options, or from JSON.

    rimward profile make --wheel aspen --target '4.6 bar'
    """
    sources = [name for name in ("wheel", "from_file", "rim") if given[name]]
    if len(sources) != 1:
        raise click.UsageError("Give one of --wheel, --from, or --rim with --tyre and --label.")
    if given["out"]:
        new_file(given["out"], given["overwrite"])  # before a revision is used up
    made, notes = {"wheel": from_register, "from_file": from_json_file, "rim": from_options}[
        sources[0]
    ](given)
    path = given["out"] or Path(f"{slug(made)}.rwp")
    from rimward.wheels import profile_files

    profile_files.write(new_file(path, given["overwrite"]), made)
    described = describe(made, given["database"])
    warn_untagged(described)
    if given["as_json"]:
        emit_json(
            {
                "file": str(path),
                **described,
                "warnings": [{"id": note.id, "text": note.text} for note in notes],
            }
        )
    else:
        print_profile(described)
        for note in notes:
            console.print(f"caution ({note.id}): {note.text}", markup=False)
        console.print(f"written to {path}", markup=False)


def slug(data: bytes) -> str:
    """File name from label and revision."""

    from rimward.formats.records import unpack_profile

    fields = unpack_profile(data)
    return f"{re.sub(r'[^A-Za-z0-9]+', '-', fields['label']).strip('-').lower() or 'wheel'}-r{fields['revision']}"


def asked_of(given: dict[str, Any]) -> Any:
    """Choices for the profile from the options."""
    from rimward.wheels.profiles import Asked

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
    """Inflator whose stop reading bounds the target, if given."""
    if path is None:
        return None
    from rimward.limits.uncertainty.files import load_instrument

    return load_instrument(path)


def ring_of(given: dict[str, Any]) -> Any:
    """Return the workshop's keys, or None when no tag is wanted."""
    from rimward.wheels import keys

    return None if given["untagged"] else keys.load()


def from_register(given: dict[str, Any]) -> tuple[bytes, list[Any]]:
    """Make a profile from a wheel of the register. Return its bytes and warnings."""
    from rimward.wheels import profiles
    from rimward.wheels.register.issued import kept_words

    asked, ring = asked_of(given), ring_of(given)
    with register(given["database"]) as opened:
        wheel = opened.get(given["wheel"])
        kept: list[str] = []
        if "profile" in wheel.values and not given["without_ride"]:
            asked, kept = profiles.as_before(asked, wheel.values["profile"])
        notes = profiles.cautions(
            asked.target_pa, profiles.assess_wheel(wheel.values, asked), wheel.label
        )
        if kept:
            text = (
                f"As for the last profile: {kept_words(kept)}. Give --without-ride to leave it out."
            )
            notes.append(Note("ride-as-before", text))
        twin = [
            other.label
            for other in opened.all()
            if other.wheel_id != wheel.wheel_id and profiles.same_label(other.label, wheel.label)
        ]
        if twin:
            notes.append(
                Note(
                    "label-twice",
                    f"Another wheel, {twin[0]}, has the same label on the inflator's display. Rename one: rimward wheel edit.",
                )
            )
        return profiles.issue(opened, wheel, asked, ring, given["who"]), notes


def from_json_file(given: dict[str, Any]) -> tuple[bytes, list[Any]]:
    """Make a profile from a JSON file. Return its bytes and warnings."""
    from rimward.wheels import keys, profile_files, profiles

    data = profile_files.read(given["from_file"])
    if profiles.origin(data, keys.load())["state"] == "foreign":
        raise Refusal(
            "The tag does not fit this profile: it was edited, or another workshop made it.",
            "Make it from the wheel: rimward profile make --wheel.",
        )
    return data, []


def from_options(given: dict[str, Any]) -> tuple[bytes, list[Any]]:
    """Make a profile from options. Return its bytes and warnings."""
    from rimward.wheels import keys, profile_files, profiles
    from rimward.wheels.register.fields import ENTERED, check_values

    values = stated(**{name: given.get(name) for name in ENTERED})
    missing = [name for name in ("label", "rim", "tyre") if name not in values]
    if missing:
        raise click.UsageError(f"Give {' and '.join('--' + m for m in missing)} too.")
    try:
        wheel_id = (
            profile_files.exact_hex(given["wheel_id"].lower(), 8)
            if given["wheel_id"]
            else profiles.new_wheel_id()
        )
    except ValueError:
        raise click.UsageError("--wheel-id needs 16 hexadecimal digits.") from None
    asked, ring = asked_of(given), ring_of(given)
    if ring and ring.keys:
        profiles.refuse_unmarked(values)
    answer = profiles.assess_wheel(checked := check_values(values), asked)
    number = keys.next_issue(ring.current) if ring and ring.keys else None
    data = profiles.build(checked, wheel_id, given["revision"], asked, answer, number)
    return profiles.tagged(data, ring) if ring and ring.keys else data, profiles.cautions(
        asked.target_pa, answer, checked["label"]
    )
