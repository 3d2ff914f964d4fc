"""`rimward session list`, `keep` and `pull`: sessions stored on this computer, and pulling more."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click
from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from rimward.base.errors import Refusal
from rimward.base.output import console, emit_json, progress_console
from rimward.cli.commands._port import json_option, port_option
from rimward.cli.commands.wheel_options import OVERWRITE, new_file, register

FILE = click.Path(path_type=Path, dir_okay=False)
WHO_FILLED = click.option(
    "--by",
    "who",
    default="",
    metavar="NAME",
    help="Who filled, where the record does not say. Else asked on a terminal (default there: RIMWARD_USER, else the login name).",
)


@click.command("list")
@click.argument("words", nargs=-1)
@click.option(
    "--wheel", metavar="WHEEL", help="Of this wheel of the register, or of the one with this id."
)
@click.option(
    "--from", "first", default="", metavar="DATE", help="From this day on, as 2026-03-31 (UTC)."
)
@click.option("--to", "last", default="", metavar="DATE", help="Up to this day.")
@click.option(
    "--ended-by", "cause", default="", metavar="CAUSE", help="Ended by this cause, as released."
)
@json_option
def list_(
    words: tuple[str, ...], wheel: str | None, first: str, last: str, cause: str, as_json: bool
) -> None:
    """List the sessions stored on this computer, newest first: pulled ones, and files added with `rimward session keep`."""
    from rimward.sessions.report.archive import Archive, Query

    rows = Archive().find(
        Query(" ".join(words), first, last, wheel_id(wheel) if wheel else "", cause)
    )
    if as_json:
        emit_json(
            {"sessions": [{name: row[name] for name in row if name != "words"} for row in rows]}
        )
        return
    print_kept(rows)


def wheel_id(wheel: str) -> str:
    """Id of a wheel of the register; an id unknown there is used as given."""

    try:
        with register(None) as held:
            return str(held.get(wheel, include_retired=True).wheel_id)
    except Refusal:
        if len(wheel) == 16 and all(c in "0123456789abcdef" for c in wheel.lower()):
            return wheel.lower()
        raise


def print_kept(rows: list[dict[str, Any]]) -> None:
    """Print stored sessions, two lines each: the full name, then the result."""
    from rimward.sessions.facts import reading_text, when_text

    if not rows:
        console.print(
            "No session is kept here. Bring one with `rimward session pull`, or take a file in with `rimward session keep FILE`.",
            markup=False,
        )
        return
    for row in rows:
        console.print(f"{row['name']}  {row['label']}", markup=False)
        who = f", by {row['who']}" if row["who"] else ""
        settled = reading_text(row["tyre_pa"], row["ceiling_pa"])
        console.print(
            f"    {when_text(row['unix_s'])}: settled {settled}, ended by {row['cause']}{who}",
            markup=False,
        )
    console.print(f"{len(rows)} session{'' if len(rows) == 1 else 's'}")


@click.command()
@click.argument(
    "files", nargs=-1, required=True, type=click.Path(path_type=Path, exists=True, dir_okay=False)
)
@click.option(
    "--by", "who", default="", metavar="NAME", help="Who filled, where the record does not say."
)
@json_option
def keep(files: tuple[Path, ...], who: str, as_json: bool) -> None:
    """Store session FILES on this computer; equal bytes are stored once."""
    from rimward.sessions.report.archive import Archive

    archive = Archive()
    kept = []
    for file in files:
        try:
            kept.append({"file": str(file), "name": archive.add(file.read_bytes(), who)})
        except Refusal as refusal:
            raise Refusal(f"{file}: {refusal.text}", refusal.fix) from refusal
    if as_json:
        emit_json({"kept": kept})
        return
    for row in kept:
        console.print(f"{row['file']} is kept as {row['name']}.", markup=False)


@click.command()
@port_option
@click.option(
    "--session",
    "number",
    type=click.IntRange(min=1),
    metavar="N",
    help="Which one; else the newest.",
)
@click.option(
    "--all",
    "every",
    is_flag=True,
    help="Every session that the inflator holds and this computer does not.",
)
@click.option(
    "--list", "listing", is_flag=True, help="List what the inflator holds and bring nothing."
)
@click.option("-o", "--out", type=FILE, metavar="FILE", help="Write it to this file as well.")
@OVERWRITE
@WHO_FILLED
@json_option
def pull(
    port: str,
    number: int | None,
    every: bool,
    listing: bool,
    out: Path | None,
    overwrite: bool,
    who: str,
    as_json: bool,
) -> None:
    """Pull a session from the inflator and store it on this computer. An interrupted pull continues."""
    from rimward.device.link import verbs
    from rimward.device.link.ports import open_client
    from rimward.sessions.report.archive import Archive
    from rimward.wheels.register.store import person

    if every and (number or out):
        raise click.UsageError("--all brings every session: leave --session and -o out.")
    if out is not None and not listing:
        new_file(out, overwrite)
    with open_client(port, reconnect_s=10.0) as client:
        if listing:
            show_list(verbs.list_sessions(client), as_json)
            return
        archive = Archive()
        held = verbs.list_sessions(client) if every else [verbs.find_session(client, number or 0)]
        rows = [
            row for row in held if not (every and archive.holds(verbs.device_name(client), row))
        ]
        filled = WhoFilled(who or "", person(), asks=sys.stdin.isatty() and not as_json)
        brought = [_bring(client, archive, row, out, filled) for row in rows]
    if as_json:
        emit_json({"brought": brought} if every else brought[0])
        return
    for row in brought:
        state = f"read up to its damage: {row['damage']}" if row["damage"] else "whole"
        also = f", and written to {out}" if out else ""
        console.print(
            f"Session {row['session']}, {row['bytes']} bytes, ended by {row['cause']}: {state}. Kept as {row['name']}{also}.",
            markup=False,
        )
    for row in brought:
        ask_about_air(row["name"], row["wheel_id"], who)
    if every:
        console.print(
            f"{len(brought)} brought, {len(held) - len(brought)} kept here already.", markup=False
        )


def ask_about_air(session: str, wheel_id: str, who: str) -> None:
    """Ask whether air was added or let out by hand since the wheel's last fill, where a loss could be worked out from this session.

    On a terminal the answer is kept; elsewhere the command that takes it is named. Nothing for a wheel that the register lacks.
    """
    from rimward.sessions.facts import when_text
    from rimward.sessions.report import losses

    try:
        with register(None) as held:
            wheel = held.by_id(wheel_id)
            one = losses.unanswered(wheel, session) if wheel is not None else None
            if wheel is None or one is None:
                return
            question = f"{wheel.label}: was air added or let out by hand since {when_text(one.left.end_s)}?"
            if sys.stdin.isatty():
                losses.answer(
                    held, wheel, session, click.confirm(question, default=False, err=True), who
                )
            else:
                console.print(
                    f"{question} Answer with: rimward wheel loss '{wheel.label}' --ask",
                    markup=False,
                )
    except Refusal as refusal:
        progress_console.print(f"The loss between fills is not worked out: {refusal}", markup=False)


class WhoFilled:
    """Who filled where a record does not say: as given, else asked once on a terminal, else the person at this computer."""

    def __init__(self, given: str, here: str, asks: bool) -> None:
        self.name, self.here, self.asks = given, here, asks

    def of(self, log: Any) -> str:
        """Return the person to keep with this record."""
        if not self.name and not log.meta.get("person"):
            question = (
                f"The record of session {log.header['session']} does not say who filled. Who did?"
            )
            self.name = (
                click.prompt(question, default=self.here, err=True) if self.asks else self.here
            )
        return self.name


def _bring(
    client: Any, archive: Any, row: dict[str, Any], out: Path | None, filled: WhoFilled
) -> dict[str, Any]:
    """Pull one session into the kept ones, and to `out` as well; what was brought."""
    from rimward.device.link import verbs
    from rimward.sessions import read_session

    to = out or archive.folder / f".{verbs.session_file_name(client, row)}"
    with progress_of(row["session"], row["bytes"]) as step:
        verbs.pull_session(client, row["session"], to, step)
    data = to.read_bytes()
    log = read_session(data)
    name = archive.add(data, filled.of(log))
    if out is None:
        to.unlink()
    return {"name": name, "file": str(out or archive.path(name)), **row, "damage": log.damage}


@contextmanager
def progress_of(session: int, size: int) -> Iterator[Callable[[int, int], None]]:
    """Show a progress bar on standard error; the context gives `step(have, size)`."""

    columns = (
        TextColumn("session {task.fields[session]}"),
        BarColumn(),
        DownloadColumn(),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=progress_console, transient=True) as bar:
        task = bar.add_task("pull", total=size, session=session)
        yield lambda have, _size: bar.update(task, completed=have)


def show_list(rows: list[dict[str, Any]], as_json: bool) -> None:
    """Sessions that an inflator holds, newest first."""

    from rimward.sessions.facts import when_text

    if as_json:
        emit_json(rows)
        return
    if not rows:
        console.print("The inflator holds no session.")
        return
    table = Table("session", "when", "bytes", "wheel", "ended by")
    for row in rows:
        table.add_row(
            str(row["session"]),
            when_text(row["unix_s"]),
            str(row["bytes"]),
            row["wheel_id"],
            row["cause"] if row["ended"] else "not closed",
        )
    console.print(table)
