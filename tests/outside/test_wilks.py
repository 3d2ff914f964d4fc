"""Rank bounds (Wilks) and Clopper-Pearson.

Numbers of samples 59/93/299 and the others: Wilks' formula, in common use; recomputed outside this project with scipy 1.17.1.
"""

import numpy as np
import pytest
from rimward.proof import stats
from scipy.stats import binom

FIRST_ORDER = [
    (0.90, 0.90, 22), (0.90, 0.95, 29), (0.95, 0.90, 45), (0.95, 0.95, 59), (0.95, 0.99, 90),
    (0.99, 0.90, 230), (0.99, 0.95, 299), (0.99, 0.99, 459), (0.999, 0.95, 2995),
]  # fmt: skip
ORDERS = [(0.95, 59, 1), (0.95, 93, 2), (0.95, 124, 3), (0.95, 153, 4), (0.95, 181, 5), (0.99, 299, 1), (0.99, 473, 2), (0.99, 628, 3)]


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
    for n in [*range(1, 70), 93, 124, 299, 400]:
        for coverage, confidence in ((0.5, 0.5), (0.9, 0.9), (0.95, 0.95), (0.99, 0.75)):
            allowed = np.flatnonzero(binom.cdf(np.arange(n), n, 1 - coverage) <= 1 - confidence + 1e-12) + 1
            assert stats.rank_order(n, coverage, confidence) == max(allowed, default=0)


@pytest.mark.parametrize("n, confidence, coverage", [(5, 0.2262, 0.5493), (10, 0.4013, 0.7411), (20, 0.6415, 0.8609), (30, 0.7854, 0.9050)])
def test_what_few_samples_achieve(n, confidence, coverage):
    assert round(stats.achieved_confidence(n, 0.95), 4) == confidence
    assert round(stats.achieved_coverage(n, 0.95), 4) == coverage


@pytest.mark.parametrize("n, upper", [(10, 0.2588655508930522), (59, 0.049507609888227), (100, 0.029513049607039932), (299, 0.009969146792899286)])
def test_no_failures_in_n(n, upper):
    assert stats.pass_rate_upper(0, n, 0.95) == pytest.approx(upper, rel=1e-6)


@pytest.mark.parametrize("failed, n, upper", [(1, 93, 0.049993978387988317), (2, 124, 0.04990017122831202), (5, 50, 0.19883300251641847)])
def test_clopper_pearson_upper(failed, n, upper):
    assert stats.pass_rate_upper(failed, n, 0.95) == pytest.approx(upper, rel=1e-6)
    assert stats.pass_rate_lower(n - failed, n, 0.95) == pytest.approx(1 - upper, rel=1e-6)


def test_ten_of_ten_passes_show_74_percent():
    assert round(100 * stats.pass_rate_lower(10, 10, 0.95), 1) == 74.1
