"""The rules of the analysis: when a bound is null, what comes off it, what counts once, and what the headline says."""

import numpy as np
import pytest
from rimward.base.errors import Refusal
from rimward.proof.bounds import Ask

from tests.unit.prooflot import HEAD, TEN, released, run, warnings


def test_a_release_within_the_limit_is_reported_beside_any_bound():
    """With a hundred samples the second smallest is the bound, and one that failed at 4.5 bar would not be seen in it."""
    found = run(released([*(8 + i / 100 for i in range(99)), 4.5]))
    assert found["headline_bound"]["verdict"] == "shown" and found["lower_tolerance"][
        "rank_margin"
    ] == pytest.approx(1.6)
    assert "released_within_limit" in warnings(found)
    assert "released_within_limit" not in warnings(run([*released(TEN), "Z,4.5,5,no"]))


def test_a_rim_in_two_batches_counts_once_and_is_reported():
    rows = [*released(TEN, extra=",R{},FW-1"), "Z,7.5,5,yes,R0,FW-2"]
    rows = [row.replace("R{}", f"R{i}") for i, row in enumerate(rows)]
    found = run(rows, head=HEAD + ",rim_id,batch")
    assert found["n"] == 10 and "specimen_in_several_batches" in warnings(found)
    assert {batch["batch"]: batch["n"] for batch in found["batches"]} == {"FW-1": 9, "FW-2": 1}
    assert "specimen_in_several_batches" not in warnings(
        run(rows[:-1], head=HEAD + ",rim_id,batch")
    )


def test_tyres_without_rims_are_counted_as_tyres():
    found = run(
        [f"S{i},{value},5,yes,T{i // 2}" for i, value in enumerate(TEN)], head=HEAD + ",tyre_id"
    )
    assert (found["n"], found["unit"]) == (5, "tyre")


def test_a_pool_of_many_batches_has_a_short_name():
    found = run([f"S{i},{value},5,yes,B{i}" for i, value in enumerate(TEN)], head=HEAD + ",batch")
    assert (
        found["headline"].startswith("Batch B3: no claim")
        and found["if_law"][0]["batch"] == "10 batches pooled"
    )


def test_words_on_likelihood_appear_only_with_a_likelihood_bound():
    assert "likelihood_small" not in warnings(run([f"S{i},8,5,no" for i in range(9)]))
    assert "likelihood_small" in warnings(run([*released(TEN), "Z,9,5,no"]))


def test_complete_lot_of_ten():
    """mean − 2.910963 s by hand; no rank bound under 59."""
    lower = run(released(TEN))["lower_tolerance"]
    margins = np.array(TEN) / 5
    assert lower["normal_margin"] == pytest.approx(
        margins.mean() - 2.910963 * margins.std(ddof=1), abs=1e-6
    )
    assert lower["normal_pa"] == pytest.approx(lower["normal_margin"] * 500_000, rel=1e-12)
    assert (lower["rank_margin"], lower["rank_pa"], lower["rank_order"], lower["rank_reason"]) == (
        None,
        None,
        None,
        "too_few",
    )
    assert (
        lower["n_needed"],
        round(lower["achieved_confidence"], 4),
        round(lower["achieved_coverage"], 4),
    ) == (59, 0.4013, 0.7411)


def test_one_stop_makes_the_normal_bound_null():
    found = run([*released(TEN), "X,9.5,5,no"])
    lower = found["lower_tolerance"]
    assert (lower["normal_margin"], lower["normal_pa"], lower["reason"]) == (None, None, "censored")
    assert found["margin"]["mean"] is None and found["normality"]["p"] is None
    assert (
        found["maximum_likelihood"]["weibull"]["margin"]
        < found["maximum_likelihood"]["weibull"]["estimate"]
    )
    assert found["headline_bound"]["method"] == "rank" and [
        row["method"] for row in found["if_law"]
    ] == ["weibull_ml", "normal_ml"]


def test_a_complete_lot_needs_no_likelihood():
    assert run(released(TEN))["maximum_likelihood"] is None


@pytest.mark.parametrize("gone", [[], [7.5], [7.5, 7.5]])
def test_under_two_distinct_releases_there_is_no_likelihood_bound(gone):
    found = run([*released(gone), *(f"N{i},8.5,5,no" for i in range(6))])
    for law in ("weibull", "normal"):
        assert found["maximum_likelihood"][law]["margin"] is None
        assert found["maximum_likelihood"][law]["reason"] == "under_two_releases"
    assert found["headline_bound"]["verdict"] == "no claim" and "no claim" in found["headline"]


def test_invalid_rows_do_not_count():
    found = run([*released(TEN), "X,2,5,invalid", "Y,,,invalid"])
    assert (
        found["n"] == 10 and found["counts"]["invalid"] == 2 and "invalid_rows" in warnings(found)
    )
    assert found["lower_tolerance"] == run(released(TEN))["lower_tolerance"]


def test_only_invalid_rows_are_refused():
    with pytest.raises(Refusal, match="No valid sample"):
        run(["X,2,5,invalid"])


def test_limits_that_differ_leave_the_pascals_null():
    found = run([*released(TEN), "X,9,6,yes"])
    lower = found["lower_tolerance"]
    assert (
        lower["normal_margin"] is not None
        and lower["normal_pa"] is None
        and lower["limit_pa"] is None
    )
    assert found["headline_bound"]["pa"] is None and "limits_differ" in warnings(found)


def test_psi_in_a_bar_column_gives_no_pascals():
    found = run(released([110, 115, 120], limit=72.5))
    assert found["samples"][0]["margin"] == pytest.approx(1.517, abs=5e-4)
    assert found["lower_tolerance"]["normal_pa"] is None and "limit_looks_like_psi" in warnings(
        found
    )


def test_rank_bound_counts_stops_at_the_stop():
    """93 samples: the second smallest, here a stop."""
    rows = released([7.0]) + ["N,7.2,5,no"] + [f"N{i},8,5,no" for i in range(91)]
    lower = run(rows)["lower_tolerance"]
    assert (lower["rank_order"], lower["rank_margin"], lower["rank_pa"]) == (
        2,
        1.44,
        pytest.approx(720_000),
    )


def test_gauge_u_comes_off_every_bound():
    plain, less = run(released(TEN)), run(released(TEN), ask=Ask(gauge_u_pa=10_000))
    assert plain["lower_tolerance"]["normal_margin"] - less["lower_tolerance"][
        "normal_margin"
    ] == pytest.approx(0.02)
    assert plain["lower_tolerance"]["normal_pa"] - less["lower_tolerance"][
        "normal_pa"
    ] == pytest.approx(10_000)
    assert "gauge_unknown" in warnings(plain) and "gauge_unknown" not in warnings(less)
    many = [f"S{i},8,5,no" for i in range(59)]
    assert run(many, ask=Ask(gauge_u_pa=10_000))["lower_tolerance"]["rank_margin"] == pytest.approx(
        1.58
    )


def test_the_largest_gauge_u_of_the_rows_counts():
    rows = [f"S{i},{v},5,yes,{0.05 if i else 0.2}" for i, v in enumerate(TEN)]
    found = run(rows, head=HEAD + ",gauge_u_bar")
    assert found["gauge"] == {
        "u_pa": pytest.approx(20_000),
        "u_margin": pytest.approx(0.04),
        "known": True,
    }


def test_reused_rims_are_analysed_by_rim():
    """Ten rows on five rims are five specimens, each with its lowest."""
    rows = [f"S{i},{v},5,yes,R{i // 2}" for i, v in enumerate(TEN)]
    found = run(rows, head=HEAD + ",rim_id")
    lowest = np.array([min(pair) for pair in zip(TEN[::2], TEN[1::2], strict=True)]) / 5
    assert (found["n"], found["unit"]) == (5, "rim") and "rim_reused" in warnings(found)
    assert found["lower_tolerance"]["normal_margin"] == pytest.approx(
        lowest.mean() - 4.202681 * lowest.std(ddof=1), abs=1e-6
    )


def test_a_reused_tyre_is_reported():
    rows = [f"S{i},{v},5,yes,R{i},T{i % 3}" for i, v in enumerate(TEN)]
    found = run(rows, head=HEAD + ",rim_id,tyre_id")
    assert found["n"] == 10 and "tyre_reused" in warnings(found)
    mounts = run(
        [f"S{i},{v},5,yes,{1 + (i == 3)}" for i, v in enumerate(TEN)], head=HEAD + ",tyre_mounts"
    )
    assert "tyre_reused" in warnings(mounts)


def test_a_tyre_without_a_rim_is_one_specimen():
    rows = [f"S{i},{v},5,yes,T{i // 2}" for i, v in enumerate(TEN)]
    found = run(rows, head=HEAD + ",tyre_id")
    assert found["n"] == 5 and {"specimen_reused", "tyre_reused"} <= set(warnings(found))


def test_a_row_given_twice_counts_once():
    found = run([*released(TEN), *released(TEN)])
    assert (
        found["n"] == 10
        and found["counts"]["repeated"] == 10
        and "repeated_rows" in warnings(found)
    )


def test_a_stop_on_a_reused_rim_still_censors():
    found = run(
        ["A,8,5,yes,R1", "B,9,5,no,R1", *(f"S{i},{v},5,yes,Q{i}" for i, v in enumerate(TEN))],
        head=HEAD + ",rim_id",
    )
    assert found["lower_tolerance"]["reason"] == "censored"


def test_one_sample_and_equal_samples_give_no_normal_bound():
    assert run(released([8]))["lower_tolerance"]["normal_reason"] == "too_few"
    assert run(released([8, 8, 8]))["lower_tolerance"]["normal_reason"] == "no_spread"


LARGE = [8 + 0.01 * i for i in range(59)]


@pytest.mark.parametrize(
    "values, verdict, words",
    [
        (LARGE, "shown", "shown to hold 1."),
        (
            TEN,
            "no claim",
            "no claim at 95 % confidence. The lowest of 10 is 1.580 times the limit = 7.90 bar (114.5 psi) gauge",
        ),
        ([4.6, 5.4, 5.0, 5.6, 5.2], "not shown to hold its limit", "not shown to hold its limit"),
        ([4.0, 9.0], "not shown to hold its limit", "The lowest of 2 is 0.800 times the limit"),
        ([8.0], "no claim", "59 are needed"),
    ],
)
def test_headline(values, verdict, words):
    found = run(released(values, extra=",FW-12"), head=HEAD + ",batch")
    assert found["headline_bound"]["verdict"] == verdict
    assert words in found["headline"] and found["headline"].startswith("Batch FW-12:")
    if verdict != "not shown to hold its limit":
        assert "not shown" not in found["headline"]


def test_few_samples_have_the_confidence_of_their_rank_and_laws_stand_apart():
    found = run(released(TEN))
    assert found["headline_bound"] == {
        "verdict": "no claim", "margin": 1.58, "pa": 790_000, "method": "rank", "batch": None, "n": 10, "confidence": pytest.approx(0.4013, abs=5e-5),
    }  # fmt: skip
    assert "lie above it with 40.1 % confidence, no law assumed" in found["headline"]
    assert [row["law"] for row in found["if_law"]] == ["Weibull", "normal"]  # the lowest first
    assert all(
        row["text"].startswith(f"If the batch follows a {row['law']} law: 1.")
        for row in found["if_law"]
    )
    assert (
        found["if_law"][0]["margin"]
        == found["lower_tolerance"]["weibull_margin"]
        < found["lower_tolerance"]["normal_margin"]
    )


def test_a_plainly_skewed_lot_has_no_normal_bound():
    """Eighty-five good ones and fifteen weak ones in a hundred: Shapiro-Wilk sees it, and the sentence keeps the weak tail."""
    found = run(released([8 + 0.002 * i for i in range(85)] + [5.2 + 0.01 * i for i in range(15)]))
    lower = found["lower_tolerance"]
    assert found["normality"]["p"] < 0.05 and (lower["normal_margin"], lower["normal_reason"]) == (
        None,
        "not_normal",
    )
    assert found["headline_bound"]["margin"] <= lower["rank_margin"] == pytest.approx(1.042)
    assert any("clearly not normal" in row["text"] for row in found["if_law"])


def test_a_bound_just_under_one_is_not_shown_as_one():
    """59 stops with U such that the bound is 0.99999: rounded down, and not shown."""
    found = run([f"S{i},5,5,no" for i in range(59)], ask=Ask(gauge_u_pa=5))
    assert (
        "0.999 times" in found["headline"]
        and found["headline_bound"]["verdict"] == "not shown to hold its limit"
    )
    assert "4.99 bar (72.5 psi)" in found["headline"]


def test_headline_takes_the_lowest_bound_over_batches_and_methods():
    rows = released(TEN, extra=",A") + [f"B{i},{v - 1},5,yes,B" for i, v in enumerate(TEN)]
    found = run(rows, head=HEAD + ",batch")
    assert (
        found["headline_bound"]["margin"] == pytest.approx(6.9 / 5)
        and found["headline_bound"]["batch"] == "B"
    )
    assert found["headline_bound"]["confidence"] == pytest.approx(
        0.4013, abs=5e-5
    )  # the batch's ten, not the pool's twenty
    assert "batches_pooled" in warnings(found)
    margins = [row["margin"] for row in found["if_law"]]
    assert len(margins) == 6 and margins == sorted(margins)


def test_headline_of_a_large_lot_takes_the_rank_bound_when_lower():
    values = [6.0] + [8 + 0.01 * i for i in range(59)]
    found = run(released(values))
    lower = found["lower_tolerance"]
    assert lower["rank_margin"] == 1.2 and lower["normal_reason"] == "not_normal"
    assert found["headline_bound"]["margin"] == min(lower["rank_margin"], lower["weibull_margin"])


def test_more_samples():
    found = run(released([6.0, 7.0, 8.0, 6.5, 7.5]))
    more = found["more_samples"]
    assert more["for_rank_bound"] == 54
    n = 5 + more["for_normal_claim"]
    from rimward.proof.stats import k_factor

    mean, s = found["margin"]["mean"], found["margin"]["sd"]
    assert mean - k_factor(n, 0.95, 0.95) * s >= 1 > mean - k_factor(n - 1, 0.95, 0.95) * s
    assert run(released([4.9, 5.1, 5.0]))["more_samples"]["for_normal_claim"] is None


def test_normality_is_shown_with_its_words():
    normality = run(released(TEN))["normality"]
    assert 0 < normality["p"] <= 1 and "cannot prove" in normality["note"]


@pytest.mark.parametrize("confidence", [0.5, 0.5001])
def test_confidence_of_one_half_gives_the_estimate_itself(confidence):
    rows = [*released([7.0, 7.5, 8.0]), "X,9,5,no"]
    for found in run(rows, ask=Ask(0.9, confidence))["maximum_likelihood"].values():
        assert (
            found["margin"] == pytest.approx(found["estimate"], abs=1e-3)
            and found["margin"] <= found["estimate"]
        )


def test_a_tyre_on_several_rims_is_analysed_by_rim():
    rows = ["A,7,5,yes,R1,T1", "B,7.5,5,yes,R2,T1", "C,8,5,yes,R3,T2"]
    found = run(rows, head=HEAD + ",rim_id,tyre_id")
    assert (found["n"], found["unit"]) == (3, "rim") and "tyre_reused" in warnings(found)
    assert run(rows[1:], head=HEAD + ",rim_id,tyre_id")["unit"] == "sample"
