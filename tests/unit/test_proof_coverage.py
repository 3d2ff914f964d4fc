"""What the proof analysis states is true at least as often as it states: a part of tests/trust/COVERAGE.md, and that page itself."""

import pytest

from tests.trust.bound_coverage import ASK, LAWS, PAGE, SIZES, simulate

LOTS = 100


@pytest.mark.parametrize("law", LAWS, ids=lambda law: law.name)
@pytest.mark.parametrize("n", SIZES)
def test_the_headline_is_true_as_often_as_it_states(law, n):
    row = simulate(law, n, LOTS, laws=False)
    assert row.stated == pytest.approx(1 - 0.95**n if n < 59 else ASK.confidence)
    assert row.true >= row.least


def test_exact_bounds_of_the_law_that_the_batch_follows():
    """95 % within what 300 lots allow; the profile likelihood of so few gave 91 to 94 %."""
    row = simulate(LAWS[2], 5, 300)
    true, given = row.by_method["weibull"]
    assert given == 300 and 0.91 <= true / given <= 0.99


def test_the_page_lists_every_law_and_size_and_no_headline_falls_short():
    text = PAGE.read_text(encoding="utf-8")
    assert all(f"| {law.name} | {n} |" in text for law in LAWS for n in SIZES)
    assert "beyond a chance of 0.0001: none." in text
