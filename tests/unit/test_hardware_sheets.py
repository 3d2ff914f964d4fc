"""Hazard table and check-out sheet: every promise and every plant fault has a row, every named test is in the tree."""

import re
from dataclasses import replace

import pytest
from rimward.simulation.plant.faults import FAULTS

from hardware import checkout_sim, hazard_steps, hazards, sheets

ROWS = hazards.load()
FAULT_NAMES = list(FAULTS)


def test_at_least_forty_rows_all_filled():
    assert len(ROWS) >= 40
    for row in ROWS:
        assert all(
            (
                row.part,
                row.failure,
                row.effect,
                row.detection,
                row.stops,
                row.residual,
                row.promise,
                row.tests or row.inspected,
            )
        ), row.id
        assert row.promise in hazards.PROMISES


def test_no_row_is_gone_and_none_is_without_a_test(monkeypatch):
    """A row taken out, or robbed of its tests, is missed by number."""
    assert hazards.missing_rows() == [] and {int(row.id[1:]) for row in ROWS}.isdisjoint(
        hazards.FREE
    )
    for at, row in enumerate(ROWS):
        monkeypatch.setattr(hazards, "load", lambda at=at: ROWS[:at] + ROWS[at + 1 :])
        assert hazards.missing_rows() == [f"{row.id} is gone"]
    bare = [replace(ROWS[-1], tests=())]
    monkeypatch.setattr(hazards, "load", lambda: ROWS[:-1] + bare)
    assert hazards.missing_rows() == [f"{ROWS[-1].id} names no test"]


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


def test_every_step_is_done_in_simulation_names_its_test_or_says_by_inspection():
    for step in (*sheets.checkout(), *sheets.daily()):
        assert step.limit
        assert (
            step.key in checkout_sim.trials()
            if step.key
            else step.shown == "by inspection" or hazards.test_exists(step.shown)
        ), step.text
    assert {step.key for step in sheets.checkout()} - {""} == set(checkout_sim.trials())


def test_out_of_service_names_what_makes_it_unfit():
    text = " ".join(sheets.out_of_service())
    assert (
        "overdue" in text
        and "relief valve has blown" in text
        and "check-out was not done again" in text
    )


def test_limits_are_shown_in_bar_and_psi_rounded_down():
    assert sheets.both(500_000) == "5.00 bar (72.5 psi)"
    assert sheets.both(550_000) == "5.50 bar (79.7 psi)"
    assert sheets.both(500_001, up=True) == "5.01 bar (72.6 psi)"


def test_the_steps_of_the_analysis_name_rows_that_are_there_and_every_row_has_its_phase_and_risk():
    ids = {row.id for row in ROWS}
    named = {i for rows in hazard_steps.PHASES.values() for i in rows}
    assert (
        named <= ids
        and {i for text in hazard_steps.MISUSE for i in re.findall(r"H\d+", text)} <= ids
    )
    for row in ROWS:
        before, after = hazards.cells(row)[-3:-1]
        assert (
            re.fullmatch(r"S[12] F[12] A[12]", before)
            and re.fullmatch(r"S[12] F1 A[12]", after)
            and after <= before
        ), row.id
    text = hazards.markdown()
    assert (
        "from memory" in text
        and "Not claimed" in text
        and all(t in text for t in hazard_steps.REASONING)
    )


def test_every_required_hazard_has_its_row():
    parts = " ".join(f"{row.part} {row.failure}" for row in ROWS if row.id >= "H150").lower()
    for word in (
        "battery",
        "adapter",
        "tied or taped",
        "firmware in use",
        "lost in a fill",
        "counterfeit",
        "interference",
        "freezes",
        "noise",
        "hot",
        "gas cylinder",
        "another gas",
    ):
        assert word in parts, word


def test_a_row_shown_by_inspection_alone_says_so():
    alone = [row for row in ROWS if row.inspected and not row.tests]
    assert (
        alone
        and all("by inspection" in hazards.cells(row)[-1] for row in alone)
        and len(alone) <= 3
    )
