"""Column table of proof CSV files (W3C CSV on the Web metadata), read from the data file beside this module."""

import json
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

DATA_NAME = "samples.csv-metadata.json"


@dataclass(frozen=True)
class Column:
    """One column: `base` is string, decimal or integer; `words` the allowed values of a closed list, empty when open."""

    name: str
    base: str
    required: bool
    words: tuple[str, ...]
    minimum: float | None
    maximum: float | None
    unit: str
    meaning: str


@cache
def document() -> dict[str, Any]:
    """Metadata document as published."""
    found: dict[str, Any] = json.loads(
        resources.files("rimward.proof").joinpath(DATA_NAME).read_text(encoding="utf-8")
    )
    return found


@cache
def columns() -> dict[str, Column]:
    """All known columns by name, in published order."""
    return {entry["name"]: _column(entry) for entry in document()["tableSchema"]["columns"]}


def required_names() -> tuple[str, ...]:
    """Names of the required columns."""
    return tuple(name for name, column in columns().items() if column.required)


def text() -> str:
    """Return the schema as text."""
    doc = document()
    lines = [doc["dc:title"], "", doc["dc:description"], ""]
    for column in columns().values():
        kind = " | ".join(column.words) if column.words else column.base
        facts = ", ".join(filter(None, (kind, column.unit, "required" if column.required else "")))
        lines += [f"{column.name}  ({facts})", f"    {column.meaning}"]
    return "\n".join([*lines, "", "Example:", *(f"    {line}" for line in doc["notes"])])


def _column(entry: dict[str, Any]) -> Column:
    datatype = (
        entry["datatype"] if isinstance(entry["datatype"], dict) else {"base": entry["datatype"]}
    )
    return Column(
        name=entry["name"],
        base=datatype["base"],
        required=entry.get("required", False),
        words=tuple(datatype["format"].split("|")) if "format" in datatype else (),
        minimum=datatype.get("minimum"),
        maximum=datatype.get("maximum"),
        unit=entry.get("unit", ""),
        meaning=entry["dc:description"],
    )
