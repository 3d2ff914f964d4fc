"""One-sided tolerance factors, against published tables and rows computed apart from this code.

Sources: exact noncentral-t factors (scipy 1.17.1, computed outside this project); 4-digit values of ISO 16269-6, NUREG-1475 and
textbooks, from memory.
"""

import pytest
from rimward.proof import stats

PAIRS = [(0.90, 0.90), (0.90, 0.95), (0.95, 0.90), (0.95, 0.95), (0.99, 0.90), (0.99, 0.95), (0.99, 0.99), (0.999, 0.95)]
ROWS = """
2 10.252714 20.581468 13.089742 26.259674 18.500078 37.093581 185.616959 49.275616
3 4.258165 6.155281 5.311478 7.655900 7.340439 10.552730 23.895563 13.857067
4 3.187844 4.161933 3.956565 5.143875 5.438234 7.042363 12.387284 9.214178
5 2.742348 3.406633 3.399834 4.202681 4.665982 5.741085 8.939025 7.501893
6 2.493690 3.006257 3.091878 3.707684 4.242533 5.061989 7.334566 6.611783
7 2.332647 2.755432 2.893798 3.399469 3.972023 4.641720 6.411943 6.062665
8 2.218594 2.581909 2.754284 3.187294 3.782549 4.353856 5.811798 5.687534
9 2.132875 2.453755 2.649902 3.031238 3.641440 4.143022 5.388879 5.413404
10 2.065668 2.354640 2.568373 2.910963 3.531659 3.981118 5.073725 5.203300
12 1.966199 2.210132 2.448251 2.736343 3.370671 3.747085 4.633001 4.900314
15 1.866841 2.068372 2.328977 2.566000 3.211816 3.520127 4.222364 4.607430
20 1.765206 1.925991 2.207779 2.396002 3.051543 3.295157 3.831558 4.318191
25 1.701524 1.838100 2.132295 2.291675 2.952362 3.157955 3.601088 4.142405
30 1.657065 1.777329 2.079817 2.219838 2.883725 3.063901 3.446506 4.022198
35 1.623862 1.732252 2.040749 2.166720 2.832801 2.994591 3.334350 3.933784
40 1.597894 1.697179 2.010271 2.125494 2.793181 2.940942 3.248553 3.865450
43 1.584800 1.679553 1.994927 2.104810 2.773272 2.914075 3.205916 3.831263
50 1.559468 1.645565 1.965294 2.064993 2.734892 2.862449 3.124607 3.765641
60 1.532029 1.608913 1.933272 2.022159 2.693524 2.807055 3.038258 3.695330
100 1.470062 1.526749 1.861252 1.926539 2.600903 2.683958 2.849648 3.539484
200 1.411277 1.449551 1.793324 1.837236 2.514097 2.569737 2.678601 3.395400
500 1.361756 1.385052 1.736409 1.763046 2.441797 2.475429 2.540175 3.276842
"""
CASES = [(int(n), *pair, float(k)) for n, *ks in map(str.split, ROWS.strip().splitlines()) for pair, k in zip(PAIRS, ks, strict=True)]
# coverage, confidence, n, k to three digits (from memory)
PRINTED = [
    (0.95, 0.95, 5, 4.203), (0.95, 0.95, 10, 2.911), (0.95, 0.95, 20, 2.396), (0.95, 0.95, 50, 2.065),
    (0.90, 0.95, 5, 3.407), (0.90, 0.95, 10, 2.355), (0.90, 0.95, 20, 1.926), (0.90, 0.95, 50, 1.646),
    (0.99, 0.95, 5, 5.741), (0.99, 0.95, 10, 3.981), (0.99, 0.95, 20, 3.295), (0.99, 0.95, 50, 2.862),
]  # fmt: skip


@pytest.mark.parametrize("n, coverage, confidence, k", CASES)
def test_k_to_the_last_digit_given(n, coverage, confidence, k):
    assert stats.k_factor(n, coverage, confidence) == pytest.approx(k, abs=5.1e-7)


@pytest.mark.parametrize("coverage, confidence, n, k", PRINTED)
def test_printed_k(coverage, confidence, n, k):
    assert stats.k_factor(n, coverage, confidence) == pytest.approx(k, abs=6e-4)


@pytest.mark.parametrize("n, real", [(5, 0.61), (10, 0.58), (20, 0.51)])
def test_counting_stops_as_releases_would_lie(n, real):
    """8.5 ± 1.5, stopped at 8: the confidence of mean − k·s over stopped rows, computed outside this project (0.61, 0.58, 0.51).

    The analysis must therefore refuse that bound; tests/unit/test_proof_analyse.py checks that it does.
    """
    import numpy as np
    from scipy.stats import norm

    lots = np.minimum(np.random.default_rng(n).normal(8.5, 1.5, (40_000, n)), 8.0)
    bounds = lots.mean(axis=1) - stats.k_factor(n, 0.95, 0.95) * lots.std(axis=1, ddof=1)
    assert np.mean(bounds <= norm.ppf(0.05, 8.5, 1.5)) == pytest.approx(real, abs=0.012)
