"""Trade facts about release, as a check on the whole analysis. Source of both: `common practice`."""

import pytest
from rimward.proof.analyse import analyse
from rimward.proof.bounds import Ask
from rimward.proof.load import parse

PSI_BAR = 0.06894757293168361
HEAD = "sample,release_bar,limit_bar,released\n"


def test_110_psi_on_a_limit_of_72_5_is_just_over_half_again():
    """`common practice`: a hookless set-up that released at 110 psi with a 72.5 psi limit."""
    found = analyse(
        parse(f"{HEAD}A,{110 * PSI_BAR:.9f},{72.5 * PSI_BAR:.9f},yes\n", "a.csv"), Ask()
    )
    assert round(found["samples"][0]["margin"], 3) == 1.517
    assert found["headline_bound"]["verdict"] == "no claim"  # one sample claims nothing


def test_160_psi_on_a_hooked_rim_without_release_is_censored():
    """`common practice`: 160 psi on a hooked rim, no release."""
    rows = "".join(f"{i},{160 * PSI_BAR:.6f},{100 * PSI_BAR:.6f},no\n" for i in range(10))
    found = analyse(parse(HEAD + rows, "a.csv"), Ask())
    assert found["lower_tolerance"]["normal_margin"] is None
    assert found["lower_tolerance"]["reason"] == "censored"
    assert found["maximum_likelihood"]["weibull"]["margin"] is None
    assert found["margin"]["mean"] is None


def test_stops_still_carry_a_rank_bound():
    """59 stops at 1.6 bound 95 % of the lot at 95 %: no law, no release needed."""
    rows = "".join(f"{i},8,5,no\n" for i in range(59))
    lower = analyse(parse(HEAD + rows, "a.csv"), Ask())["lower_tolerance"]
    assert (lower["rank_order"], lower["rank_margin"], lower["rank_pa"]) == (
        1,
        1.6,
        pytest.approx(800_000),
    )
