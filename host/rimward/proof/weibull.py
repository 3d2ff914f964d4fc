"""Weibull law in closed form: quantities from its shape and scale."""

from math import exp, gamma, log, sqrt


def quantile(share: float, shape: float, scale: float = 1.0) -> float:
    """Value below which `share` of the lot lies."""
    return float(scale * (-log(1 - share)) ** (1 / shape))


def reliability(value: float, shape: float, scale: float = 1.0) -> float:
    """Share of the lot above `value`."""
    return exp(-((value / scale) ** shape))


def mean(shape: float, scale: float = 1.0) -> float:
    """Mean of the law."""
    return scale * gamma(1 + 1 / shape)


def variation(shape: float) -> float:
    """Return the standard deviation ÷ mean."""
    return sqrt(gamma(1 + 2 / shape) / gamma(1 + 1 / shape) ** 2 - 1)
