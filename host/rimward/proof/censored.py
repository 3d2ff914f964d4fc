"""Lower tolerance bounds of lots with tests stopped before release: maximum likelihood with profile-likelihood bounds.

A stopped test shows only that its release lies above the stop. A spread needs at least two distinct releases. The profile bound is an
approximation, too high or too low for small samples: `tests/outside` measures the error.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize, stats

LOG_SPREAD = (-12.0, 6.0)
STEPS_MAX = 80


@dataclass(frozen=True)
class Fit:
    """`quantile`: maximum-likelihood value exceeded by the requested share of the lot, `bound`: its lower confidence bound."""

    parameters: dict[str, float]
    quantile: float
    bound: float | None
    log_likelihood: float


@dataclass(frozen=True)
class Family:
    """Location-scale law on a possibly transformed axis: the smallest-extreme-value law of log x is the Weibull law of x."""

    axis: Callable[[np.ndarray], np.ndarray]
    back: Callable[[float], float]
    law: stats.rv_continuous
    report: Callable[[float, float], dict[str, float]]


FAMILIES = {
    "weibull": Family(
        np.log,
        math.exp,
        stats.gumbel_l,
        lambda place, spread: {"shape": 1 / spread, "scale": math.exp(place)},
    ),
    "normal": Family(
        np.asarray, float, stats.norm, lambda place, spread: {"mean": place, "sd": spread}
    ),
}


def distinct_releases(values: Sequence[float], released: Sequence[bool]) -> int:
    """Return the number of distinct release values."""
    return len({value for value, gone in zip(values, released, strict=True) if gone})


def fit(
    name: str, values: Sequence[float], released: Sequence[bool], coverage: float, confidence: float
) -> Fit:
    """Fit `weibull` or `normal` to releases and stops. ValueError with fewer than two distinct releases."""
    if distinct_releases(values, released) < 2:
        raise ValueError("two distinct releases are needed")
    family = FAMILIES[name]
    axis, gone = family.axis(np.asarray(values, dtype=float)), np.asarray(released, dtype=bool)
    place, spread = _most_likely(family.law, axis, gone)
    deviate = float(family.law.ppf(1 - coverage))
    quantile, top = place + deviate * spread, _log_likelihood(family.law, axis, gone, place, spread)
    bound = _profile_bound(
        lambda at: _profile(family.law, axis, gone, deviate, at, spread),
        quantile,
        spread,
        top,
        float(stats.norm.ppf(confidence)),
    )
    return Fit(
        family.report(place, spread),
        family.back(quantile),
        None if bound is None else family.back(bound),
        top,
    )


def _most_likely(
    law: stats.rv_continuous, axis: np.ndarray, gone: np.ndarray
) -> tuple[float, float]:
    """SciPy's censored fit, then refined: its simplex stops early when one spread is far from the other scale."""
    centre, width = float(np.median(axis)), float(np.ptp(axis)) or 1.0
    data = stats.CensoredData.right_censored((axis - centre) / width, ~gone)
    start_place, start_spread = law.fit(data, loc=0.0, scale=0.3)

    def cost(at: np.ndarray) -> float:
        return -_log_likelihood(law, axis, gone, centre + width * at[0], width * math.exp(at[1]))

    begin = np.array([start_place, math.log(max(start_spread, 1e-9))])
    best = optimize.minimize(
        cost, begin, method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 4000}
    )
    return centre + width * float(best.x[0]), width * math.exp(float(best.x[1]))


def _log_likelihood(
    law: stats.rv_continuous, axis: np.ndarray, gone: np.ndarray, place: float, spread: float
) -> float:
    deviates = (axis - place) / spread
    if law is stats.norm:
        seen, over = (
            -0.5 * deviates**2 - 0.5 * math.log(2 * math.pi),
            stats.norm.logsf(deviates[~gone]),
        )
    else:
        growth = np.exp(np.minimum(deviates, 700.0))
        seen, over = deviates - growth, -growth[~gone]
    return float(np.sum(seen[gone]) - np.count_nonzero(gone) * math.log(spread) + np.sum(over))


def _profile(
    law: stats.rv_continuous,
    axis: np.ndarray,
    gone: np.ndarray,
    deviate: float,
    quantile: float,
    spread: float,
) -> float:
    """Highest log-likelihood with the quantile held, over the spread."""
    found = optimize.minimize_scalar(
        lambda log_spread: (
            -_log_likelihood(
                law, axis, gone, quantile - deviate * math.exp(log_spread), math.exp(log_spread)
            )
        ),
        bounds=(math.log(spread) + LOG_SPREAD[0], math.log(spread) + LOG_SPREAD[1]),
        method="bounded",
        options={"xatol": 1e-9},
    )
    return -float(found.fun)


def _profile_bound(
    profile: Callable[[float], float], quantile: float, spread: float, top: float, z: float
) -> float | None:
    """Lower point where the signed root of the likelihood ratio reaches z; None when it never does within reach."""

    def excess(at: float) -> float:
        return math.sqrt(max(0.0, 2 * (top - profile(at)))) - z

    if z <= 0 or excess(quantile) >= 0:
        return quantile  # as likely above as below: the estimate itself
    step, low = spread, quantile
    for _ in range(STEPS_MAX):
        low -= step
        if excess(low) > 0:
            return float(
                optimize.brentq(
                    excess, low, quantile, xtol=1e-12 * max(1.0, abs(quantile)), rtol=1e-12
                )
            )
        step *= 1.5
    return None
