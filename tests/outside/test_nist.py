"""NIST/SEMATECH e-Handbook 7.2.6.3, one-sided tolerance bound: n = 43, 90 % coverage, 99 % confidence.

The handbook prints 1.8752 by Natrella's approximation and 1.8740 by the exact noncentral t (the latter from memory). Older copies
of the page compute a bound with s = 2.68 where the data have s = 0.0268: 102.096 in place of 97.120255.
"""

from math import sqrt

import pytest
from rimward.proof import stats
from scipy.stats import norm


def natrella_k(n: int, coverage: float, confidence: float) -> tuple[float, float, float]:
    z_p, z_c = norm.ppf(coverage), norm.ppf(confidence)
    a, b = 1 - z_c**2 / (2 * (n - 1)), z_p**2 - z_c**2 / n
    return (z_p + sqrt(z_p**2 - a * b)) / a, a, b


def test_exact_factor():
    assert stats.k_factor(43, 0.90, 0.99) == pytest.approx(1.8739536058511987, rel=1e-6)
    assert round(stats.k_factor(43, 0.90, 0.99), 4) == 1.8740


def test_the_handbook_approximation_is_close_to_it():
    k, a, b = natrella_k(43, 0.90, 0.99)
    assert (round(k, 4), round(a, 7), round(b, 7)) == (1.8752, 0.9355727, 1.5165164)
    assert 0 < k - stats.k_factor(43, 0.90, 0.99) < 0.0013


def test_the_known_slip_of_older_copies():
    """The printed upper limit of 102.096 used s = 2.68: with the data's own s = 0.0268 it is 97.120255, and the exact factor gives nearly the same."""
    k, _, _ = natrella_k(43, 0.90, 0.99)
    assert 97.07 + k * 0.0268 == pytest.approx(97.120255, abs=1e-6)
    assert 97.07 + stats.k_factor(43, 0.90, 0.99) * 0.0268 == pytest.approx(97.12022, abs=1e-5)
