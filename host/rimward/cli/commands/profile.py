"""`rimward profile`: make and show the binary record of a wheel's limits."""

from pathlib import Path
from typing import Any

import click

from rimward.base.errors import Refusal
from rimward.base.output import console, emit_json
from rimward.cli.commands._port import port_option, tell
from rimward.cli.commands.profile_make import FILE, make
from rimward.cli.commands.profile_text import ORIGINS, describe, print_held, print_profile
from rimward.cli.commands.wheel_options import DATABASE, JSON, options

MAY_BE_FILLED = (
    "current",
    "unknown-wheel",
    "newer-than-register",
)  # states in the register in which a profile is still valid


@click.group()
def command() -> None:
    """Wheel profiles: the record from which an inflator takes its ceiling."""


def refuse_outdated(described: dict[str, Any], what: str) -> None:
    """Raise Refusal for a profile that the register marks as superseded, retired, changed or different."""
    if described["standing"] not in MAY_BE_FILLED:
        raise Refusal(f"Not {what}: {described['says']}")


@command.command()
@click.argument("file", type=FILE)
@options(DATABASE, JSON)
def show(file: Path, database: str | None, as_json: bool) -> None:
    """Show a profile: a binary file, its JSON, or the text of a tag's code."""
    from rimward.wheels import profile_files

    described = describe(profile_files.read(file), database)
    if as_json:
        emit_json(described)
    else:
        print_profile(described)


@command.command("list")
@options((port_option,), DATABASE, JSON)
def list_command(port: str, database: str | None, as_json: bool) -> None:
    """List the profiles in an inflator, with their state in the register."""
    from rimward.device.link import verbs
    from rimward.device.link.ports import open_client
    from rimward.wheels import profile_files

    with open_client(port) as client:
        rows = verbs.list_profiles(client)
    for row in rows:
        described = describe(row["data"], database) if row["intact"] else None
        row["standing"], row["says"] = (
            (described["standing"], described["says"]) if described else (None, "")
        )
    if as_json:
        emit_json(
            [
                {
                    **row,
                    "profile": profile_files.to_json(row["data"]) if row["intact"] else None,
                    "data": row["data"].hex(),
                }
                for row in rows
            ]
        )
    else:
        print_held(rows)


@command.command()
@click.argument("wheel")
@options((port_option,), JSON)
def delete(wheel: str, port: str, as_json: bool) -> None:
    """Delete a WHEEL's profile (id or label) from an inflator; confirm it there with the workshop button."""
    from rimward.device.link import verbs
    from rimward.device.link.ports import open_client

    with open_client(port) as client:
        row = verbs.delete_profile(client, wheel, tell)
    if as_json:
        emit_json(row)
    else:
        text = f"Deleted: {row['label']}, revision {row['revision']}. The inflator still takes only later revisions of this wheel."
        console.print(text, markup=False)


@command.command()
@click.argument("file", type=FILE)
@options((port_option,), DATABASE, JSON)
def send(file: Path, port: str, database: str | None, as_json: bool) -> None:
    """Send a profile to an inflator, unless the register marks it as no longer valid. Only `make` tags a profile.

    Done only when the digest of the stored bytes matches.
    """
    from rimward.device.link import verbs
    from rimward.device.link.ports import open_client
    from rimward.wheels import profile_files

    data = profile_files.read(file)
    described = describe(data, database)
    if described["origin"]["state"] == "untagged":
        raise Refusal(
            "This profile carries no tag, so no inflator takes it.",
            "Make it of its wheel: rimward profile make --wheel WHEEL --target PRESSURE.",
        )
    refuse_outdated(described, "sent")
    if described["standing"] != "current":
        click.echo(
            f"{described['says']} {ORIGINS[described['origin']['state']].capitalize()}.", err=True
        )
    with open_client(port, reconnect_s=5.0) as client:
        row = verbs.send_profile(client, data)
    if as_json:
        emit_json({**row, "standing": described["standing"]})
        return
    console.print(
        f"Stored by the inflator and read back: revision {row['revision']}, digest {row['sha256'][:16]}.",
        markup=False,
    )
    if row["waiting_for_person"]:
        console.print(
            "The inflator asks a person about this wheel before its next fill: compare and confirm there.",
            markup=False,
        )


command.add_command(make)
