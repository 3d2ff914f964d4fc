"""`rimward wheel loss`: pressure loss of a wheel between its fills."""

from typing import Any

import click

from rimward.base.errors import Refusal
from rimward.base.output import console, emit_json
from rimward.cli.commands.wheel_options import DATABASE, JSON, WHO, options, register


@click.command()
@click.argument("wheel")
@click.option(
    "--ask", is_flag=True, help="Ask for each interval whether air was added or let out by hand."
)
@click.option(
    "--added",
    metavar="SESSION",
    help="Air was added or let out by hand before this session (its name, as this command shows).",
)
@click.option("--not-added", metavar="SESSION", help="None was.")
@options(WHO, DATABASE, JSON)
def loss(
    wheel: str,
    ask: bool,
    added: str | None,
    not_added: str | None,
    who: str,
    database: str | None,
    as_json: bool,
) -> None:
    """Show the loss of a wheel a day between fills, corrected for temperature and weather, and report a slow leak.

    From the sessions kept on this computer. An interval in which air was added or let out by hand is not counted.
    """
    from rimward.sessions.report import losses

    with register(database) as opened:
        found = opened.get(wheel, include_retired=True)
        lost = losses.wheel_loss(found)
        answers = {name: said for name, said in ((added, True), (not_added, False)) if name}
        if ask:
            answers |= _asked(lost)
        for name, said in answers.items():
            if name not in [one.found.name for one in lost.intervals]:
                raise Refusal(
                    f"No interval of {found.label} ends with session {name}.",
                    "See `rimward wheel loss WHEEL`.",
                )
            found = losses.answer(opened, found, name, said, who)
    lost = losses.wheel_loss(found)
    if as_json:
        emit_json({"wheel_id": found.wheel_id, **lost.to_json()})
        return
    for one in lost.intervals:
        console.print(f"{losses.interval_text(one)} ({one.found.name})", markup=False)
    for line in lost.lines:
        console.print(line, markup=False)
    if lost.loss is not None and lost.loss.not_asked:
        console.print(f"Say so if it was: rimward wheel loss '{found.label}' --ask", markup=False)
    if not lost.lines:
        console.print(
            f"The sessions kept here show no loss of {found.label}: it needs two with a clock, half a day or more apart.",
            markup=False,
        )


def _asked(lost: Any) -> dict[str, bool]:
    """Ask on the terminal about intervals without an answer."""
    from rimward.sessions.facts import when_text

    answers = {}
    for one in lost.intervals:
        if one.added is None:
            span = f"between {when_text(one.left.end_s)} and {when_text(one.found.start_s)}"
            answers[one.found.name] = click.confirm(
                f"Was air added or let out by hand {span}?", default=False, err=True
            )
    return answers
