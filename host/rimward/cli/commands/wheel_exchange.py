"""`rimward wheel export`, `import` and `backup`: many wheels at once, as files."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from rimward.base.errors import Refusal
from rimward.base.output import console, emit_json
from rimward.cli.commands.wheel_options import (
    CREATE,
    DATABASE,
    JSON,
    OVERWRITE,
    WHO,
    new_file,
    options,
    register,
)

FILE = click.Path(path_type=Path, dir_okay=False)
FORMAT = click.option(
    "--format",
    "form",
    type=click.Choice(["csv", "json"]),
    help="Needed where the file name does not say.",
)


def _form(file: Path | None, form: str | None, otherwise: str | None = None) -> str:
    kind = form or (file.suffix.lower().removeprefix(".") if file else otherwise)
    if kind not in ("csv", "json"):
        raise click.UsageError(f"{file} must end in .csv or .json, or give --format.")
    return kind


@click.command()
@click.argument("wheels", nargs=-1, metavar="[WHEEL]...")
@click.option(
    "-o",
    "--out",
    type=FILE,
    metavar="FILE",
    help="Where to write, .csv or .json. Else standard output.",
)
@click.option(
    "--empty", is_flag=True, help="No wheels: a CSV file of heads alone, to be filled in."
)
@click.option("--retired", is_flag=True, help="Retired wheels too.")
@options(FORMAT, OVERWRITE, DATABASE, JSON)
def export(
    wheels: tuple[str, ...],
    out: Path | None,
    empty: bool,
    retired: bool,
    form: str | None,
    overwrite: bool,
    database: str | None,
    as_json: bool,
) -> None:
    """Write wheels of the register to a file, all if none is named: CSV for a spreadsheet, JSON with the source of each value.

    Example: rimward wheel export -o wheels.csv
    """

    from rimward.wheels.register import exchange

    kind = _form(out, form, "json" if as_json else "csv")
    chosen: list[Any] = []
    if not empty:
        with register(database) as opened:
            chosen = [opened.get(name, include_retired=True) for name in wheels] or opened.all(
                retired
            )
    text = (
        exchange.to_csv(chosen)
        if kind == "csv"
        else json.dumps(exchange.to_json(chosen), indent=1, ensure_ascii=False) + "\n"
    )
    if out is None:
        click.echo(text, nl=False)
        return
    try:
        new_file(out, overwrite).write_text(text, encoding="utf-8")
    except OSError as failed:
        raise Refusal(
            f"{out} cannot be written: {failed.strerror}.", "Give another place."
        ) from failed
    if as_json:
        emit_json({"written": str(out), "format": kind, "wheels": len(chosen)})
    else:
        console.print(f"{_count(len(chosen))} written to {out}.", markup=False)


@click.command("import")
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option(
    "--update", is_flag=True, help="Change wheels that the register holds with other values."
)
@click.option("--dry-run", is_flag=True, help="Check the file and say what would be done.")
@options(FORMAT, WHO, DATABASE, CREATE, JSON)
def import_(
    file: Path,
    update: bool,
    dry_run: bool,
    form: str | None,
    who: str,
    database: str | None,
    as_json: bool,
) -> None:
    """Import the wheels of a CSV or JSON file, all of them or none.

    CSV: a header line with label, rim, tyre and any other field; `rimward wheel export --empty` writes one to fill in.
    """
    from rimward.wheels.register import exchange

    kind = _form(file, form)
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as wrong:
        raise Refusal(f"{file} cannot be read: {wrong}.", "Give a UTF-8 text file.") from wrong
    rows = exchange.read_csv(text) if kind == "csv" else exchange.read_json(text)
    if not rows:
        raise Refusal(
            f"{file} contains no wheel.",
            "Write a table to fill in with `rimward wheel export --empty`.",
        )
    with register(database) as opened:
        steps = exchange.plan(opened, rows, update)
        if not dry_run:
            exchange.enter(opened, steps, who, f"imported from {file.name}", _ours)
    counts = {act: sum(step.act == act for step in steps) for act in ("add", "change", "same")}
    if as_json:
        wheels = [
            {"label": step.row.values["label"], "wheel_id": step.wheel_id, "act": step.act}
            for step in steps
        ]
        emit_json({"file": str(file), "dry_run": dry_run, **counts, "wheels": wheels})
        return
    done = "would be added" if dry_run else "added"
    console.print(
        f"{_count(counts['add'])} {done}, {counts['change']} changed, {counts['same']} held already.",
        markup=False,
    )


def _ours(profile: Mapping[str, Any]) -> bool:
    """Return True if an issued profile carries this workshop's tag; others are not imported."""
    from rimward.wheels import keys, profiles

    try:
        return profiles.origin(bytes.fromhex(profile["data"]), keys.load())["state"] in (
            "ours",
            "ours-earlier",
        )
    except (KeyError, TypeError, ValueError, Refusal):
        return False


@click.command()
@click.argument("file", type=FILE)
@options(DATABASE, JSON)
def backup(file: Path, database: str | None, as_json: bool) -> None:
    """Copy the whole register, its history included, into a new FILE while it is in use.

    The copy is a register: rimward wheel list --database FILE reads it.
    """
    from rimward.wheels.register.schema import copy_of

    new_file(file, False, "Give another name; a backup replaces nothing.")
    with register(database) as opened:
        copy_of(opened.engine, file)
    if as_json:
        emit_json({"written": str(file), "bytes": file.stat().st_size})
    else:
        console.print(
            f"The register is copied to {file}, {file.stat().st_size} bytes, and the copy is checked.",
            markup=False,
        )


def _count(n: int) -> str:
    return f"{n} wheel{'' if n == 1 else 's'}"
