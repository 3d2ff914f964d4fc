"""The Weibull law in closed form: what follows from its shape and scale."""

from math import exp, gamma, log, sqrt


def quantile(share: float, shape: float, scale: float = 1.0) -> float:
    """The value that `share` of the lot lies under."""
    return scale * (-log(1 - share)) ** (1 / shape)


def reliability(value: float, shape: float, scale: float = 1.0) -> float:
    """The share of the lot that lies above `value`."""
    return exp(-((value / scale) ** shape))


def mean(shape: float, scale: float = 1.0) -> float:
    return scale * gamma(1 + 1 / shape)


def variation(shape: float) -> float:
    """Standard deviation ÷ mean."""
    return sqrt(gamma(1 + 2 / shape) / gamma(1 + 1 / shape) ** 2 - 1)
