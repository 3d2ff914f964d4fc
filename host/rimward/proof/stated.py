"""Columns of a test's row that a person states, as batch or medium: kept in the record itself, so that they are chained with it."""

from collections.abc import Iterable, Mapping
from typing import Any

from rimward_protocol import layout, session

from rimward.base.errors import Refusal
from rimward.formats import records
from rimward.proof import load, schema

# What the record says by itself; a person cannot state it.
MEASURED = frozenset(
    (
        "sample",
        "release_bar",
        "limit_bar",
        "released",
        "hold_s",
        "hold_bar",
        "gauge_u_bar",
        "stop_reason",
        "instrument",
        "calibrated",
    )
)
SPECIMEN = (
    ("medium", "medium"),
    ("rim_inner_mm", "rim_inner_mm"),
    ("tyre_nominal_mm", "tyre_width_mm"),
)  # (column, field of the test)


def parse(texts: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """Columns typed as NAME=VALUE. Refusal for a column that is not published, that is measured, or a value that it does not take."""
    found = {}
    for text in texts:
        name, equals, cell = (part.strip() for part in text.partition("="))
        allowed = [column for column in schema.columns() if column not in MEASURED]
        if not equals or name not in allowed:
            raise Refusal(
                f"'{text}' states no column that a person can state.",
                f"Write NAME=VALUE with one of {', '.join(allowed)}.",
            )
        if not cell.isprintable() or load.typed(name, cell, "column") is None:
            raise Refusal(
                f"'{text}' has no value.", "Write it behind the equals sign, on one line."
            )
        found[name] = cell
    return tuple(found.items())


def payload(specimen: Mapping[str, Any]) -> bytes:
    """Return the META payload of a test, from its fields. Refusal where it does not fit into one block."""
    known = {column: specimen[field] for column, field in SPECIMEN if specimen.get(field)}
    known.update(dict(specimen.get("columns") or ()))
    text = "\n".join(
        f"{name}={value:g}" if isinstance(value, float) else f"{name}={value}"
        for name, value in known.items()
    )
    data = bytes([layout.META_SPECIMEN]) + text.encode()
    if len(data) > session.MAX_PAYLOAD:
        raise Refusal(
            "The columns stated for this test are too long for its record.",
            "Shorten them, or write them into the row afterwards.",
        )
    return data


def columns_of(meta: bytes, where: str) -> dict[str, load.Value]:
    """Return the stated columns of a record, typed. Refusal for a value that its column does not take; other names are left out."""
    rows = (line.partition("=") for line in records.text_of(meta).splitlines())
    known = schema.columns()
    found = {
        name: load.typed(name, cell, where)
        for name, _equals, cell in rows
        if name in known and name not in MEASURED
    }
    return {name: value for name, value in found.items() if value is not None}
