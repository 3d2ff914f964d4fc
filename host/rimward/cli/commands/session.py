"""`rimward session`: pull, show, verify and export sessions."""

import json
import sys
from pathlib import Path
from typing import Any

import click
from rich.markup import escape
from rich.table import Table

from rimward.base.errors import Refusal
from rimward.base.output import console, emit_json
from rimward.cli.commands import session_kept
from rimward.cli.commands._port import json_option
from rimward.cli.commands.session_files import SESSION
from rimward.cli.commands.wheel_options import OVERWRITE, new_file

FILE = click.Path(path_type=Path, dir_okay=False)
FORMS = ("csv", "json")


@click.group()
def command() -> None:
    """Sessions: an inflator's records of fills. FILE is a session file, or the name of a stored session."""


for one in (session_kept.list_, session_kept.keep, session_kept.pull):
    command.add_command(one)


def load(path: Path) -> tuple[bytes, Any]:
    """Bytes of a session file, and its log."""
    from rimward.sessions import read_session

    log = read_session(path)
    return path.read_bytes(), log


@command.command()
@click.argument("file", type=SESSION)
@json_option
def show(file: Path, as_json: bool) -> None:
    """Show a session: wheel, limits, end and its cause, events, replayable stretches, damage."""
    from rimward.sessions import export, facts, verification

    raw, log = load(file)
    found = facts.facts(log, raw, keys=verification.keys_for(log))
    events, spans = export.events(log), export.spans(log)
    if as_json:
        emit_json(
            {
                "file": str(file),
                "figures": found.to_json(),
                "damage": log.damage,
                "good_bytes": log.good_bytes,
                "events": events,
                "spans": spans,
            }
        )
        return
    print_sections(facts.sections(found))
    print_events(events)
    for span in spans:
        text = f"full rate, replays exactly: ticks {span['first_tick']} to {span['first_tick'] + span['ticks'] - 1} ({span['ticks'] * export.TICK_S:.1f} s)"
        console.print(text, markup=False)
    if log.damage:
        console.print(
            f"DAMAGED: read up to byte {log.good_bytes} of {len(raw)}: {log.damage}", markup=False
        )


def print_sections(sections: Any) -> None:
    """Print figures under their headings."""

    for heading, rows in sections:
        table = Table(title=heading, title_justify="left", show_header=False)
        for _key, name, text in rows:
            table.add_row(name, escape(text))
        console.print(table)


def print_events(events: list[dict[str, Any]]) -> None:
    """Print events in order."""

    table = Table("time", "state", "event", title="Events", title_justify="left")
    for row in events:
        table.add_row(f"{row['tick'] * 0.002:.2f} s", row["state"], escape(row["text"]))
    console.print(table)


@command.command("export")
@click.argument("file", type=SESSION)
@click.option(
    "-o",
    "--out",
    type=FILE,
    metavar="FILE",
    help="Where to write; .json or .csv. Else standard output.",
)
@click.option(
    "--format",
    "form",
    type=click.Choice(FORMS),
    help="Needed where the file name does not say; csv on standard output.",
)
@click.option(
    "--every-tick",
    is_flag=True,
    help="Every 2 ms of the full-rate stretches, not every fifth of them.",
)
@OVERWRITE
@click.option(
    "--json",
    "as_json",
    is_flag=True,
    help="Print JSON: with -o what was written, else the session itself.",
)
def export_command(
    file: Path, out: Path | None, form: str | None, every_tick: bool, overwrite: bool, as_json: bool
) -> None:
    """Export the readings as CSV, or everything as JSON. Pressures are gauge, in Pa."""
    from rimward.sessions import export

    if as_json and out is None and form == "csv":
        raise click.UsageError("--json prints no CSV. Leave one of them out, or give -o FILE.")
    kind = form or (
        ("json" if as_json else "csv") if out is None else out.suffix.lower().removeprefix(".")
    )
    if kind not in FORMS:
        raise click.UsageError(
            f"{out.name if out else kind} must end in .csv or .json, or give --format."
        )
    raw, log = load(file)
    text = (
        export.to_csv(log, every_tick)
        if kind == "csv"
        else json.dumps(export.to_json(log, raw, every_tick), indent=1, allow_nan=False) + "\n"
    )
    if out is None:
        click.echo(text, nl=False)
    else:
        try:
            new_file(out, overwrite).write_text(text, encoding="utf-8")
        except OSError as failed:
            raise Refusal(
                f"{out} cannot be written: {failed.strerror}.", "Give another place."
            ) from failed
        if as_json:
            emit_json(
                {
                    "file": str(file),
                    "written": str(out),
                    "format": kind,
                    "damage": log.damage,
                    "good_bytes": log.good_bytes,
                }
            )
    if log.damage:
        click.echo(f"rimward: {file} was read up to byte {log.good_bytes}: {log.damage}.", err=True)


VERDICTS = {
    "holds": "The chain holds: no block was removed, added or edited since it was written with the key that this computer has.",
    "broken": "THE CHAIN DOES NOT HOLD: a block was edited, removed or added, or another workshop's key made it.",
    "damaged": "DAMAGED",
    "demo-key": "Recorded with another key: the demo's, which anyone has. Nothing shows whether it was edited, nor that it was.",
    "not-chained": "Not chained: the inflator had no workshop key, so nothing shows whether this record was edited.",
}


@command.command()
@click.argument("file", type=SESSION)
@json_option
def verify(file: Path, as_json: bool) -> None:
    """Verify with the workshop key that a session is complete and unedited. Exit 0: it is; 1: it is not, or there is no evidence."""
    from rimward.sessions import verification

    raw, log = load(file)
    keys = verification.keys_for(log)
    found = verification.verify(log, raw, keys, check=False)
    if found.whole and found.chained and not keys and not found.known_key:
        purpose = " --purpose bench" if log.bench else ""
        raise Refusal(
            f"This computer has no {'bench' if log.bench else 'workshop'} key to verify the record with.",
            f"Take it over from the one that has: rimward key import FILE{purpose}.",
        )
    state = (
        "damaged"
        if not found.whole
        else "not-chained"
        if not found.chained
        else "demo-key"
        if found.known_key
        else "holds"
        if found.chain
        else "broken"
    )
    if as_json:
        emit_json(
            {
                "file": str(file),
                "verdict": state,
                "ok": state == "holds",
                "damage": log.damage,
                "good_bytes": log.good_bytes,
                "bytes": len(raw),
            }
        )
    else:
        damage = (
            f" from byte {log.good_bytes} of {len(raw)} on: {log.damage}." if log.damage else ""
        )
        console.print(VERDICTS[state] + damage, markup=False)
    if state != "holds":
        sys.exit(1)
