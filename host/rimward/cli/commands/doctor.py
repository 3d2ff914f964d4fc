"""`rimward doctor`: check of the installation and connected inflators."""

import sys

import click

from rimward.base.output import console, emit_json
from rimward.cli.commands.wheel_options import DATABASE, JSON, options

SIGNS = {"ok": "ok  ", "note": "note", "wrong": "FIX "}


@click.command()
@options(DATABASE, JSON)
def command(database: str | None, as_json: bool) -> None:
    """Check this computer: packages, interpreter, settings, register, key, kept sessions, inflators. Exit 1 if something needs a fix."""
    from rimward.cli.checkup import checkup

    rows = []
    for row in checkup(database):
        rows.append(row)
        if not as_json:
            console.print(
                f"{SIGNS[row.state]}  {row.what}: {row.found}{' ' + row.fix if row.fix else ''}",
                markup=False,
            )
    if as_json:
        emit_json(
            {"ok": all(row.state != "wrong" for row in rows), "checks": [vars(row) for row in rows]}
        )
    if any(row.state == "wrong" for row in rows):
        sys.exit(1)
