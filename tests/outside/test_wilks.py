"""Rank bounds (Wilks) and Clopper-Pearson.

Numbers of samples 22, 45, 59, 93, 124, 153, 181, 299, 459, 473 and the others: Wilks' formula (S. S. Wilks 1941; tables of nuclear safety
analysis and of quality texts, from memory).
"""

from fractions import Fraction
from math import comb

import pytest
from rimward.proof import stats

FIRST_ORDER = [
    (0.90, 0.90, 22), (0.90, 0.95, 29), (0.95, 0.90, 45), (0.95, 0.95, 59), (0.95, 0.99, 90),
    (0.99, 0.90, 230), (0.99, 0.95, 299), (0.99, 0.99, 459), (0.999, 0.95, 2995),
]  # fmt: skip
ORDERS = [
    (0.95, 59, 1),
    (0.95, 93, 2),
    (0.95, 124, 3),
    (0.95, 153, 4),
    (0.95, 181, 5),
    (0.99, 299, 1),
    (0.99, 473, 2),
    (0.99, 628, 3),
]


@pytest.mark.parametrize("coverage, confidence, n", FIRST_ORDER)
def test_fewest_samples(coverage, confidence, n):
    assert stats.n_needed(coverage, confidence) == n
    assert stats.rank_order(n, coverage, confidence) == 1
    assert stats.rank_order(n - 1, coverage, confidence) == 0


@pytest.mark.parametrize("coverage, n, order", ORDERS)
def test_orders_at_95_confidence(coverage, n, order):
    assert stats.rank_order(n, coverage, 0.95) == order
    assert stats.rank_order(n - 1, coverage, 0.95) == order - 1


def test_order_is_the_largest_that_the_definition_allows():
    """Summed in whole numbers: for coverage a/b the r-th smallest bounds it while C(n,i) (b-a)^i a^(n-i) over i < r stays under 1 - confidence."""
    for n in [*range(1, 70), 93, 124, 299, 400]:
        for coverage, confidence in (
            (Fraction(1, 2), Fraction(1, 2)),
            (Fraction(9, 10),) * 2,
            (Fraction(19, 20),) * 2,
            (Fraction(99, 100), Fraction(3, 4)),
        ):
            a, b, total, order = coverage.numerator, coverage.denominator, 0, 0
            while order < n:
                total += comb(n, order) * (b - a) ** order * a ** (n - order)
                if Fraction(total, b**n) > 1 - confidence:
                    break
                order += 1
            assert stats.rank_order(n, float(coverage), float(confidence)) == order


@pytest.mark.parametrize(
    "n, confidence, coverage",
    [(5, 0.2262, 0.5493), (10, 0.4013, 0.7411), (20, 0.6415, 0.8609), (30, 0.7854, 0.9050)],
)
def test_what_few_samples_achieve(n, confidence, coverage):
    assert round(stats.achieved_confidence(n, 0.95), 4) == confidence
    assert round(stats.achieved_coverage(n, 0.95), 4) == coverage


@pytest.mark.parametrize("n", [1, 2, 10, 59, 100, 299])
def test_no_failures_in_n(n):
    """By definition the upper bound p after n passes has (1 - p)^n = 1 - confidence: 1 - 0.05^(1/n)."""
    assert stats.pass_rate_upper(0, n, 0.95) == pytest.approx(1 - 0.05 ** (1 / n), rel=1e-9)


# Clopper and Pearson's limits, printed tables of exact binomial limits: 90 % two-sided, so 95 % on each side (from memory)
BINOMIAL_LIMITS = [
    (0, 5, 0.451), (1, 5, 0.657), (2, 5, 0.811), (0, 10, 0.259), (1, 10, 0.394), (2, 10, 0.507), (3, 10, 0.607), (4, 10, 0.696), (5, 10, 0.778),
    (0, 20, 0.139), (1, 20, 0.216), (2, 20, 0.283),
]  # fmt: skip


@pytest.mark.parametrize("failed, n, upper", BINOMIAL_LIMITS)
def test_printed_binomial_limits(failed, n, upper):
    assert stats.pass_rate_upper(failed, n, 0.95) == pytest.approx(upper, abs=6e-4)
    assert stats.pass_rate_lower(n - failed, n, 0.95) == pytest.approx(1 - upper, abs=6e-4)


@pytest.mark.parametrize("failed, n", [(1, 93), (2, 124), (5, 50), (3, 7)])
def test_an_upper_limit_meets_its_definition(failed, n):
    """At the limit p, so few failures have exactly the chance 1 - confidence: the sum of C(n,i) p^i (1-p)^(n-i) for i up to `failed`."""
    p = stats.pass_rate_upper(failed, n, 0.95)
    assert sum(comb(n, i) * p**i * (1 - p) ** (n - i) for i in range(failed + 1)) == pytest.approx(
        0.05, rel=1e-9
    )


def test_ten_of_ten_passes_show_74_percent():
    assert round(100 * stats.pass_rate_lower(10, 10, 0.95), 1) == 74.1
