"""`rimward session list`, `keep` and `pull`: the sessions kept on this computer, and bringing more."""

import sys
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click

from rimward.commands._port import json_option, port_option
from rimward.commands.wheel_options import new_file
from rimward.errors import Refusal
from rimward.output import console, emit_json, progress_console

FILE = click.Path(path_type=Path, dir_okay=False)
WHO_FILLED = click.option("--by", "who", default="", metavar="NAME", help="Who filled, where the record does not say (default: RIMWARD_USER, else the login name).")


@click.command("list")
@click.argument("words", nargs=-1)
@click.option("--wheel", metavar="WHEEL", help="Of this wheel of the register, or of the one with this id.")
@click.option("--from", "first", default="", metavar="DATE", help="From this day on, as 2026-03-31 (UTC).")
@click.option("--to", "last", default="", metavar="DATE", help="Up to this day.")
@click.option("--ended-by", "cause", default="", metavar="CAUSE", help="Ended by this cause, as released.")
@json_option
def list_(words: tuple[str, ...], wheel: str | None, first: str, last: str, cause: str, as_json: bool) -> None:
    """List the sessions kept on this computer, newest first: those pulled, and files taken in with `rimward session keep`."""
    from rimward.report.archive import Archive, Query

    rows = Archive().find(Query(" ".join(words), first, last, wheel_id(wheel) if wheel else "", cause))
    if as_json:
        emit_json({"sessions": [{name: row[name] for name in row if name != "words"} for row in rows]})
        return
    print_kept(rows)


def wheel_id(wheel: str) -> str:
    """The id of a wheel of the register; an id that the register lacks is taken as it is."""
    from rimward.commands.wheel_options import register

    try:
        with register(None) as held:
            return str(held.get(wheel, include_retired=True).wheel_id)
    except Refusal:
        if len(wheel) == 16 and all(c in "0123456789abcdef" for c in wheel.lower()):
            return wheel.lower()
        raise


def print_kept(rows: list[dict[str, Any]]) -> None:
    """Kept sessions, two lines each: the name whole, then what happened."""
    from rimward.sessions.facts import reading_text, when_text

    if not rows:
        console.print("No session is kept here. Bring one with `rimward session pull`, or take a file in with `rimward session keep FILE`.", markup=False)
        return
    for row in rows:
        console.print(f"{row['name']}  {row['label']}", markup=False)
        who = f", by {row['who']}" if row["who"] else ""
        settled = reading_text(row["tyre_pa"], row["ceiling_pa"])
        console.print(f"    {when_text(row['unix_s'])}: settled {settled}, ended by {row['cause']}{who}", markup=False)
    console.print(f"{len(rows)} session{'' if len(rows) == 1 else 's'}")


@click.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--by", "who", default="", metavar="NAME", help="Who filled, where the record does not say.")
@json_option
def keep(files: tuple[Path, ...], who: str, as_json: bool) -> None:
    """Take session FILES into the sessions kept on this computer; the same bytes are kept once."""
    from rimward.report.archive import Archive

    archive = Archive()
    told = []
    for file in files:
        try:
            told.append({"file": str(file), "name": archive.add(file.read_bytes(), who)})
        except Refusal as refusal:
            raise Refusal(f"{file}: {refusal.text}", refusal.fix) from refusal
    if as_json:
        emit_json({"kept": told})
        return
    for row in told:
        console.print(f"{row['file']} is kept as {row['name']}.", markup=False)


@click.command()
@port_option
@click.option("--session", "number", type=click.IntRange(min=1), metavar="N", help="Which one; else the newest.")
@click.option("--all", "every", is_flag=True, help="Every session that the inflator holds and this computer does not.")
@click.option("--list", "listing", is_flag=True, help="List what the inflator holds and bring nothing.")
@click.option("-o", "--out", type=FILE, metavar="FILE", help="Write it to this file as well.")
@click.option("--overwrite", is_flag=True, help="Replace that file.")
@WHO_FILLED
@json_option
def pull(port: str, number: int | None, every: bool, listing: bool, out: Path | None, overwrite: bool, who: str, as_json: bool) -> None:
    """Bring a session from the inflator and keep it on this computer. One that was interrupted goes on where it stopped."""
    from rimward.link import verbs
    from rimward.link.ports import open_client
    from rimward.register.store import person
    from rimward.report.archive import Archive

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
        rows = [row for row in held if not (every and archive.holds(verbs.device_name(client), row))]
        told = [_bring(client, archive, row, out, who or person()) for row in rows]
    if as_json:
        emit_json({"brought": told} if every else told[0])
        return
    for row in told:
        state = f"read up to its damage: {row['damage']}" if row["damage"] else "whole"
        also = f", and written to {out}" if out else ""
        console.print(f"Session {row['session']}, {row['bytes']} bytes, ended by {row['cause']}: {state}. Kept as {row['name']}{also}.", markup=False)
    for row in told:
        ask_about_air(row["name"], row["wheel_id"], who)
    if every:
        console.print(f"{len(told)} brought, {len(held) - len(told)} kept here already.", markup=False)


def ask_about_air(session: str, wheel_id: str, who: str) -> None:
    """Asks whether air was added or let out by hand since the wheel's last fill, where a loss could be worked out from this session.

    On a terminal the answer is kept; elsewhere the command that takes it is named. Nothing for a wheel that the register lacks.
    """
    from rimward.commands.wheel_options import register
    from rimward.report import losses
    from rimward.sessions.facts import when_text

    try:
        with register(None) as held:
            wheel = held.by_id(wheel_id)
            one = losses.unanswered(wheel, session) if wheel is not None else None
            if wheel is None or one is None:
                return
            question = f"{wheel.label}: was air added or let out by hand since {when_text(one.left.end_s)}?"
            if sys.stdin.isatty():
                losses.answer(held, wheel, session, click.confirm(question, default=False, err=True), who)
            else:
                console.print(f"{question} Answer with: rimward wheel loss '{wheel.label}' --ask", markup=False)
    except Refusal as refusal:
        progress_console.print(f"The loss between fills is not worked out: {refusal}", markup=False)


def _bring(client: Any, archive: Any, row: dict[str, Any], out: Path | None, who: str) -> dict[str, Any]:
    """Pulls one session into the kept ones, and to `out` as well; what was brought."""
    from rimward.link import verbs
    from rimward.sessions import read_session

    to = out or archive.folder / f".{verbs.session_file_name(client, row)}"
    with progress_of(row["session"], row["bytes"]) as step:
        verbs.pull_session(client, row["session"], to, step)
    data = to.read_bytes()
    name = archive.add(data, who)
    if out is None:
        to.unlink()
    return {"name": name, "file": str(out or archive.path(name)), **row, "damage": read_session(data).damage}


@contextmanager
def progress_of(session: int, size: int):  # type: ignore[no-untyped-def]
    """A progress bar on standard error; the context gives `step(have, size)`."""
    from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("session {task.fields[session]}"), BarColumn(), DownloadColumn(), TimeRemainingColumn())
    with Progress(*columns, console=progress_console, transient=True) as bar:
        task = bar.add_task("pull", total=size, session=session)
        yield lambda have, _size: bar.update(task, completed=have)


def show_list(rows: list[dict[str, Any]], as_json: bool) -> None:
    """Sessions that an inflator holds, newest first."""
    from rich.table import Table

    from rimward.sessions.facts import when_text

    if as_json:
        emit_json(rows)
        return
    if not rows:
        console.print("The inflator holds no session.")
        return
    table = Table("session", "when", "bytes", "wheel", "ended by")
    for row in rows:
        table.add_row(str(row["session"]), when_text(row["unix_s"]), str(row["bytes"]), row["wheel_id"], row["cause"] if row["ended"] else "not closed")
    console.print(table)
