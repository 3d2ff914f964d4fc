"""Hazard analysis: rows in hardware/hazards.csv, checked against promises, plant faults and tests, and written as a table.

In the spirit of ISO 12100 (find, reduce, state what remains) and ISO 13849 (two diverse channels, faults found by tests); no claim of
certification, of a category or of a performance level.
"""

import ast
import csv
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from hardware import hazard_steps

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent
PROMISES = tuple(f"G{n}" for n in range(1, 11))  # those that hardware or a single fault touches

LAST = 164  # highest number given to a row
FREE = {*range(97, 110), *range(123, 131), *range(142, 150)}  # numbers never given

INSPECTION = (
    "inspection"  # in the column of tests: shown by inspection, no test fails if the claim is false
)

# Words for a test named in many rows.
TESTS = {
    "fault": "tests/faults/test_every_fault.py::test_outcome_of_fault",
    "guard": "tests/unit/test_guard_proof.py::test_every_rule_holds_and_planted_defects_break_theirs",
    "store": "tests/unit/test_store_records.py::test_nothing_is_written_while_the_pump_is_enabled",
    "causes": "tests/unit/test_causes.py::test_one_word_everywhere",
}


@dataclass(frozen=True)
class Hazard:
    """One row of the analysis; `tests` are pytest ids, `faults` names of plant faults."""

    id: str
    part: str
    failure: str
    effect: str
    detection: str
    stops: str
    residual: str
    promise: str
    faults: tuple[str, ...]
    tests: tuple[str, ...]
    inspected: bool = False  # inspected by a person where no test can show it


def load() -> list[Hazard]:
    """Load all rows, in order."""
    with (HERE / "hazards.csv").open(newline="", encoding="utf-8") as file:
        return [
            Hazard(
                r["id"],
                r["part"],
                r["failure"],
                r["effect_at_the_tyre"],
                r["detection"],
                r["what_stops_it"],
                r["residual"],
                r["promise"],
                tuple(r["plant_faults"].split()),
                tuple(TESTS.get(t, t) for t in r["tests"].split() if t != INSPECTION),
                INSPECTION in r["tests"].split(),
            )
            for r in csv.DictReader(file)
        ]


@cache
def functions_of(path: Path) -> frozenset[str]:
    """Names of the test functions that a file defines."""
    if not path.is_file():
        return frozenset()
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return frozenset(
        n.name
        for n in ast.walk(tree)
        if isinstance(n, ast.FunctionDef) and n.name.startswith("test_")
    )


def test_exists(test_id: str) -> bool:
    """True when `file::function` is in the tree."""
    path, _, function = test_id.partition("::")
    return function.split("[")[0] in functions_of(ROOT / path)


def missing_tests() -> list[str]:
    """Named tests that are not in the tree."""
    return sorted({t for row in load() for t in row.tests if not test_exists(t)})


def missing_rows() -> list[str]:
    """Numbers given to a row that are not in the table, and rows that name neither a test nor an inspection."""
    rows = load()
    ids = {row.id for row in rows}
    gone = [f"H{n:02d}" for n in range(1, LAST + 1) if n not in FREE and f"H{n:02d}" not in ids]
    return [f"{i} is gone" for i in gone] + [
        f"{row.id} names no test" for row in rows if not row.tests and not row.inspected
    ]


def missing_promises() -> list[str]:
    """Promises that no row covers."""
    return [p for p in PROMISES if p not in {row.promise for row in load()}]


def missing_faults(known: list[str]) -> list[str]:
    """Plant faults that no row covers, and faults named here that the plant lacks."""
    named = {f for row in load() for f in row.faults}
    return sorted(set(known) - named) + sorted(
        f"{f} (unknown to the plant)" for f in named - set(known)
    )


HEADINGS = (
    "id",
    "part or function",
    "failure",
    "effect at the tyre",
    "detected by",
    "stopped by",
    "what remains",
    "promise",
    "phase",
    "risk before",
    "after",
    "shown by",
)


def cells(row: Hazard) -> tuple[str, ...]:
    """Cells of one printed row."""
    shown = ", ".join(
        [t.rsplit("/", 1)[1].replace("test_", "", 1) for t in row.tests]
        + (["by inspection"] if row.inspected else [])
    )
    before, after = hazard_steps.risk(
        row.id, row.effect, row.residual, row.detection != "none needed"
    )
    return (
        row.id,
        row.part,
        row.failure,
        row.effect,
        row.detection,
        row.stops,
        row.residual,
        row.promise,
        hazard_steps.phase_of(row.id),
        before,
        after,
        shown,
    )


INTRO = (
    "Each row: what can fail, what it does to the tyre, what finds it, what stops it, what remains. Written in the spirit of ISO 12100 and "
    "ISO 13849 (two diverse channels, faults found by tests); no certification is claimed. In the low range the independent cutoff opens between "
    "5.0 and 5.5 bar (72.5 and 79.7 psi): for a wheel whose ceiling is well under 5 bar it is NOT at 110 % of that wheel's limit, and only firmware "
    "with its two transducers guards the space between."
)


def markdown() -> str:
    """Return the table as Markdown."""
    lines = [
        "# Hazard analysis",
        "",
        INTRO,
        "",
        *hazard_steps.lines(),
        "| " + " | ".join(HEADINGS) + " |",
        "|" + " --- |" * len(HEADINGS),
    ]
    lines += ["| " + " | ".join(cells(row)) + " |" for row in load()]
    return "\n".join(lines) + "\n"


def html() -> str:
    """Return the table as a printable page."""
    from html import escape

    def tr(tag: str, items: tuple[str, ...]) -> str:
        return "<tr>" + "".join(f"<{tag}>{escape(i)}</{tag}>" for i in items) + "</tr>"

    style = (
        "@page{size:A4 landscape;margin:10mm}body{font:9.5pt/1.35 sans-serif}table{border-collapse:collapse;width:100%}"
        "th,td{border:1px solid #777;padding:3px 5px;vertical-align:top;text-align:left}thead{display:table-header-group}"
        "tr{break-inside:avoid}th{background:#e8e8e8}td:last-child{font-size:7.5pt;overflow-wrap:anywhere}"
    )
    body = tr("th", HEADINGS), "".join(tr("td", cells(row)) for row in load())
    steps = "".join(
        f"<h2>{escape(t[3:])}</h2>" if t.startswith("## ") else f"<p>{escape(t)}</p>"
        for t in hazard_steps.lines()
        if t
    )
    return (
        f'<!doctype html><html lang="en"><meta charset="utf-8"><title>Rimward: hazard analysis</title><style>{style}</style>'
        f"<h1>Hazard analysis</h1><p>{escape(INTRO)}</p>{steps}<table><thead>{body[0]}</thead><tbody>{body[1]}</tbody></table></html>\n"
    )
