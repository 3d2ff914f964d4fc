"""Import and export of the register: JSON and CSV of many wheels, entered all or none."""

import csv
import difflib
import io
import json
import secrets
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from rimward.base.errors import Refusal
from rimward.wheels.register.fields import ENTERED, FIELDS, check_values
from rimward.wheels.register.search import folded
from rimward.wheels.register.store import WHEEL_ID_BYTES, Entry, Register, Wheel, edited

FORM = "rimward-wheels-1"
READ_FROM = ("rim_read_from", "tyre_read_from")
COLUMNS = (*ENTERED, *READ_FROM, "note", "wheel_id")
KEPT_RECORDS = (
    "rim_type",
    "profile",
)  # Rimward's own records that JSON carries beside the entered values
MOST_TOLD = 5


@dataclass(frozen=True)
class Row:
    """One wheel of a file: its position, values as given, id where stated, markings, a note, own records."""

    place: str
    values: Mapping[str, Any]
    wheel_id: str | None = None
    markings: Mapping[str, str] = field(default_factory=dict)
    note: str = ""
    records: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Step:
    """Action of an import on one row: `add`, `change` or `same`, and its wheel."""

    act: str
    wheel_id: str
    row: Row


# Export


def to_json(wheels: Iterable[Wheel]) -> dict[str, Any]:
    """Return wheels as one JSON document, with author and marking of each value."""
    return {"form": FORM, "wheels": [_as_json(wheel) for wheel in wheels]}


def _as_json(wheel: Wheel) -> dict[str, Any]:
    entered = {name: wheel.values[name] for name in ENTERED if name in wheel.values}
    markings = {
        name: wheel.entries[name].marking for name in entered if wheel.entries[name].marking
    }
    return {
        "wheel_id": wheel.wheel_id,
        **entered,
        **{name: wheel.values[name] for name in KEPT_RECORDS if name in wheel.values},
        "read_from": markings,
    }


def to_csv(wheels: Iterable[Wheel]) -> str:
    """Return wheels as CSV, one a row; without wheels only the header line, to be filled in."""
    out = io.StringIO()
    table = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    table.writeheader()
    for wheel in wheels:
        row = {name: wheel.values.get(name, "") for name in ENTERED}
        row["tags"] = ",".join(wheel.values.get("tags", []))
        for part in READ_FROM:
            row[part] = next(
                (
                    e.marking
                    for n, e in wheel.entries.items()
                    if n in FIELDS and FIELDS[n].part == part[:4].rstrip("_") and e.marking
                ),
                "",
            )
        table.writerow({**row, "wheel_id": wheel.wheel_id})
    return out.getvalue()


# Import


def read_csv(text: str) -> list[Row]:
    """Read the rows of a CSV file with header line, separated by commas, semicolons or tabs. Refusal for an unknown header."""
    lines = text.lstrip("\ufeff")
    head = lines.partition("\n")[0]
    table = csv.reader(io.StringIO(lines), delimiter=max(",;\t", key=head.count))
    names = [name.strip().lower().replace(" ", "_").replace("-", "_") for name in next(table, [])]
    for name in names:
        if name not in COLUMNS:
            near = difflib.get_close_matches(name, COLUMNS, 1)
            raise Refusal(
                f"Unknown column '{name}'.",
                f"Did you mean '{near[0]}'?" if near else f"Known columns: {', '.join(COLUMNS)}.",
            )
    if len(set(names)) != len(names):
        raise Refusal("A column appears twice.", "Remove one of them.")
    rows = []
    for cells in table:
        if any(cell.strip() for cell in cells):
            rows.append(_row(f"line {table.line_num}", names, cells))
    return rows


def _row(place: str, names: Sequence[str], cells: Sequence[str]) -> Row:
    if len(cells) > len(names):
        raise Refusal(
            f"{place} has {len(cells)} cells, the header {len(names)}.",
            "Put texts with a separator in quotation marks.",
        )
    given = {name: cell.strip() for name, cell in zip(names, cells) if cell.strip()}
    source = {
        "rim": given.pop("rim_read_from", ""),
        "tyre": given.pop("tyre_read_from", ""),
        "wheel": "",
    }
    note, wheel_id = given.pop("note", ""), given.pop("wheel_id", None)
    return Row(
        place,
        given,
        wheel_id,
        {name: source[FIELDS[name].part] for name in given if source[FIELDS[name].part]},
        note,
    )


def read_json(text: str) -> list[Row]:
    """Read the rows of a JSON export. Refusal for another file."""
    try:
        document = json.loads(text)
    except ValueError as wrong:
        raise Refusal(
            f"Not JSON: {wrong}.", "Use a file written by `rimward wheel export`."
        ) from wrong
    wheels = (
        document.get("wheels")
        if isinstance(document, dict) and document.get("form") == FORM
        else None
    )
    if not isinstance(wheels, list) or not all(isinstance(wheel, dict) for wheel in wheels):
        raise Refusal(
            f"Not an export of wheels: the form {FORM} is missing.",
            "Use a file written by `rimward wheel export`.",
        )
    rows = []
    for number, wheel in enumerate(wheels, 1):
        given = dict(wheel)
        wheel_id, markings = given.pop("wheel_id", None), given.pop("read_from", {})
        records = {name: given.pop(name) for name in KEPT_RECORDS if name in given}
        rows.append(
            Row(
                f"wheel {number}",
                given,
                wheel_id,
                markings if isinstance(markings, dict) else {},
                "",
                records,
            )
        )
    return rows


def plan(register: Register, rows: Sequence[Row], update: bool = False) -> list[Step]:
    """Plan the import of the rows. Refusal that names the wrong rows; nothing is written.

    A row matches a wheel of the register by its id, else by label and position. It is changed only with `update`.
    """
    held = register.all(include_retired=True)
    by_id = {wheel.wheel_id: wheel for wheel in held}
    by_name: dict[tuple[str, str], list[Wheel]] = {}
    for wheel in held:
        by_name.setdefault(_name(wheel.values), []).append(wheel)
    steps, wrong = [], []
    seen: set[Any] = set()
    for row in rows:
        try:
            step = _step(row, by_id, by_name, update)
            if _name(step.row.values) in seen or step.wheel_id in seen:
                raise Refusal("this wheel is in the file twice.", "Remove one.")
            seen.update((_name(step.row.values), step.wheel_id))
            steps.append(step)
        except Refusal as refusal:
            wrong.append(f"{row.place}: {refusal}")
    if wrong:
        more = f" And {len(wrong) - MOST_TOLD} more." if len(wrong) > MOST_TOLD else ""
        raise Refusal(
            f"Nothing was entered. {' '.join(wrong[:MOST_TOLD])}{more}",
            "Correct this, then import the file again.",
        )
    return steps


def _name(values: Mapping[str, Any]) -> tuple[str, str]:
    return folded(str(values.get("label", ""))).strip(), str(values.get("position", "any"))


def _step(
    row: Row,
    by_id: Mapping[str, Wheel],
    by_name: Mapping[tuple[str, str], list[Wheel]],
    update: bool,
) -> Step:
    checked = {name: value for name, value in check_values(row.values).items() if value is not None}
    if row.wheel_id is not None and not _is_id(row.wheel_id):
        raise Refusal(
            f"'{row.wheel_id}' is not a wheel id.", "Remove it, or give 16 hexadecimal digits."
        )
    row = replace(row, values=checked)
    namesakes = by_name.get(_name(checked), [])
    if row.wheel_id is None and len(namesakes) > 1:
        raise Refusal(
            f"{len(namesakes)} wheels of the register have this label and position.",
            "Give the wheel_id.",
        )
    known = by_id.get(row.wheel_id) if row.wheel_id else (namesakes[0] if namesakes else None)
    if known is None:
        missing = [f.name for f in FIELDS.values() if f.required and f.name not in checked]
        if missing:
            raise Refusal(f"missing {' and '.join(missing)}.", "")
        return Step("add", row.wheel_id or secrets.token_hex(WHEEL_ID_BYTES), row)
    if not edited(known, checked, {}):
        return Step("same", known.wheel_id, row)
    if not update:
        raise Refusal(
            f"{known.label} is already in the register with other values.",
            "Remove it, or change it with --update.",
        )
    return Step("change", known.wheel_id, row)


def _is_id(text: Any) -> bool:
    return (
        isinstance(text, str)
        and len(text) == 2 * WHEEL_ID_BYTES
        and all(c in "0123456789abcdef" for c in text)
    )


def enter(
    register: Register,
    steps: Iterable[Step],
    who: str,
    note: str,
    ours: Callable[[Mapping[str, Any]], bool],
) -> None:
    """Write the steps of a plan in one transaction. `ours(profile)`: whether an issued profile may be imported with its wheel."""
    register.append_many([_entry(step, note, ours) for step in steps if step.act != "same"], who)


def _entry(step: Step, note: str, ours: Callable[[Mapping[str, Any]], bool]) -> Entry:
    row = step.row

    def make(now: Wheel | None) -> Mapping[str, Any]:
        if now is not None:
            return edited(now, row.values, row.markings)
        records = {
            name: value
            for name, value in row.records.items()
            if isinstance(value, dict) and (name != "profile" or ours(value))
        }
        return {**row.values, **records}

    return Entry(
        step.wheel_id,
        make,
        {name: str(text) for name, text in row.markings.items()},
        row.note or note,
    )
