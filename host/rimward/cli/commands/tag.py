"""`rimward tag`: print a wheel's tag and read one back."""

import sys
from pathlib import Path

import click

from rimward.base.errors import Refusal
from rimward.base.output import console, emit_json
from rimward.cli.commands.profile import MAY_BE_FILLED, refuse_outdated
from rimward.cli.commands.profile_make import FILE
from rimward.cli.commands.profile_text import describe, print_profile, warn_untagged
from rimward.cli.commands.wheel_options import (
    DATABASE,
    JSON,
    OVERWRITE,
    new_file,
    options,
    register,
)
from rimward.paper import drawing


@click.group()
def command() -> None:
    """Wheel tags of 64 x 32 mm: ceiling, target, and the whole profile as a code."""


@command.command("print")
@click.argument("wheel", required=False)
@click.option(
    "--profile",
    "profile_file",
    type=FILE,
    metavar="FILE",
    help="The tag of this profile file instead of a wheel of the register.",
)
@click.option(
    "-o", "--out", type=FILE, required=True, metavar="FILE", help="tag.svg, tag.pdf or tag.png."
)
@click.option(
    "--dpi",
    type=click.IntRange(203, 2400),
    default=1016,
    show_default=True,
    help="Dots per inch of a PNG, as 203 for a label printer.",
)
@click.option(
    "--sheet",
    type=click.Choice(["a4", "letter"]),
    help="Put a PDF's tag on a sheet of this paper, with marks to cut along.",
)
@options(OVERWRITE, DATABASE, JSON)
def print_(
    wheel: str | None,
    profile_file: Path | None,
    out: Path,
    dpi: int,
    sheet: str | None,
    overwrite: bool,
    database: str | None,
    as_json: bool,
) -> None:
    """Print the tag of a wheel's newest profile, for a label of 64 x 32 mm or on a sheet of paper."""
    if bool(wheel) == bool(profile_file):
        raise click.UsageError("Give a WHEEL or --profile FILE.")
    from rimward.wheels import profile_files
    from rimward.wheels.tag import code, design

    data = newest(wheel, database) if wheel else profile_files.read(profile_file)  # type: ignore[arg-type]
    described = describe(data, database)
    refuse_outdated(described, "printed")
    drawing.write(design.wheel_tag(data), new_file(out, overwrite), 25.4 / dpi, sheet)
    warn_untagged(described)
    if as_json:
        text = code.to_text(data)
        emit_json(
            {
                "file": str(out),
                "width_mm": design.WIDTH_MM,
                "height_mm": design.HEIGHT_MM,
                "module_mm": design.MODULE_MM,
                "code": text,
                **described,
            }
        )
    else:
        console.print(
            f"Tag of {described['profile']['label']}, revision {described['profile']['revision']}, written to {out}. Print it at 100 %.",
            markup=False,
        )


def newest(wheel: str, database: str | None) -> bytes:
    """Newest profile issued for a wheel."""

    with register(database) as opened:
        found = opened.get(wheel)
    if "profile" not in found.values:
        raise Refusal(
            f"{found.label} has no profile yet.",
            "Make one: rimward profile make --wheel WHEEL --target PRESSURE.",
        )
    return bytes.fromhex(found.values["profile"]["data"])


@command.command()
@click.argument("image", type=FILE)
@click.option(
    "-o",
    "--out",
    type=FILE,
    metavar="FILE",
    help="Write the profile, to be sent to an inflator. Not done for one that no longer counts.",
)
@options(OVERWRITE, DATABASE, JSON)
def read(
    image: Path, out: Path | None, overwrite: bool, database: str | None, as_json: bool
) -> None:
    """Read a wheel tag from a picture and show whether it is still valid."""
    from rimward.wheels import profile_files
    from rimward.wheels.tag import reading

    data = reading.read(image)
    described = describe(data, database)
    if described["standing"] != "current":
        click.echo(described["says"], err=True)
    if as_json:
        emit_json(described)
    else:
        print_profile(described)
    if out:
        refuse_outdated(described, "written")
        profile_files.write(new_file(out, overwrite), data)
    if described["standing"] not in MAY_BE_FILLED:
        sys.exit(1)
