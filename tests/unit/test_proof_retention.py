"""The analysis of retention, effects and asked shares."""

import numpy as np
import pytest
from rimward.proof.bounds import Ask

from tests.unit.prooflot import HEAD, TEN, released, run


def test_retention_is_counted_apart():
    rows = [f"P{i},5.5,5,no,300" for i in range(10)] + [
        "F,5.2,5,yes,10",
        "U,5.5,5,no,299",
        "V,5.4,5,no,300",
    ]
    retention = run(rows, head=HEAD + ",hold_s")["retention"]
    assert (retention["passed"], retention["failed"], retention["n"], retention["undecided"]) == (
        10,
        1,
        11,
        2,
    )
    assert retention["gauge_known"] is False
    reached = retention["pressure_reached"]
    assert (reached["passed"], reached["failed"], reached["undecided"]) == (11, 1, 1)
    ten = run(rows[:10], head=HEAD + ",hold_s")["retention"]
    assert ten["lower"] == pytest.approx(0.7411, abs=5e-5)


def test_release_at_110_percent_does_not_pass():
    assert run(["F,5.5,5,yes,300"], head=HEAD + ",hold_s")["retention"]["failed"] == 1


def test_a_release_within_the_hold_fails_at_whatever_pressure():
    """Two that release 0.02 bar above 110 % after 100 s of the hold, and two good ones."""
    rows = ["A,5.52,5,yes,100", "B,5.52,5,yes,0", "C,5.52,5,no,302", "D,8,5,yes,302", "E,8,5,yes,"]
    retention = run(rows, head=HEAD + ",hold_s")["retention"]
    assert (retention["passed"], retention["failed"], retention["undecided"]) == (2, 2, 1)
    assert run(rows, head=HEAD + ",hold_s")["retention"]["lower"] == pytest.approx(0.0976, abs=1e-3)


@pytest.mark.parametrize(
    "row, word",
    [
        ("A,5.50,5,no,302,0.16,", "not shown"),
        ("A,5.65,5,no,302,0.16,", "not shown"),
        ("A,5.66,5,no,302,0.16,", "held"),
        ("A,8.00,5,yes,302,0.16,", "not shown"),
        ("A,8.00,5,yes,302,0.16,5.66", "held"),
        ("A,8.00,5,yes,302,0.16,5.65", "not shown"),
        ("A,8.00,5,no,302,0.16,", "not shown"),
        ("A,5.50,5,no,302,,", "held"),
        ("A,5.52,5,yes,299,0.16,5.52", "failed"),
        ("A,5.70,5,no,299,0.16,5.70", "not decided"),
    ],
)
def test_a_hold_counts_with_the_gauge_taken_off(row, word):
    found = run([row], head=HEAD + ",hold_s,gauge_u_bar,hold_bar")
    assert found["samples"][0]["retention"] == word
    assert (found["retention"]["not_shown"] == 1) == (word == "not shown")


def test_a_gauge_stated_for_all_rows_counts_in_the_hold():
    rows = ["A,5.5,5,no,302"]
    assert (
        run(rows, head=HEAD + ",hold_s", ask=Ask(gauge_u_pa=16_000))["retention"]["not_shown"] == 1
    )
    assert run(rows, head=HEAD + ",hold_s")["retention"]["passed"] == 1


def test_effects_need_ten_samples_a_term():
    rng = np.random.default_rng(1)
    rows = [
        f"S{i},{8 + 0.1 * (i % 7) + rng.normal(0, 0.01)},5,yes,{i % 7},{20 + i % 3}"
        for i in range(20)
    ]
    head = HEAD + ",ramp_kpa_s,temp_c"
    both = run(rows, head=head)["effects"]
    slope = {term["column"]: term for term in both["terms"]}["ramp_kpa_s"]
    assert (
        slope["slope"] == pytest.approx(0.02, abs=0.002)
        and slope["low"] < slope["slope"] < slope["high"]
    )
    few = run(rows[:19], head=head)["effects"]
    assert (few["terms"], few["reason"], few["n_needed"]) == (None, "under_ten_samples_a_term", 20)
    assert run(rows[:10], head=head, effects=["temp_c"])["effects"]["terms"] is not None
    assert run(released(TEN))["effects"]["reason"] == "nothing_varies"
    assert run([*rows, "X,9,5,no,1,20"], head=head)["effects"]["reason"] == "censored"


def test_columns_that_move_together_have_no_effects_of_their_own():
    rows = [f"S{i},{8 + 0.1 * (i % 7)},5,yes,{i % 7},{2 * (i % 7)}" for i in range(30)]
    assert (
        run(rows, head=HEAD + ",ramp_kpa_s,temp_c")["effects"]["reason"] == "columns_move_together"
    )


def test_asked_shares_reach_every_figure():
    found = run(released(TEN), ask=Ask(0.9, 0.9))
    margins = np.array(TEN) / 5
    assert found["n_needed"] == 22
    assert found["lower_tolerance"]["normal_margin"] == pytest.approx(
        margins.mean() - 2.065668 * margins.std(ddof=1), abs=1e-6
    )
