"""Student's t distribution without a statistics package, for a fast command line."""

import math
from statistics import NormalDist

INFINITE = math.inf
_STEPS = 300
_MANY = 1e5  # from here on the continued fraction loses digits and the transformed normal law is good to 1e-7 up to t = 5


def tail(t: float, dof: float) -> float:
    """One-sided tail probability P(T > t) for `dof` degrees of freedom (infinite: normal).

    From 1e5 degrees of freedom on, the normal law of a transformed t (Abramowitz and Stegun 26.7.8).
    """
    if dof >= _MANY:
        z = t if math.isinf(dof) else t * (1 - 1 / (4 * dof)) / math.sqrt(1 + t * t / (2 * dof))
        return 0.5 * math.erfc(z / math.sqrt(2))
    half = 0.5 * _beta_ratio(dof / 2, 0.5, dof / (dof + t * t))
    return half if t >= 0 else 1 - half


def coverage_factor(probability: float, dof: float = INFINITE) -> float:
    """Two-sided factor k with P(|T| <= k) = probability."""
    if not 0 < probability < 1 or dof <= 0:
        raise ValueError("probability must be between 0 and 1 and the degrees of freedom above 0")
    if math.isinf(dof):
        return NormalDist().inv_cdf((1 + probability) / 2)
    wanted, low, high = (1 - probability) / 2, 0.0, 1.0
    while tail(high, dof) > wanted:
        low, high = high, high * 2
    for _ in range(100):
        middle = (low + high) / 2
        low, high = (middle, high) if tail(middle, dof) > wanted else (low, middle)
    return (low + high) / 2


def _beta_ratio(a: float, b: float, x: float) -> float:
    """Regularised incomplete beta function by its continued fraction."""
    if x <= 0:
        return 0.0
    if x > (a + 1) / (a + b + 2):
        return 1 - _beta_ratio(b, a, 1 - x)
    front = (
        math.exp(
            math.lgamma(a + b)
            - math.lgamma(a)
            - math.lgamma(b)
            + a * math.log(x)
            + b * math.log1p(-x)
        )
        / a
    )
    return front * _fraction(a, b, x)


def _fraction(a: float, b: float, x: float) -> float:
    """Lentz's method for the continued fraction of the incomplete beta function."""
    c, d = 1.0, 1 / (1 - (a + b) * x / (a + 1))
    result = d
    for m in range(1, _STEPS):
        for term in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d, c = 1 / (1 + term * d), 1 + term / c
            result *= d * c
        if abs(d * c - 1) < 1e-15:
            break
    return result
