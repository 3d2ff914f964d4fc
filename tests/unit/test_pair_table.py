"""Rim type × approval × bead × air: every cell, and that knowing less never allows more."""

import re
from itertools import product
from pathlib import Path

import pytest
from rimward.limits.ceiling import Rim, Tyre, assess
from rimward.limits.ceiling.pairs import FACTORS, UNKNOWN, table

TYPES = ("SS", "TSS", "HB", "C", "TC")
CELLS = table()
KEYS = ("rim_type", *FACTORS)
# What each type takes, written out from ISO 5775-2 (SS: rigid beads only; T: tubeless) and ETRTO at second hand (approval)
TAKES = {
    "SS": (("yes",), ("rigid",), ("tube",)),
    "TSS": (("yes",), ("rigid", "folding"), ("tube", "tubeless")),
    "HB": (("yes", "no"), ("rigid", "folding"), ("tube",)),
    "C": (("yes", "no"), ("rigid", "folding"), ("tube",)),
    "TC": (("yes", "no"), ("rigid", "folding"), ("tube", "tubeless")),
}


def answer(rim_type: str, approved: str, bead: str, air: str):
    rim = Rim.parse("622x23" + ("?" if rim_type == UNKNOWN else rim_type), "4.6 bar")
    return assess(rim, Tyre.parse("28-622", "3-6 bar", approved=approved, bead=bead, air=air))


def known(value: str, values: tuple[str, ...]) -> tuple[str, ...]:
    return values if value == UNKNOWN else (value,)


def test_every_cell_is_there_once() -> None:
    assert len(CELLS) == 6 * 3 * 3 * 3 == len({tuple(cell[key] for key in KEYS) for cell in CELLS})


@pytest.mark.parametrize("cell", CELLS, ids=lambda cell: "-".join(cell[key] for key in KEYS))
def test_the_engine_answers_by_the_table_and_by_the_standards(cell: dict[str, str]) -> None:
    given = tuple(cell[key] for key in KEYS)
    found = answer(*given)
    assert {note.id for note in found.refusals} == set(cell["refusals"].split())
    could_be = product(
        known(given[0], TYPES),
        *(known(value, FACTORS[name]) for name, value in zip(FACTORS, given[1:], strict=True)),
    )
    every = all(
        all(value in takes for value, takes in zip(rest, TAKES[kind], strict=True))
        for kind, *rest in could_be
    )
    assert (found.ceiling_pa is not None) is every


def test_knowing_less_never_gives_more_pressure() -> None:
    ceilings = {
        tuple(cell[key] for key in KEYS): answer(*(cell[key] for key in KEYS)).ceiling_pa or 0
        for cell in CELLS
    }
    for cell, ceiling in ceilings.items():
        for place, values in enumerate((TYPES, *FACTORS.values())):
            if cell[place] == UNKNOWN:
                assert ceiling <= min(
                    ceilings[(*cell[:place], value, *cell[place + 1 :])] for value in values
                )


@pytest.mark.parametrize(
    "cell",
    [cell for cell in CELLS if cell["refusals"]],
    ids=lambda cell: "-".join(cell[key] for key in KEYS),
)
def test_every_refusal_names_the_act_that_resolves_it(cell: dict[str, str]) -> None:
    for note in answer(*(cell[key] for key in KEYS)).refusals:
        acts = ("Fit a", "Look the tyre up in its maker's list", "State --bead", "state --air")
        assert any(act in note.text for act in acts)
        assert ("rimward rim-type" in note.text) is (cell["rim_type"] == UNKNOWN)


def test_the_table_is_published() -> None:
    text = (Path(__file__).parents[2] / "host" / "LIMITS.md").read_text(encoding="utf-8")
    for kind, takes in (*TAKES.items(), (UNKNOWN, (("yes",), ("rigid",), ("tube",)))):
        row = next(line for line in text.splitlines() if re.match(rf"\| {kind}(,| \|)", line))
        cells = [cell.strip() for cell in row.strip("|").split("|")][1:]
        shown = [" or ".join(values) if len(values) == 1 else "any" for values in takes]
        assert cells == [
            *shown,
            "5.00 bar (72.5 psi)" if kind in ("SS", "TSS", UNKNOWN) else "none",
        ]
