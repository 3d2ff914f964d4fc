"""Statistics of complete samples: one-sided tolerance bounds, ranks, pass counts.

`coverage`: share of the lot above a lower bound, `confidence`: confidence of the bound; both between 0 and 1.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from statistics import fmean, stdev

from scipy import stats

# Tolerance of one part in 10^12, so that a count on the very edge is not lost to the last bit of a power.
EDGE = 1 + 1e-12


@lru_cache(maxsize=4096)
def k_factor(n: int, coverage: float, confidence: float) -> float:
    """One-sided tolerance factor of a normal lot, exact by the noncentral t; n of two or more."""
    root_n = math.sqrt(n)
    return float(stats.nct.ppf(confidence, n - 1, stats.norm.ppf(coverage) * root_n) / root_n)


def normal_bound(values: Sequence[float], coverage: float, confidence: float) -> float:
    """Lower tolerance bound of a normal lot, mean − k·s. Valid only when every sample was tested to its end."""
    return fmean(values) - k_factor(len(values), coverage, confidence) * stdev(values)


def rank_order(n: int, coverage: float, confidence: float) -> int:
    """Largest r with BinomCDF(r − 1; n, 1 − coverage) ≤ 1 − confidence: the r-th smallest is a bound. 0 when there is none."""
    doubt = (1 - confidence) * EDGE
    order = int(stats.binom.ppf(doubt, n, 1 - coverage)) + 2
    while order > 0 and stats.binom.cdf(order - 1, n, 1 - coverage) > doubt:
        order -= 1
    return min(order, n)


def n_needed(coverage: float, confidence: float) -> int:
    """Fewest samples whose smallest is a bound (59 at 95/95)."""
    n = max(1, math.ceil(math.log(1 - confidence) / math.log(coverage)) - 1)
    while coverage**n > (1 - confidence) * EDGE:
        n += 1
    return n


def achieved_confidence(n: int, coverage: float) -> float:
    """Confidence that the smallest of n lies below the requested share of the lot."""
    return 1 - coverage**n


def achieved_coverage(n: int, confidence: float) -> float:
    """Share of the lot that the smallest of n bounds at the requested confidence."""
    return (1 - confidence) ** (1 / n) if n else 0.0


def pass_rate_lower(passed: int, n: int, confidence: float) -> float:
    """Clopper-Pearson one-sided lower bound of a pass rate."""
    return float(stats.beta.ppf(1 - confidence, passed, n - passed + 1)) if passed else 0.0


def pass_rate_upper(passed: int, n: int, confidence: float) -> float:
    """Clopper-Pearson one-sided upper bound of a pass rate."""
    return float(stats.beta.ppf(confidence, passed + 1, n - passed)) if passed < n else 1.0


def n_for_normal_claim(
    mean: float, s: float, claim: float, coverage: float, confidence: float, n_max: int = 100_000
) -> int | None:
    """Fewest samples with this mean and spread whose normal bound reaches `claim`; None when no number suffices."""
    if s <= 0 or mean - stats.norm.ppf(coverage) * s <= claim:
        return None
    wanted_k = (mean - claim) / s
    low, high = 2, 4
    while k_factor(high, coverage, confidence) > wanted_k:
        low, high = high, high * 2
        if low > n_max:
            return None
    while low < high:
        middle = (low + high) // 2
        low, high = (
            (low, middle)
            if k_factor(middle, coverage, confidence) <= wanted_k
            else (middle + 1, high)
        )
    return low
