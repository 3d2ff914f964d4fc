"""Hazard table and check-out sheet: every promise and every plant fault has a row, every named test is in the tree."""

import pytest
from rimward.plant.faults import FAULTS

from hardware import hazards, sheets

ROWS = hazards.load()
FAULT_NAMES = list(FAULTS)


def test_at_least_forty_rows_all_filled():
    assert len(ROWS) >= 40
    for row in ROWS:
        assert all((row.part, row.failure, row.effect, row.detection, row.stops, row.residual, row.promise, row.tests)), row.id
        assert row.promise in hazards.PROMISES


def test_every_promise_has_a_row():
    assert hazards.missing_promises() == []


def test_every_plant_fault_has_a_row_and_no_other_is_named():
    assert hazards.missing_faults(FAULT_NAMES) == []


def test_named_tests_are_in_the_tree():
    assert hazards.missing_tests() == []


def test_checks_can_fail():
    assert hazards.missing_faults([*FAULT_NAMES, "a_new_fault"]) == ["a_new_fault"]
    assert hazards.missing_faults(FAULT_NAMES[1:]) == [f"{FAULT_NAMES[0]} (unknown to the plant)"]
    assert not hazards.test_exists("tests/unit/test_hardware_sheets.py::test_nothing_of_the_kind")
    assert not hazards.test_exists("tests/unit/no_such_file.py::test_x")
    assert hazards.test_exists("tests/unit/test_hardware_sheets.py::test_checks_can_fail")


def test_table_says_that_a_low_ceiling_is_not_at_110_percent():
    assert "NOT at 110 %" in hazards.INTRO and hazards.INTRO in hazards.markdown()
    assert "certification is claimed" in hazards.INTRO


@pytest.mark.parametrize("row", ROWS, ids=lambda r: r.id)
def test_row_is_in_both_tables(row):
    assert row.id in hazards.html() and row.id in hazards.markdown()


def test_checkout_has_limits():
    text = sheets.markdown()
    for words in ("5.04 bar (73.0 psi) to 5.36 bar (77.7 psi)", "at most 20 ms", "Blow each tap shut", "stays off"):
        assert words in text
    assert len(sheets.checkout()) >= 15 and all(step.limit for step in sheets.checkout())


def test_daily_sheet_tests_the_cutoff():
    text = " ".join(f"{s.text} {s.limit}" for s in sheets.daily())
    assert "cutoff test button" in text and "LOW" in text and "water trap" in text


def test_out_of_service_names_what_makes_it_unfit():
    text = " ".join(sheets.out_of_service())
    assert "overdue" in text and "relief valve has blown" in text and "check-out was not done again" in text


def test_limits_are_shown_in_bar_and_psi_rounded_down():
    assert sheets.both(500_000) == "5.00 bar (72.5 psi)"
    assert sheets.both(550_000) == "5.50 bar (79.7 psi)"
    assert sheets.both(500_001, up=True) == "5.01 bar (72.6 psi)"
