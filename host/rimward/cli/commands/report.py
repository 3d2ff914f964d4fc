"""`rimward report`: a fill, or the history of a wheel, as HTML or PDF."""

from pathlib import Path
from typing import Any

import click
from rich.markup import escape
from rich.table import Table

from rimward.base.errors import Refusal
from rimward.base.output import console, emit_json
from rimward.cli.commands.wheel_options import DATABASE, JSON, OVERWRITE, new_file, options


@click.command()
@click.argument("session", required=False)
@click.option(
    "--wheel",
    metavar="WHEEL",
    help="The history of this wheel of the register, instead of one session.",
)
@click.option(
    "-o",
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="report.html or report.pdf; without it the figures are shown.",
)
@click.option(
    "--customer",
    default="",
    metavar="NAME",
    help="Whose wheel it is (default: its owner in the register).",
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    help="Paper of a PDF (default: the setting `paper`, else a4).",
)
@options(OVERWRITE, DATABASE, JSON)
def command(
    session: str | None,
    wheel: str | None,
    out: Path | None,
    customer: str,
    paper: str | None,
    overwrite: bool,
    database: str | None,
    as_json: bool,
) -> None:
    """Report one fill (a session file, or the name of a stored session), or the history of a wheel.

    Exit code 0: written; `verified` tells whether the record holds. 1: refused. 2: wrong usage.

    Example: rimward report session.rws -o report.pdf
    """
    if bool(session) == bool(wheel):
        raise click.UsageError("Give a SESSION or --wheel WHEEL.")
    from rimward.sessions.report.build import FORMS

    if out is not None and out.suffix not in FORMS:
        raise click.UsageError(f"{out.name} must end in {' or '.join(FORMS)}.")
    if out is not None:
        new_file(out, overwrite)
    if session:
        _session(session, out, (customer, paper, database), as_json)
    else:
        _history(wheel or "", out, paper, database, as_json)


def _session(
    session: str, out: Path | None, about: tuple[str, str | None, str | None], as_json: bool
) -> None:
    from rimward.sessions.facts import CAUTIONS, sections
    from rimward.sessions.report.build import session_report

    customer, paper, database = about
    report = session_report(session, customer, database)
    if out is not None:
        from rimward.sessions.report.html import session_html
        from rimward.sessions.report.pdf import session_pdf

        _write(
            out,
            session_pdf(report, paper) if out.suffix == ".pdf" else session_html(report).encode(),
        )
    if as_json:
        shown = {
            key: text for _heading, rows in sections(report.facts) for key, _name, text in rows
        }
        emit_json(
            {
                "file": str(out) if out else None,
                **report.facts.to_json(),
                "workshop": report.workshop,
                "customer": report.customer,
                "shown": shown,
                "cautions": list(CAUTIONS),
            }
        )
        return
    for name, text in report.parties:
        console.print(f"  {name:34} {text}", markup=False)
    for heading, rows in sections(report.facts):
        console.print(f"{heading}", style="bold", markup=False)
        for _key, name, text in rows:
            console.print(f"  {name:34} {text}", markup=False)
    for line in CAUTIONS:
        console.print(f"caution: {line}", markup=False)
    if out is not None:
        console.print(f"written to {out}", markup=False)


def _history(
    wheel: str, out: Path | None, paper: str | None, database: str | None, as_json: bool
) -> None:
    from rimward.sessions.report.build import FILL_HEADS, fill_row, history_of

    history = history_of(wheel, database)
    if out is not None:
        from rimward.sessions.report.html import history_html
        from rimward.sessions.report.pdf import history_pdf

        _write(
            out,
            history_pdf(history, paper) if out.suffix == ".pdf" else history_html(history).encode(),
        )
    if as_json:
        found: dict[str, Any] = {
            "file": str(out) if out else None,
            "wheel_id": history.wheel_id,
            "label": history.label,
        }
        emit_json(
            {
                **found,
                "fills": [f.to_json() for f in history.fills],
                "profiles": list(history.profiles),
                "loss": list(history.loss),
                "intervals": list(history.intervals),
            }
        )
        return

    table = Table(*FILL_HEADS, title=escape(history.title), title_justify="left")
    for f in history.fills:
        table.add_row(*(escape(cell) for cell in fill_row(f)))
    console.print(table)
    for line in history.loss + history.intervals:
        console.print(line, markup=False)
    if out is not None:
        console.print(f"written to {out}", markup=False)


def _write(out: Path, data: bytes) -> None:
    try:
        out.write_bytes(data)
    except OSError as failed:
        raise Refusal(
            f"{out} cannot be written: {failed.strerror}.", "Give another place."
        ) from failed
