"""`rimward wheel`: the register of wheels."""

from typing import Any

import click

from rimward.base.errors import Refusal
from rimward.base.output import console, emit_json
from rimward.cli.commands.wheel_exchange import backup, export, import_
from rimward.cli.commands.wheel_loss import loss
from rimward.cli.commands.wheel_options import (
    ABOUT_WHEEL,
    CREATE,
    DATABASE,
    JSON,
    RIM_AND_TYRE,
    WHO,
    options,
    register,
    stated,
)
from rimward.cli.commands.wheel_text import (
    READ_FROM,
    as_json,
    markings,
    print_list,
    print_wheel,
    short,
    when,
)

ABOUT = (
    click.option("--owner", metavar="NAME", help="Whose wheel it is."),
    *ABOUT_WHEEL,
    click.option("--tags", metavar="A,B", help="Words to find it by, with commas between."),
)


@click.group()
def command() -> None:
    """Register of wheels: markings of rim and tyre, with author and source. Nothing is overwritten.

    WHEEL is a label, a few letters that match one wheel only, or the beginning of an id.
    """


@command.command()
@click.argument("label")
@options(RIM_AND_TYRE, ABOUT, READ_FROM, WHO, DATABASE, CREATE, JSON)
def add(
    label: str,
    database: str | None,
    as_json: bool,
    who: str,
    note: str,
    rim_read_from: str,
    tyre_read_from: str,
    **values: Any,
) -> None:
    """Add a wheel, e.g. rimward wheel add 'Aspen race' --position front --rim 622x23TSS --rim-max '5 bar' --tyre 28-622."""
    given = stated(label=label, **values)
    missing = [name for name in ("rim", "tyre") if name not in given]
    if missing:
        raise click.UsageError(f"A wheel needs {' and '.join('--' + m for m in missing)}.")
    with register(database) as opened:
        wheel = opened.add(given, who, markings(given, rim_read_from, tyre_read_from), note)
    show_one(wheel, as_json)


def show_one(wheel: Any, machine: bool) -> None:
    """Print one wheel, or emit it as JSON."""
    if machine:
        from rimward.sessions.report.losses import wheel_loss

        emit_json({**as_json(wheel), **wheel_loss(wheel).to_json()})
    else:
        print_wheel(wheel)


@command.command()
@click.argument("wheel")
@click.option("--history", is_flag=True, help="Every change ever made, oldest first.")
@options(DATABASE, JSON)
def show(wheel: str, history: bool, database: str | None, as_json: bool) -> None:
    """Show one wheel with the source of each value."""
    with register(database) as opened:
        found = opened.get(wheel, include_retired=True)
        changes = opened.history(found.wheel_id) if history else []
    if not history:
        show_one(found, as_json)
        return
    rows = [
        {
            "seq": c.seq,
            "field": c.field,
            "value": c.value,
            "at": when(c.at_ms),
            "who": c.who,
            "marking": c.marking,
            "note": c.note,
        }
        for c in changes
    ]
    if as_json:
        emit_json({"wheel_id": found.wheel_id, "changes": rows})
        return
    for r in rows:
        tail = "; ".join(
            part for part in (r["marking"] and f"from {r['marking']}", r["note"]) if part
        )
        console.print(
            f"{r['seq']:>4}  {r['at']}  {r['who']}: {r['field']} = {short(r['value'])}  {tail}",
            markup=False,
        )


def show_many(wheels: Any, machine: bool) -> None:
    """Print wheels, or emit them as JSON."""
    if machine:
        emit_json({"wheels": [as_json(w) for w in wheels]})
    else:
        print_list(wheels)


@command.command("list")
@click.option("--retired", is_flag=True, help="Retired wheels too.")
@options(DATABASE, JSON)
def list_(retired: bool, database: str | None, as_json: bool) -> None:
    """List the wheels in use."""
    with register(database) as opened:
        wheels = opened.all(retired)
    if wheels or as_json:
        show_many(wheels, as_json)
    else:
        console.print(
            "No wheel is in the register yet. Enter one: rimward wheel add; many: rimward wheel import FILE.",
            markup=False,
        )


@command.command()
@click.argument("words", nargs=-1)
@click.option(
    "--size", default="", metavar="SIZE", help="Part of the tyre or rim size, as 28-622 or 622x23."
)
@click.option("--tag", default="", help="A tag it carries.")
@click.option("--retired", is_flag=True, help="Retired wheels too.")
@options(DATABASE, JSON)
def find(
    words: tuple[str, ...], size: str, tag: str, retired: bool, database: str | None, as_json: bool
) -> None:
    """Find wheels by a few letters of any field, by size or by tag. Exit code 1 for none."""
    if not (words or size or tag):
        raise click.UsageError("Give a few letters, --size or --tag.")
    with register(database) as opened:
        found = opened.find(" ".join(words), size, tag, retired)
    show_many(found, as_json)
    if not found:
        raise Refusal("No wheel fits.", "Give fewer letters, or see `rimward wheel list`.")


@command.command()
@click.argument("wheel")
@click.option("--label", help="Another name.")
@options(RIM_AND_TYRE, ABOUT, READ_FROM)
@click.option(
    "--clear",
    multiple=True,
    metavar="FIELD",
    help="Take a value away, as rim-max. May be given several times.",
)
@options(WHO, DATABASE, JSON)
def edit(
    wheel: str,
    clear: tuple[str, ...],
    database: str | None,
    as_json: bool,
    who: str,
    note: str,
    rim_read_from: str,
    tyre_read_from: str,
    **values: Any,
) -> None:
    """Change a wheel. Another rim or tyre removes the old one's printed limits unless they are given again."""
    given = {**stated(**values), **{name.replace("-", "_"): None for name in clear}}
    if not given:
        raise click.UsageError("Give at least one value to change.")
    with register(database) as opened:
        found = opened.get(wheel, include_retired=True)
        changed = opened.edit(
            found.wheel_id,
            given,
            who,
            markings(given, rim_read_from, tyre_read_from),
            note,
            found.last_seq,
        )
    gone = sorted(set(found.values) - set(changed.values) - set(given))
    if gone:
        click.echo(
            f"Taken away with the old part: {', '.join(g.replace('_', '-') for g in gone)}.",
            err=True,
        )
    show_one(changed, as_json)


@command.command()
@click.argument("wheel")
@click.option("--back", is_flag=True, help="Bring it back into use.")
@click.option("--note", default="", metavar="TEXT", help="Why.")
@options(WHO, DATABASE, JSON)
def retire(
    wheel: str, back: bool, note: str, who: str, database: str | None, as_json: bool
) -> None:
    """Retire a wheel; its history is kept."""
    with register(database) as opened:
        found = opened.get(wheel, include_retired=True)
        show_one(opened.retire(found.wheel_id, who, note, back), as_json)


@command.command()
@click.argument("wheel")
@click.option(
    "--read-from",
    default="",
    metavar="TEXT",
    help="Where the answers were read, as 'maker's list of March 2026'.",
)
@options(WHO, DATABASE, JSON)
def ask(wheel: str, read_from: str, who: str, database: str | None, as_json: bool) -> None:
    """Ask the open questions that prevent a ceiling; each answer is stored with person and date.

    Enter leaves a question open. With --json the open questions are listed and none is asked.
    """
    from rimward.wheels.register.questions import open_questions

    with register(database) as opened:
        found = opened.get(wheel)
        questions = open_questions(found.values)
        if as_json:
            emit_json(
                {
                    "wheel_id": found.wheel_id,
                    "open": [open_json(q, found.wheel_id) for q in questions],
                }
            )
            return
        for question in questions:
            answer = ask_one(question, found.wheel_id)
            if answer:
                found = opened.edit(
                    found.wheel_id,
                    {question.field: answer},
                    who,
                    {question.field: read_from} if read_from else {},
                    "asked",
                )
        left = open_questions(found.values)
    console.print(
        f"{found.label}: "
        + (
            f"{len(left)} still open: {', '.join(q.field.replace('_', '-') for q in left)}"
            if left
            else "nothing is open"
        ),
        markup=False,
    )


def open_json(question: Any, wheel_id: str) -> dict[str, Any]:
    """Return an open question as JSON."""
    return {
        "field": question.field,
        "asks": question.asks,
        "how": question.how,
        "answers": [value for value, _ in question.answers],
        "command": question.command.format(wheel_id=wheel_id) or None,
    }


def ask_one(question: Any, wheel_id: str) -> str:
    """Answer of one question on the terminal (standard error); empty if it stays open. A wrong answer is asked again."""
    click.echo(f"\n{question.asks}\n  {question.how}", err=True)
    if question.command:
        click.echo(f"  Find out with: {question.command.format(wheel_id=wheel_id)}", err=True)
        return ""
    if question.answers:
        for i, (_, words) in enumerate(question.answers, 1):
            click.echo(f"  {i}  {words}", err=True)
        chosen = click.prompt(
            "  number",
            type=click.IntRange(1, len(question.answers)),
            default=len(question.answers),
            err=True,
        )
        return str(question.answers[chosen - 1][0])
    return str(
        click.prompt(
            "  as printed",
            default="",
            show_default=False,
            err=True,
            value_proc=lambda text: checked(question.field, text),
        )
    )


def checked(field: str, text: str) -> str:
    """Return `text` if the register accepts it, or None for an empty answer."""
    from rimward.wheels.register.fields import check_values

    if not text.strip():
        return ""
    try:
        return str(check_values({field: text})[field])
    except Refusal as wrong:
        raise click.UsageError(str(wrong)) from wrong


for one in (export, import_, backup, loss):
    command.add_command(one)
