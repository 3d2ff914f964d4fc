"""One-sided tolerance factors k of a normal lot, against the printed table.

Source: M. G. Natrella, Experimental Statistics, NBS Handbook 91 (1963), table A-7, confidence 0.95 and, below, 0.90 (both from memory). It
was computed long before the library that the code uses; its last digit is off by one in places, at n = 3 by up to three.
"""

import pytest
from rimward.proof import stats

COVERAGE = (0.75, 0.90, 0.95, 0.99)
AT_95 = """
3 3.804 6.158 7.655 10.552
4 2.619 4.163 5.145 7.042
5 2.149 3.407 4.202 5.741
6 1.895 3.006 3.707 5.062
7 1.732 2.755 3.399 4.641
8 1.617 2.582 3.188 4.353
9 1.532 2.454 3.031 4.143
10 1.465 2.355 2.911 3.981
11 1.411 2.275 2.815 3.852
12 1.366 2.210 2.736 3.747
13 1.329 2.155 2.670 3.659
14 1.296 2.108 2.614 3.585
15 1.268 2.068 2.566 3.520
16 1.242 2.032 2.523 3.463
17 1.220 2.001 2.486 3.415
18 1.200 1.974 2.453 3.370
19 1.183 1.949 2.423 3.331
20 1.167 1.926 2.396 3.295
21 1.152 1.905 2.371 3.262
22 1.138 1.887 2.350 3.233
23 1.126 1.869 2.329 3.206
24 1.114 1.853 2.309 3.181
25 1.103 1.838 2.292 3.158
30 1.059 1.778 2.220 3.064
35 1.025 1.732 2.166 2.994
40 0.999 1.697 2.126 2.941
45 0.978 1.669 2.092 2.897
50 0.961 1.646 2.065 2.863
"""
AT_90 = """
3 4.258 5.310 7.340
4 3.187 3.957 5.437
5 2.742 3.400 4.666
6 2.494 3.091 4.242
10 2.065 2.568 3.531
20 1.765 2.208 3.052
"""


def cases(
    rows: str, coverage: tuple[float, ...], confidence: float
) -> list[tuple[int, float, float, float]]:
    return [
        (int(n), p, confidence, float(k))
        for n, *ks in map(str.split, rows.strip().splitlines())
        for p, k in zip(coverage, ks, strict=True)
    ]


@pytest.mark.parametrize(
    "n, coverage, confidence, k", cases(AT_95, COVERAGE, 0.95) + cases(AT_90, COVERAGE[1:], 0.90)
)
def test_printed_k(n, coverage, confidence, k):
    assert stats.k_factor(n, coverage, confidence) == pytest.approx(
        k, abs=1.6e-3 if n > 3 else 3.1e-3
    )


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
