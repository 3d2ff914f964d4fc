"""Lines and tables of the wheel commands."""

import time
from typing import Any

import click
from rich.markup import escape
from rich.table import Table

from rimward.base.output import console
from rimward.base.units import show_limit

READ_FROM = (
    click.option(
        "--rim-read-from",
        default="",
        metavar="TEXT",
        help="Which marking the rim's values were read from.",
    ),
    click.option(
        "--tyre-read-from",
        default="",
        metavar="TEXT",
        help="Which marking the tyre's values were read from.",
    ),
    click.option("--note", default="", metavar="TEXT", help="Why this is entered."),
)


def when(at_ms: int) -> str:
    """Format a time of the register in UTC."""
    return time.strftime("%Y-%m-%d %H:%M", time.gmtime(at_ms / 1000))


def as_json(wheel: Any) -> dict[str, Any]:
    """Return a wheel as plain JSON: every field (null if unknown), with author and marking of each value."""
    from rimward.wheels.register.fields import ENTERED

    profile = wheel.values.get("profile")
    return {
        "wheel_id": wheel.wheel_id,
        **{name: wheel.values.get(name, [] if name == "tags" else None) for name in ENTERED},
        "retired": wheel.retired,
        "rim_type": wheel.values.get("rim_type"),
        "profile": profile
        and {name: profile[name] for name in ("revision", "target_pa", "ceiling_pa", "sha256")},
        "entries": {
            name: {"who": c.who, "at": when(c.at_ms), "marking": c.marking}
            for name, c in wheel.entries.items()
        },
    }


def markings(values: dict[str, Any], rim_read_from: str, tyre_read_from: str) -> dict[str, str]:
    """Return the marking of each field's part."""
    from rimward.wheels.register.fields import FIELDS

    source = {"rim": rim_read_from, "tyre": tyre_read_from, "wheel": ""}
    return {
        name: source[FIELDS[name].part]
        for name in values
        if name in FIELDS and source[FIELDS[name].part]
    }


def print_wheel(wheel: Any) -> None:
    """Print a wheel, each line with its origin."""

    from rimward.wheels.register.fields import ENTERED, FIELDS

    table = Table(
        title=escape(wheel.label) + (" (RETIRED)" if wheel.retired else ""), title_justify="left"
    )
    for head in ("", "value", "read from", "entered"):
        table.add_column(head)
    for name, field in FIELDS.items():
        if name in wheel.values and name in ENTERED:
            entry, value = wheel.entries[name], wheel.values[name]
            shown = ", ".join(value) if isinstance(value, list) else str(value)
            table.add_row(
                field.name.replace("_", "-"),
                escape(shown),
                escape(entry.marking),
                escape(f"{when(entry.at_ms)} {entry.who}"),
            )
    console.print(table)
    console.print(f"id {wheel.wheel_id}")
    for line in (
        rim_type_lines(wheel) + open_lines(wheel) + profile_lines(wheel) + fill_lines(wheel)
    ):
        console.print(escape(line))


FILLS_SHOWN = 5


def fill_lines(wheel: Any) -> list[str]:
    """Last stored fills, newest first, and the loss between them."""
    from rimward.sessions.facts import reading_text, when_text
    from rimward.sessions.report.archive import Archive, Query
    from rimward.sessions.report.losses import wheel_loss

    archive = Archive()
    rows = archive.find(Query(wheel_id=wheel.wheel_id), FILLS_SHOWN + 1)
    if not rows:
        return []
    fills = [
        f"{when_text(r['unix_s'])}: settled {reading_text(r['tyre_pa'], r['ceiling_pa'])}, ended by {r['cause']}, {r['name']}"
        for r in rows
    ]
    more = ["... all of them: rimward report --wheel WHEEL"] if len(rows) > FILLS_SHOWN else []
    return wheel_loss(wheel, archive).lines + fills[:FILLS_SHOWN] + more


def rim_type_lines(wheel: Any) -> list[str]:
    """Format the result of the rim type check."""
    walk = wheel.values.get("rim_type")
    return [f"rim type {walk['rim_class']} ({walk['certainty']}): {walk['why'][0]}"] if walk else []


def open_lines(wheel: Any) -> list[str]:
    """Open questions of the wheel, and the command that asks them."""
    from rimward.wheels.register.questions import open_questions

    left = [question.field.replace("_", "-") for question in open_questions(wheel.values)]
    return (
        [f"not known: {', '.join(left)}; rimward wheel ask {wheel.wheel_id[:6]} asks"]
        if left
        else []
    )


def profile_lines(wheel: Any) -> list[str]:
    """Format the newest profile."""
    from rimward.wheels.tag.reading import changed_since

    held = wheel.values.get("profile")
    if not held:
        return ["no profile made yet"]
    stale = (
        ": OUT OF DATE, the wheel was changed after it; make a new one"
        if changed_since(wheel)
        else ""
    )
    return [
        f"profile revision {held['revision']}, ceiling {show_limit(held['ceiling_pa'])}, target {show_limit(held['target_pa'])}{stale}"
    ]


def print_list(wheels: Any) -> None:
    """Print wheels as a table."""
    table = Table()
    for head in ("id", "label", "", "rim", "tyre", "tags", "owner", "profile"):
        table.add_column(head, no_wrap=head in ("id", "rim", "tyre"))
    for w in wheels:
        v = w.values
        held = f"rev {v['profile']['revision']}" if "profile" in v else "none"
        row = (
            w.wheel_id[:6],
            v["label"],
            v.get("position", ""),
            v["rim"],
            v["tyre"],
            " ".join(v.get("tags", [])),
            v.get("owner", ""),
            held,
        )
        table.add_row(*(escape(cell) for cell in row), style="dim" if w.retired else None)
    console.print(table)
    console.print(f"{len(wheels)} wheel{'' if len(wheels) == 1 else 's'}")


def short(value: Any) -> str:
    """Format a value in one line; long records by their main words."""
    if value is None:
        return "(taken away)"
    if isinstance(value, dict):
        return ", ".join(
            f"{k} {value[k]}"
            for k in ("revision", "rim_class", "certainty", "target_pa", "ceiling_pa")
            if k in value
        )
    return ", ".join(value) if isinstance(value, list) else str(value)
