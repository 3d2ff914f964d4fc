"""Exact lower tolerance bound of a complete Weibull lot, conditional on the relative positions of its values.

Lawless, "Construction of tolerance bounds for the extreme-value and Weibull distributions", Technometrics 17 (1975), from memory. The
logarithm of a Weibull value follows a smallest-extreme-value law of place u and spread b. Given the standardised residuals a of any
equivariant estimates U and B, the distribution of (U - x_p) / B is a one-dimensional integral, so that the stated confidence is the true one
for every lot size. `tests/trust/COVERAGE.md` shows it by simulation.
"""

import math
from collections.abc import Sequence

import numpy as np
from scipy import optimize, special

POINTS = 300
REACH = 45.0  # natural logarithms below the peak at which the density is cut off


def weibull_bound(values: Sequence[float], coverage: float, confidence: float) -> float:
    """Return the value that `coverage` of the lot exceeds with `confidence`. At least two different positive values."""
    logs = np.log(np.asarray(values, dtype=float))
    place, spread = float(np.max(logs)), float(np.std(logs))
    if logs.size < 2 or spread == 0:
        raise ValueError("two different values are needed")
    residuals = (logs - place) / spread
    z, weight = _spread_density(residuals)
    sums = special.logsumexp(np.outer(z, residuals), axis=1)
    deviate = math.log(-math.log(coverage))

    def chance(t: float) -> float:
        """Probability that (U - x_p) / B is at most t."""
        return float(
            weight @ special.gammainc(logs.size, np.exp(np.minimum(deviate + t * z + sums, 700.0)))
        )

    low, high = -1.0, 1.0
    while chance(low) > confidence:
        low *= 2
    while chance(high) < confidence:
        high *= 2
    return math.exp(
        place
        - float(optimize.brentq(lambda t: chance(t) - confidence, low, high, xtol=1e-12)) * spread
    )


def _spread_density(residuals: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points z = B / b and their probabilities given the residuals."""
    n, total = residuals.size, float(np.sum(residuals))

    def log_density(z: np.ndarray) -> np.ndarray:
        return np.asarray(
            (n - 2) * np.log(z) + z * total - n * special.logsumexp(np.outer(z, residuals), axis=1)
        )

    coarse = np.geomspace(1e-6, 1e4, POINTS)
    at = log_density(coarse) + np.log(coarse)  # by the logarithm of z
    near = np.flatnonzero(at > np.max(at) - REACH)
    z = np.geomspace(coarse[max(0, near[0] - 1)], coarse[min(POINTS - 1, near[-1] + 1)], POINTS)
    row = log_density(z) + np.log(z)
    weight = np.exp(row - np.max(row))
    weight[[0, -1]] /= 2
    return z, weight / np.sum(weight)
