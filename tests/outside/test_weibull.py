"""Weibull law: closed forms, median ranks, and the likelihood bounds against their own definition.

Rows for shapes 3, 5, 10, 20: closed forms of the Weibull law (textbooks), computed outside this project.
"""

import math

import numpy as np
import pytest
from rimward.proof import censored, plots, weibull
from scipy import stats as scipy_stats

# shape, strength at 2x size, at 10x, variation, mean/scale, median/scale, B10/scale, B1/scale
ROWS = [
    (
        3,
        0.7937005259840998,
        0.4641588833612779,
        0.36344650325229244,
        0.8929795115692495,
        0.8849970445005177,
        0.47230871856966294,
        0.2158043485359359,
    ),
    (
        5,
        0.8705505632961241,
        0.6309573444801932,
        0.22905293328138143,
        0.9181687423997604,
        0.9293195901316053,
        0.6375813096953713,
        0.39850714731962056,
    ),
    (
        10,
        0.9330329915368074,
        0.7943282347242815,
        0.1203102189311583,
        0.951350769866873,
        0.9640122354677897,
        0.7984868876164287,
        0.6312742251348621,
    ),
    (
        20,
        0.9659363289248456,
        0.8912509381337456,
        0.061976300201996085,
        0.9735042655627756,
        0.981841247589339,
        0.8935809351236343,
        0.7945276742410311,
    ),
]


@pytest.mark.parametrize("shape, twice, ten, variation, mean, median, b10, b1", ROWS)
def test_closed_forms(shape, twice, ten, variation, mean, median, b10, b1):
    assert weibull.variation(shape) == pytest.approx(variation, rel=1e-6)
    assert weibull.mean(shape) == pytest.approx(mean, rel=1e-6)
    assert weibull.quantile(0.5, shape) == pytest.approx(median, rel=1e-6)
    assert weibull.quantile(0.10, shape) == pytest.approx(b10, rel=1e-6)
    assert weibull.quantile(0.01, shape) == pytest.approx(b1, rel=1e-6)
    for size, ratio in (
        (2, twice),
        (10, ten),
    ):  # the weakest of `size` links: its median against one link's
        assert weibull.quantile(1 - 0.5 ** (1 / size), shape) / weibull.quantile(
            0.5, shape
        ) == pytest.approx(ratio, rel=1e-6)


MEDIAN_RANKS = {  # printed tables of median ranks (Johnson 1951 and reliability texts, from memory)
    1: (0.5000,),
    2: (0.2929, 0.7071),
    3: (0.2063, 0.5000, 0.7937),
    4: (0.1591, 0.3857, 0.6143, 0.8409),
    5: (0.1294, 0.3138, 0.5000, 0.6862, 0.8706),
    10: (0.0670, 0.1623, 0.2586, 0.3551, 0.4517, 0.5483, 0.6449, 0.7414, 0.8377, 0.9330),
}


@pytest.mark.parametrize("n", MEDIAN_RANKS)
def test_median_ranks_as_printed(n):
    ranks = plots.median_ranks(np.arange(1, n + 1), n)
    assert ranks == pytest.approx(MEDIAN_RANKS[n], abs=6e-5)
    benard = [
        (i - 0.3) / (n + 0.4) for i in range(1, n + 1)
    ]  # Benard's approximation, good to 1 % in its texts
    assert ranks == pytest.approx(benard, abs=0.01)


def test_adjusted_orders_follow_johnson():
    """Release at places 1, 3, 5 of five with stops at 2 and 4. By hand: 1; 1 + 5/4 = 2.25; then 2.25 + 3.75/2 = 4.125."""
    assert plots.adjusted_orders([True, False, True, False, True]) == pytest.approx(
        [1, 2.25, 4.125]
    )


@pytest.mark.parametrize("shape", [3, 5, 10, 20])
def test_fit_finds_the_law_of_a_large_lot(shape):
    """Release laid on the exact quantiles of the law, the upper third stopped: shape and scale come back."""
    whole = np.array([weibull.quantile((i - 0.5) / 3000, shape, 1.7) for i in range(1, 3001)])
    stop = float(np.quantile(whole, 2 / 3))
    found = censored.fit(
        "weibull", np.minimum(whole, stop).tolist(), (whole < stop).tolist(), 0.95, 0.95
    )
    assert found.parameters["shape"] == pytest.approx(shape, rel=5e-3)
    assert found.parameters["scale"] == pytest.approx(1.7, rel=1e-3)
    assert found.quantile == pytest.approx(weibull.quantile(0.05, shape, 1.7), rel=3e-3)
    assert found.bound < found.quantile


VALUES = [1.42, 1.51, 1.55, 1.60, 1.63, 1.66, 1.70, 1.70, 1.70, 1.70]
RELEASED = [True] * 6 + [False] * 4


def likelihood(name, place, spread):
    """The censored log-likelihood straight from scipy's densities, apart from the code under test."""
    law = (
        scipy_stats.norm(place, spread)
        if name == "normal"
        else scipy_stats.weibull_min(place, scale=spread)
    )
    return sum(
        law.logpdf(v) if gone else law.logsf(v) for v, gone in zip(VALUES, RELEASED, strict=True)
    )


@pytest.mark.parametrize("name", ["normal", "weibull"])
def test_profile_bound_meets_its_definition(name):
    """At the bound the best likelihood with that quantile lies z²/2 under the top; found by a brute grid over the other parameter."""
    found = censored.fit(name, VALUES, RELEASED, 0.95, 0.95)
    top = likelihood(name, *found.parameters.values())
    assert found.bound < found.quantile
    if name == "normal":
        spreads = np.linspace(0.02, 1.5, 20001)
        pairs = [(found.bound + scipy_stats.norm.ppf(0.95) * s, s) for s in spreads]
    else:
        pairs = [(m, found.bound / (-math.log(0.95)) ** (1 / m)) for m in np.linspace(1, 60, 20001)]
    grid = max(fast_likelihood(name, *pair) for pair in pairs)
    assert 2 * (top - grid) == pytest.approx(scipy_stats.norm.ppf(0.95) ** 2, abs=2e-4)


def fast_likelihood(name, place, spread):
    total = 0.0
    for value, gone in zip(VALUES, RELEASED, strict=True):
        if name == "normal":
            z = (value - place) / spread
            total += (
                -0.5 * z * z - math.log(spread * math.sqrt(2 * math.pi))
                if gone
                else math.log(0.5 * math.erfc(z / math.sqrt(2)))
            )
        else:
            t = value / spread
            total += (
                math.log(place / spread) + (place - 1) * math.log(t) - t**place
                if gone
                else -(t**place)
            )
    return total


@pytest.mark.parametrize("name", ["normal", "weibull"])
def test_fit_is_the_top_of_the_likelihood(name):
    found = censored.fit(name, VALUES, RELEASED, 0.95, 0.95)
    place, spread = found.parameters.values()
    top = likelihood(name, place, spread)
    for a in (0.995, 1, 1.005):
        for b in (0.995, 1, 1.005):
            assert likelihood(name, place * a, spread * b) <= top + 1e-9


def test_scipy_censored_fit_agrees():
    """scipy.stats.CensoredData with weibull_min, location fixed at zero."""
    data = scipy_stats.CensoredData.right_censored(VALUES, [not gone for gone in RELEASED])
    shape, _, scale = scipy_stats.weibull_min.fit(data, floc=0)
    found = censored.fit("weibull", VALUES, RELEASED, 0.95, 0.95)
    assert found.parameters["shape"] == pytest.approx(shape, rel=1e-3)
    assert found.parameters["scale"] == pytest.approx(scale, rel=1e-4)


def test_two_distinct_releases_are_needed():
    with pytest.raises(ValueError):
        censored.fit("weibull", [1.5, 1.5, 1.7], [True, True, False], 0.95, 0.95)


@pytest.mark.parametrize("n, stop, least", [(10, 1.75, 0.85), (30, 1.75, 0.88)])
def test_real_confidence_of_the_profile_bound(n, stop, least):
    """How often the bound really lies under the true 5 % point, over simulated lots: near 0.95, short of it when few."""
    rng, true = np.random.default_rng(7), weibull.quantile(0.05, 12, 1.8)
    held = tried = 0
    while tried < 80:
        whole = 1.8 * rng.weibull(12, n)
        gone = whole < stop
        if len(set(whole[gone])) >= 2:
            tried += 1
            held += (
                censored.fit(
                    "weibull", np.minimum(whole, stop).tolist(), gone.tolist(), 0.95, 0.95
                ).bound
                or 0
            ) <= true
    assert least <= held / tried <= 1
