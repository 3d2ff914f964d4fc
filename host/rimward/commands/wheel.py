"""`rimward wheel`: the register of wheels."""

import time
from typing import Any

import click

from rimward.commands.wheel_exchange import backup, export, import_
from rimward.commands.wheel_loss import loss
from rimward.commands.wheel_options import ABOUT_WHEEL, CREATE, DATABASE, JSON, RIM_AND_TYRE, WHO, options, register, stated
from rimward.errors import Refusal
from rimward.output import console, emit_json

ABOUT = (
    click.option("--owner", metavar="NAME", help="Whose wheel it is."),
    *ABOUT_WHEEL,
    click.option("--tags", metavar="A,B", help="Words to find it by, with commas between."),
)
READ_FROM = (
    click.option("--rim-read-from", default="", metavar="TEXT", help="Which marking the rim's values were read from."),
    click.option("--tyre-read-from", default="", metavar="TEXT", help="Which marking the tyre's values were read from."),
    click.option("--note", default="", metavar="TEXT", help="Why this is entered."),
)


def when(at_ms: int) -> str:
    return time.strftime("%Y-%m-%d %H:%M", time.gmtime(at_ms / 1000))


def as_json(wheel: Any) -> dict[str, Any]:
    """A wheel as plain JSON: every field (null where nothing is known), and who entered what from which marking."""
    from rimward.register.fields import ENTERED

    profile = wheel.values.get("profile")
    return {
        "wheel_id": wheel.wheel_id,
        **{name: wheel.values.get(name, [] if name == "tags" else None) for name in ENTERED},
        "retired": wheel.retired,
        "rim_type": wheel.values.get("rim_type"),
        "profile": profile and {name: profile[name] for name in ("revision", "target_pa", "ceiling_pa", "sha256")},
        "entries": {name: {"who": c.who, "at": when(c.at_ms), "marking": c.marking} for name, c in wheel.entries.items()},
    }


def markings(values: dict[str, Any], rim_read_from: str, tyre_read_from: str) -> dict[str, str]:
    """By field: the marking that its part was read from."""
    from rimward.register.fields import FIELDS

    source = {"rim": rim_read_from, "tyre": tyre_read_from, "wheel": ""}
    return {name: source[FIELDS[name].part] for name in values if name in FIELDS and source[FIELDS[name].part]}


def print_wheel(wheel: Any) -> None:
    """What is known of a wheel, each line with its origin."""
    from rich.markup import escape
    from rich.table import Table

    from rimward.register.fields import ENTERED, FIELDS

    table = Table(title=escape(wheel.label) + (" (RETIRED)" if wheel.retired else ""), title_justify="left")
    for head in ("", "value", "read from", "entered"):
        table.add_column(head)
    for name, field in FIELDS.items():
        if name in wheel.values and name in ENTERED:
            entry, value = wheel.entries[name], wheel.values[name]
            shown = ", ".join(value) if isinstance(value, list) else str(value)
            table.add_row(field.name.replace("_", "-"), escape(shown), escape(entry.marking), escape(f"{when(entry.at_ms)} {entry.who}"))
    console.print(table)
    console.print(f"id {wheel.wheel_id}")
    for line in rim_type_lines(wheel) + open_lines(wheel) + profile_lines(wheel) + fill_lines(wheel):
        console.print(escape(line))


FILLS_SHOWN = 5


def fill_lines(wheel: Any) -> list[str]:
    """The last fills kept on this computer, newest first, and the loss between them."""
    from rimward.report.archive import Archive, Query
    from rimward.report.losses import wheel_loss
    from rimward.sessions.facts import reading_text, when_text

    archive = Archive()
    rows = archive.find(Query(wheel_id=wheel.wheel_id), FILLS_SHOWN + 1)
    if not rows:
        return []
    told = [f"{when_text(r['unix_s'])}: settled {reading_text(r['tyre_pa'], r['ceiling_pa'])}, ended by {r['cause']}, {r['name']}" for r in rows]
    more = ["... all of them: rimward report --wheel WHEEL"] if len(rows) > FILLS_SHOWN else []
    return wheel_loss(wheel, archive).lines + told[:FILLS_SHOWN] + more


def rim_type_lines(wheel: Any) -> list[str]:
    walk = wheel.values.get("rim_type")
    return [f"rim type {walk['rim_class']} ({walk['certainty']}): {walk['why'][0]}"] if walk else []


def open_lines(wheel: Any) -> list[str]:
    """What is not known of the wheel, and the command that asks it."""
    from rimward.register.questions import open_questions

    left = [question.field.replace("_", "-") for question in open_questions(wheel.values)]
    return [f"not known: {', '.join(left)}; rimward wheel ask {wheel.wheel_id[:6]} asks"] if left else []


def profile_lines(wheel: Any) -> list[str]:
    from rimward.tag.reading import changed_since
    from rimward.units import show_limit

    held = wheel.values.get("profile")
    if not held:
        return ["no profile made yet"]
    stale = ": OUT OF DATE, the wheel was changed after it; make a new one" if changed_since(wheel) else ""
    return [f"profile revision {held['revision']}, ceiling {show_limit(held['ceiling_pa'])}, target {show_limit(held['target_pa'])}{stale}"]


def print_list(wheels: Any) -> None:
    from rich.markup import escape
    from rich.table import Table

    table = Table()
    for head in ("id", "label", "", "rim", "tyre", "tags", "owner", "profile"):
        table.add_column(head, no_wrap=head in ("id", "rim", "tyre"))
    for w in wheels:
        v = w.values
        held = f"rev {v['profile']['revision']}" if "profile" in v else "none"
        row = (w.wheel_id[:6], v["label"], v.get("position", ""), v["rim"], v["tyre"], " ".join(v.get("tags", [])), v.get("owner", ""), held)
        table.add_row(*(escape(cell) for cell in row), style="dim" if w.retired else None)
    console.print(table)
    console.print(f"{len(wheels)} wheel{'' if len(wheels) == 1 else 's'}")


@click.group()
def command() -> None:
    """The register of wheels: what stands on rim and tyre, who read it, and from where. Nothing is overwritten.

    WHEEL is a label, a few letters that fit one wheel only, or the beginning of an id.
    """


@command.command()
@click.argument("label")
@options(RIM_AND_TYRE, ABOUT, READ_FROM, WHO, DATABASE, CREATE, JSON)
def add(label: str, database: str | None, as_json: bool, who: str, note: str, rim_read_from: str, tyre_read_from: str, **values: Any) -> None:
    """Enter a wheel, e.g. rimward wheel add 'Aspen race' --position front --rim 622x23TSS --rim-max '5 bar' --tyre 28-622."""
    given = stated(label=label, **values)
    missing = [name for name in ("rim", "tyre") if name not in given]
    if missing:
        raise click.UsageError(f"A wheel needs {' and '.join('--' + m for m in missing)}.")
    with register(database) as held:
        wheel = held.add(given, who, markings(given, rim_read_from, tyre_read_from), note)
    show_one(wheel, as_json)


def show_one(wheel: Any, machine: bool) -> None:
    if machine:
        from rimward.report.losses import wheel_loss

        emit_json({**as_json(wheel), **wheel_loss(wheel).to_json()})
    else:
        print_wheel(wheel)


@command.command()
@click.argument("wheel")
@click.option("--history", is_flag=True, help="Every change ever made, oldest first.")
@options(DATABASE, JSON)
def show(wheel: str, history: bool, database: str | None, as_json: bool) -> None:
    """Show one wheel and where each value came from."""
    with register(database) as held:
        found = held.get(wheel, include_retired=True)
        changes = held.history(found.wheel_id) if history else []
    if not history:
        show_one(found, as_json)
        return
    rows = [
        {"seq": c.seq, "field": c.field, "value": c.value, "at": when(c.at_ms), "who": c.who, "marking": c.marking, "note": c.note} for c in changes
    ]
    if as_json:
        emit_json({"wheel_id": found.wheel_id, "changes": rows})
        return
    for r in rows:
        tail = "; ".join(part for part in (r["marking"] and f"from {r['marking']}", r["note"]) if part)
        console.print(f"{r['seq']:>4}  {r['at']}  {r['who']}: {r['field']} = {short(r['value'])}  {tail}", markup=False)


def short(value: Any) -> str:
    """A value in one line; long records as their main words."""
    if value is None:
        return "(taken away)"
    if isinstance(value, dict):
        return ", ".join(f"{k} {value[k]}" for k in ("revision", "rim_class", "certainty", "target_pa", "ceiling_pa") if k in value)
    return ", ".join(value) if isinstance(value, list) else str(value)


def show_many(wheels: Any, machine: bool) -> None:
    if machine:
        emit_json({"wheels": [as_json(w) for w in wheels]})
    else:
        print_list(wheels)


@command.command("list")
@click.option("--retired", is_flag=True, help="Retired wheels too.")
@options(DATABASE, JSON)
def list_(retired: bool, database: str | None, as_json: bool) -> None:
    """List the wheels in use."""
    with register(database) as held:
        show_many(held.all(retired), as_json)


@command.command()
@click.argument("words", nargs=-1)
@click.option("--size", default="", metavar="SIZE", help="Part of the tyre or rim size, as 28-622 or 622x23.")
@click.option("--tag", default="", help="A tag it carries.")
@click.option("--retired", is_flag=True, help="Retired wheels too.")
@options(DATABASE, JSON)
def find(words: tuple[str, ...], size: str, tag: str, retired: bool, database: str | None, as_json: bool) -> None:
    """Find wheels by a few letters of anything, by size or by tag. Exit code 1 when none fits."""
    if not (words or size or tag):
        raise click.UsageError("Give a few letters, --size or --tag.")
    with register(database) as held:
        found = held.find(" ".join(words), size, tag, retired)
    show_many(found, as_json)
    if not found:
        raise Refusal("No wheel fits.", "Give fewer letters, or see `rimward wheel list`.")


@command.command()
@click.argument("wheel")
@click.option("--label", help="Another name.")
@options(RIM_AND_TYRE, ABOUT, READ_FROM)
@click.option("--clear", multiple=True, metavar="FIELD", help="Take a value away, as rim-max. May be given several times.")
@options(WHO, DATABASE, JSON)
def edit(
    wheel: str, clear: tuple[str, ...], database: str | None, as_json: bool, who: str, note: str, rim_read_from: str, tyre_read_from: str, **values: Any
) -> None:
    """Change a wheel. Another rim or tyre takes the old one's printed limits away unless they are given anew."""
    given = {**stated(**values), **{name.replace("-", "_"): None for name in clear}}
    if not given:
        raise click.UsageError("Give at least one value to change.")
    with register(database) as held:
        found = held.get(wheel, include_retired=True)
        changed = held.edit(found.wheel_id, given, who, markings(given, rim_read_from, tyre_read_from), note, found.last_seq)
    gone = sorted(set(found.values) - set(changed.values) - set(given))
    if gone:
        click.echo(f"Taken away with the old part: {', '.join(g.replace('_', '-') for g in gone)}.", err=True)
    show_one(changed, as_json)


@command.command()
@click.argument("wheel")
@click.option("--back", is_flag=True, help="Bring it back into use.")
@click.option("--note", default="", metavar="TEXT", help="Why.")
@options(WHO, DATABASE, JSON)
def retire(wheel: str, back: bool, note: str, who: str, database: str | None, as_json: bool) -> None:
    """Take a wheel out of use; its history stays."""
    with register(database) as held:
        found = held.get(wheel, include_retired=True)
        show_one(held.retire(found.wheel_id, who, note, back), as_json)


@command.command()
@click.argument("wheel")
@click.option("--read-from", default="", metavar="TEXT", help="Where the answers were read, as 'maker's list of March 2026'.")
@options(WHO, DATABASE, JSON)
def ask(wheel: str, read_from: str, who: str, database: str | None, as_json: bool) -> None:
    """Ask what is not known of a wheel and refuses it a ceiling; each answer is kept with the person and the date.

    Enter leaves a question open. With --json the open questions are listed and none is asked.
    """
    from rimward.register.questions import open_questions

    with register(database) as held:
        found = held.get(wheel)
        questions = open_questions(found.values)
        if as_json:
            emit_json({"wheel_id": found.wheel_id, "open": [open_json(q, found.wheel_id) for q in questions]})
            return
        for question in questions:
            answer = ask_one(question, found.wheel_id)
            if answer:
                found = held.edit(found.wheel_id, {question.field: answer}, who, {question.field: read_from} if read_from else {}, "asked")
        left = open_questions(found.values)
    console.print(f"{found.label}: " + (f"{len(left)} still open: {', '.join(q.field.replace('_', '-') for q in left)}" if left else "nothing is open"), markup=False)


def open_json(question: Any, wheel_id: str) -> dict[str, Any]:
    """An open question as JSON."""
    return {
        "field": question.field,
        "asks": question.asks,
        "how": question.how,
        "answers": [value for value, _ in question.answers],
        "command": question.command.format(wheel_id=wheel_id) or None,
    }


def ask_one(question: Any, wheel_id: str) -> str:
    """The answer of one question on the terminal (standard error); empty where it stays open. A wrong answer is asked again."""
    click.echo(f"\n{question.asks}\n  {question.how}", err=True)
    if question.command:
        click.echo(f"  Find out with: {question.command.format(wheel_id=wheel_id)}", err=True)
        return ""
    if question.answers:
        for i, (_, words) in enumerate(question.answers, 1):
            click.echo(f"  {i}  {words}", err=True)
        chosen = click.prompt("  number", type=click.IntRange(1, len(question.answers)), default=len(question.answers), err=True)
        return question.answers[chosen - 1][0]
    return click.prompt("  as printed", default="", show_default=False, err=True, value_proc=lambda text: checked(question.field, text))


def checked(field: str, text: str) -> str:
    """`text` where the register would take it, or nothing for an empty answer."""
    from rimward.register.fields import check_values

    if not text.strip():
        return ""
    try:
        return str(check_values({field: text})[field])
    except Refusal as wrong:
        raise click.UsageError(str(wrong)) from wrong


for one in (export, import_, backup, loss):
    command.add_command(one)
