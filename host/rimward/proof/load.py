"""Reader of proof CSV files and recorded sessions. Every message names the file, the row as a spreadsheet counts it, and the correction."""

import csv
import io
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rimward.base.errors import Refusal
from rimward.proof import schema

BAR_PA = 100_000
FILE_MAX_BYTES = 64 * 1024 * 1024
# No assembly releases at ten times its limit; psi or kPa entered in the bar column (14.5 and 100 times) would.
MARGIN_MAX = 10
NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?")
Value = str | int | float
TYPED = "not verified: a row is no evidence of its origin; use the session file"


@dataclass(frozen=True)
class Sample:
    """One test. Pressures are gauge, in bar as in the file; `release_bar` is the stop pressure when not released."""

    name: str
    release_bar: float
    limit_bar: float
    released: str
    file: str = ""
    row: int = 0
    known: dict[str, Value] = field(default_factory=dict)
    raw: dict[str, str] = field(default_factory=dict)
    verified: bool = False
    evidence: str = TYPED
    virtual: bool = False

    @property
    def valid(self) -> bool:
        """True unless the row is marked invalid."""
        return self.released != "invalid"

    @property
    def margin(self) -> float:
        """Release (or stop) ÷ limit."""
        return self.release_bar / self.limit_bar

    @property
    def limit_pa(self) -> float:
        """Limit, Pa gauge."""
        return self.limit_bar * BAR_PA

    @property
    def where(self) -> str:
        """File and row, for messages."""
        return f"{self.file} row {self.row}" if self.row else self.file


def read_rows(path: Path, label: str = "") -> list[Sample]:
    """Return the samples of one CSV file; `label` names it in messages and results."""
    return parse(_text_of(path), label or path.name)


def parse(text: str, name: str) -> list[Sample]:
    """Return the samples of a CSV text; `name` names the file in messages."""
    delimiter = _delimiter(text)
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        header = _header(next(rows, []), name)
        samples = [
            _sample(dict(zip(header, cells, strict=True)), name, rows.line_num, delimiter)
            for cells in _full_rows(rows, header, name)
        ]
    except csv.Error as wrong:
        raise Refusal(
            f"{name} row {rows.line_num}: not readable as CSV ({wrong}).",
            "Check the quotation marks in this row.",
        ) from None
    if not samples:
        raise Refusal(
            f"{name}: no rows below the header.",
            "Write one row a test; `rimward proof schema` shows an example.",
        )
    return samples


def _text_of(path: Path) -> str:
    try:
        if path.stat().st_size > FILE_MAX_BYTES:
            raise Refusal(
                f"{path.name}: larger than {FILE_MAX_BYTES // 2**20} MiB.",
                "Split the file and pass the parts together.",
            )
        return path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as wrong:
        raise Refusal(
            f"{path.name}: byte {wrong.start} is not UTF-8 text.", "Save the file as CSV in UTF-8."
        ) from None
    except OSError as wrong:
        raise Refusal(
            f"{path.name}: cannot be read ({wrong.strerror}).",
            "Check the path and its permissions.",
        ) from None


def _delimiter(text: str) -> str:
    """Comma as published; semicolon or tab when the header has no comma, as written by spreadsheets of some countries."""
    header = text.split("\n", 1)[0]
    return next((mark for mark in ",;\t" if mark in header), ",")


def _header(cells: list[str], name: str) -> list[str]:
    header = [cell.strip().lower() for cell in cells]
    missing = [column for column in schema.required_names() if column not in header]
    if missing:
        raise Refusal(
            f"{name} row 1: no column {', '.join(missing)}.",
            f"Begin the file with {','.join(schema.required_names())}.",
        )
    twice = sorted({column for column in header if column and header.count(column) > 1})
    if twice:
        raise Refusal(
            f"{name} row 1: column {', '.join(twice)} appears twice.", "Remove one of them."
        )
    return header


def _full_rows(rows: Any, header: list[str], name: str) -> Iterator[list[str]]:
    """Rows with content. A row of another length is refused, since its cells may have moved to other columns."""
    for cells in rows:
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(header):
            raise Refusal(
                f"{name} row {rows.line_num}: {len(cells)} cells under {len(header)} columns.",
                "Give the row one cell for each column.",
            )
        yield cells


def typed(column: str, cell: str, where: str) -> Value | None:
    """Return the value of one cell of a published column, None where it is empty. Refusal for what the column does not take."""
    return _cell({column: cell}, column, where)


def _sample(raw: dict[str, str], name: str, row: int, delimiter: str) -> Sample:
    raw = {column: _plain(column, cell.strip(), delimiter) for column, cell in raw.items()}
    known = {
        column: value
        for column in schema.columns()
        if (value := _cell(raw, column, f"{name} row {row}")) is not None
    }
    released = str(known["released"])
    if released != "invalid":
        _must_be_positive(known, f"{name} row {row}")
        _must_be_believable(known, f"{name} row {row}")
    return Sample(
        name=str(known["sample"]),
        release_bar=float(known.get("release_bar", math.nan)),
        limit_bar=float(known.get("limit_bar", math.nan)),
        released=released,
        file=name,
        row=row,
        known=known,
        raw=raw,
    )


def _must_be_positive(known: dict[str, Value], where: str) -> None:
    for column in ("release_bar", "limit_bar"):
        if float(known[column]) <= 0:
            raise Refusal(
                f"{where}: {column} is {known[column]}.",
                "Enter a gauge pressure above 0 bar, or mark the row released = invalid.",
            )


def _must_be_believable(known: dict[str, Value], where: str) -> None:
    release, limit = float(known["release_bar"]), float(known["limit_bar"])
    if release > MARGIN_MAX * limit:
        raise Refusal(
            f"{where}: release_bar {release:g} is more than {MARGIN_MAX} times limit_bar {limit:g}; one of them looks like psi or kPa.",
            "Write both in bar, or mark the row released = invalid.",
        )


def _plain(name: str, cell: str, delimiter: str) -> str:
    """Replace the decimal comma of a number in a semicolon file by a point; return any other cell unchanged."""
    column = schema.columns().get(name)
    return (
        cell.replace(",", ".") if delimiter == ";" and column and column.base != "string" else cell
    )


def _cell(raw: dict[str, str], name: str, where: str) -> Value | None:
    """Typed value of one cell, None where it is allowed to be empty."""
    column, cell = schema.columns()[name], raw.get(name, "")
    if not cell:
        if column.required and not (
            raw.get("released", "").lower() == "invalid" and name in ("release_bar", "limit_bar")
        ):
            raise Refusal(f"{where}: {name} is empty.", f"Write {_wanted(column)}.")
        return None
    if column.words:
        if cell.lower() not in column.words:
            raise Refusal(f"{where}: {name} is '{cell}'.", f"Write {_wanted(column)}.")
        return cell.lower()
    return cell if column.base == "string" else _number(cell, column, where)


def _number(cell: str, column: schema.Column, where: str) -> Value:
    value = float(cell) if NUMBER.fullmatch(cell) else math.nan
    if not math.isfinite(value) or (column.base == "integer" and value != int(value)):
        raise Refusal(
            f"{where}: {column.name} is '{cell}'.",
            f"Write {_wanted(column)}, with a point and without a unit.",
        )
    if (column.minimum is not None and value < column.minimum) or (
        column.maximum is not None and value > column.maximum
    ):
        raise Refusal(
            f"{where}: {column.name} is {cell}, out of range.", f"Write {_wanted(column)}."
        )
    return int(value) if column.base == "integer" else value


def _wanted(column: schema.Column) -> str:
    if column.words:
        return " or ".join(", ".join(column.words).rsplit(", ", 1))
    if column.base == "string":
        return "a name"
    kind = "a whole number" if column.base == "integer" else f"a number in {column.unit}"
    low = "" if column.minimum is None else f" from {column.minimum}"
    return kind + low + ("" if column.maximum is None else f" to {column.maximum}")
