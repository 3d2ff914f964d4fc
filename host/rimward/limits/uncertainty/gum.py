"""JCGM 100 on top of the `uncertainties` library.

The library propagates every input through the arithmetic, so an input used twice is fully correlated with itself. It was chosen over GTC,
which also keeps degrees of freedom, because GTC loads scipy and would cost each command more than a second; the Welch-Satterthwaite formula
is the few lines here.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from uncertainties import correlated_values, ufloat
from uncertainties.core import Variable

from rimward.limits.uncertainty.student import INFINITE, coverage_factor

COVERAGE = 0.9545  # k = 2 where little is known from few readings

Number = Any  # a float, or one of the library's numbers with uncertainty


def rectangular(name: str, half_width: float, middle: float = 0.0) -> Number:
    """Input with a uniform distribution over `middle` +- `half_width`."""
    return normal(name, half_width / math.sqrt(3), middle)


def one_sided(name: str, largest: float) -> Number:
    """Input with a uniform distribution from 0 to `largest`; its mean is half of that."""
    return rectangular(name, largest / 2, largest / 2)


def normal(name: str, u: float, value: float = 0.0) -> Number:
    """Input with a standard uncertainty; without one a plain number."""
    return ufloat(value, u, name) if u else value


@dataclass(frozen=True)
class Combined:
    """Combined standard uncertainty with effective degrees of freedom and expanded uncertainty."""

    value: float
    u: float
    dof: float
    k: float

    @property
    def expanded(self) -> float:
        """U = k u."""
        return self.k * self.u


def combine(
    number: Number, dof: Mapping[Variable, float] | None = None, probability: float = COVERAGE
) -> Combined:
    """Return standard uncertainty, Welch-Satterthwaite degrees of freedom (unnamed inputs: infinite) and coverage factor of a result.

    Holds for independent inputs; inputs made by `correlated_means` or `fit_line` share their own degrees of freedom instead.
    """
    if not hasattr(number, "std_dev"):
        return Combined(float(number), 0.0, INFINITE, coverage_factor(probability))
    effective = effective_dof(number, dof or {})
    return Combined(
        number.nominal_value, number.std_dev, effective, coverage_factor(probability, effective)
    )


def effective_dof(number: Number, dof: Mapping[Variable, float]) -> float:
    """Effective degrees of freedom, JCGM 100 G.2b: u^4 over the sum of u_i^4 / dof_i."""
    parts = sum(
        part**4 / dof.get(variable, INFINITE)
        for variable, part in number.error_components().items()
    )
    return number.std_dev**4 / parts if parts else INFINITE


def components(number: Number) -> dict[str, float]:
    """Name of each input and its contribution to the standard uncertainty."""
    parts = number.error_components() if hasattr(number, "error_components") else {}
    return {str(variable.tag): part for variable, part in parts.items() if part}


def correlated_means(observations: Mapping[str, Sequence[float]]) -> dict[str, Number]:
    """Means of quantities observed together, with standard uncertainties and correlations from the observations (JCGM 100 5.2.3)."""
    rows = list(observations.values())
    n = len(rows[0])
    means = [sum(row) / n for row in rows]
    covariance = [
        [
            sum((x - mx) * (y - my) for x, y in zip(a, b)) / (n * (n - 1))
            for b, my in zip(rows, means)
        ]
        for a, mx in zip(rows, means)
    ]
    return dict(zip(observations, correlated_values(means, covariance)))


@dataclass(frozen=True)
class Line:
    """Line y = intercept + slope (x - origin), residual standard deviation and degrees of freedom."""

    intercept: Number
    slope: Number
    origin: float
    residual: float
    dof: int

    def at(self, x: float) -> Number:
        """Fitted value with its uncertainty."""
        return self.intercept + self.slope * (x - self.origin)


def fit_line(x: Sequence[float], y: Sequence[float], origin: float = 0.0) -> Line:
    """Least-squares line with correlated intercept and slope (JCGM 100 H.3)."""
    n, t = len(x), [value - origin for value in x]
    sum_t, sum_tt = sum(t), sum(value * value for value in t)
    determinant = n * sum_tt - sum_t**2
    if n < 3 or determinant == 0:
        raise ValueError("a line needs three points or more that differ in x")
    sum_y, sum_ty = sum(y), sum(a * b for a, b in zip(t, y))
    intercept = (sum_y * sum_tt - sum_ty * sum_t) / determinant
    slope = (n * sum_ty - sum_y * sum_t) / determinant
    variance = sum((b - intercept - slope * a) ** 2 for a, b in zip(t, y)) / (n - 2)
    covariance = [
        [variance * sum_tt / determinant, -variance * sum_t / determinant],
        [-variance * sum_t / determinant, variance * n / determinant],
    ]
    fitted = correlated_values([intercept, slope], covariance) if variance else (intercept, slope)
    return Line(fitted[0], fitted[1], origin, math.sqrt(variance), n - 2)
