"""`rimward rim-type`: identifies a straight-side or crochet rim."""

from dataclasses import asdict
from typing import Any

import click

from rimward.base.output import console, emit_json
from rimward.cli.commands.wheel_options import DATABASE, JSON, WHO, options, register
from rimward.limits.rimtype import (
    CANNOT_BE_SEEN,
    QUESTIONS,
    Answers,
    Question,
    Verdict,
    identify_rim_type,
)


def choices(name: str) -> click.Choice:  # type: ignore[type-arg]
    """Answers that the table allows."""
    return click.Choice([answer for q in QUESTIONS if q.name == name for answer, _ in q.answers])


def parse_gaps(text: str) -> tuple[tuple[float, float], ...]:
    """Parse `21.0/22.4, 21.1/22.4` into pairs of (at the lips, below them) in mm."""
    try:
        pairs = [part.split("/") for part in text.replace(";", ",").split(",") if part.strip()]
        return tuple((float(lips), float(below)) for lips, below in pairs)
    except ValueError as wrong:
        raise click.UsageError(
            "Write gaps as LIPS/BELOW in mm with a point, commas between places: 21.0/22.4, 21.1/22.4, 21.0/22.3."
        ) from wrong


def ask(question: Question) -> str:
    """Ask one question on the terminal (standard error, so that --json stays clean)."""
    click.echo(f"\n{question.asks}\n  {question.how}", err=True)
    if not question.answers:
        return click.prompt("  answer", default="", show_default=False, err=True)
    for i, (_, words) in enumerate(question.answers, 1):
        click.echo(f"  {i}  {words}", err=True)
    chosen = click.prompt(
        "  number",
        type=click.IntRange(1, len(question.answers)),
        default=len(question.answers),
        err=True,
    )
    return question.answers[chosen - 1][0]


def walk() -> Answers:
    """Ask all questions in order; the place of a marking only where there is one."""
    given: dict[str, Any] = {}
    for question in QUESTIONS:
        if question.name == "marking_at" and not given["marking"]:
            continue
        answer = ask(question)
        given[question.name] = parse_gaps(answer) if question.name == "gaps_mm" else answer
    return Answers(**given)


def as_json(verdict: Verdict, answers: Answers, wheel_id: str | None) -> dict[str, Any]:
    """Return the documented answer, which is also stored in the register."""
    return {
        "rim_class": verdict.rim_class,
        "shape": verdict.shape,
        "tubeless": verdict.tubeless,
        "certainty": verdict.certainty,
        "rim": verdict.size,
        "signs": [asdict(sign) for sign in verdict.signs],
        "why": list(verdict.why),
        "answers": {**asdict(answers), "gaps_mm": [list(pair) for pair in answers.gaps_mm]},
        "cannot_be_seen": list(CANNOT_BE_SEEN),
        "wheel_id": wheel_id,
    }


def print_verdict(found: dict[str, Any]) -> None:
    """Print the result with its reasons."""
    sure = {"marked": "marked or documented", "measured": "measured", "unknown": "not certain"}[
        found["certainty"]
    ]
    console.print(
        f"Rim type: {found['rim_class']} ({sure})" + (f", {found['rim']}" if found["rim"] else ""),
        style="bold",
        markup=False,
    )
    for line in found["why"]:
        console.print(f"  {line}", markup=False)
    console.print("What no eye can tell:")
    for line in found["cannot_be_seen"]:
        console.print(f"  {line}", markup=False)


def record(wheel: str, answers: Answers, database: str | None, who: str) -> dict[str, Any]:
    """Combine the answers with the register's entries, and append the result there."""

    with register(database) as opened:
        found = opened.get(wheel)
        verdict = identify_rim_type(
            answers, found.values["rim"], found.values.get("rim_type", {}).get("signs", ())
        )
        entry = as_json(verdict, answers, found.wheel_id)
        kept = {
            name: value
            for name, value in entry.items()
            if name not in ("cannot_be_seen", "wheel_id")
        }
        opened.record(
            found.wheel_id,
            lambda now: (
                {"rim_type": kept}
                | ({"rim": verdict.size} if verdict.size not in (None, now.values["rim"]) else {})
            ),
            who,
        )
    return entry


@click.command()
@click.option("--marking", help="Size string on the rim, as 622x23TSS.")
@click.option("--marking-at", type=choices("marking_at"), help="Where it was read.")
@click.option(
    "--words", type=choices("words"), help="What words on the rim or in its document say."
)
@click.option("--edge", type=choices("edge"), help="What a fingernail finds at the inner edge.")
@click.option(
    "--gaps",
    metavar="LIPS/BELOW,...",
    help="Caliper gaps in mm at three places: 21.0/22.4,21.1/22.4,21.0/22.3.",
)
@click.option(
    "--tubeless",
    type=choices("tubeless"),
    help="Do marking or document say that it takes tyres without a tube?",
)
@click.option("--wheel", metavar="WHEEL", help="Record the answer in the register, on this wheel.")
@options(WHO, DATABASE, JSON)
def command(
    wheel: str | None,
    gaps: str | None,
    who: str,
    database: str | None,
    as_json: bool,
    **given: str | None,
) -> None:
    """Identify a straight-side or crochet rim, and record how certain the result is.

    Without options it asks. An uncertain rim stays unknown, and an unknown rim is treated as straight-side.
    """
    options_given = {name: value for name, value in given.items() if value is not None}
    if gaps is not None:
        options_given["gaps_mm"] = parse_gaps(gaps)  # type: ignore[assignment]
    answers = Answers(**options_given) if options_given else walk()  # type: ignore[arg-type]
    found = record(wheel, answers, database, who) if wheel else plain(answers)
    if as_json:
        emit_json(found)
    else:
        print_verdict(found)


def plain(answers: Answers) -> dict[str, Any]:
    """Return the answer without a register."""
    return as_json(identify_rim_type(answers), answers, None)
