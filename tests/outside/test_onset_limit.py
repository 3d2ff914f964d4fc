"""Where a leak begins, against the least error any unbiased estimator can have.

Source: Cramér-Rao bound, inverse of the Fisher information of a straight line with a bend in white Gaussian noise (statistics textbooks,
from memory). Unknown in it: level, slope, change of slope and place. It falls with the samples used; `slow` uses 1,000 before the bend
and 2,000 after it.
"""

import numpy as np
import pytest
from rimward.proof.events import find_events

BEFORE, AFTER = 1_000, 2_000
ROUNDING = 1 / 12  # variance of a position rounded to whole samples


def bound_samples(slope_of_noise: float) -> float:
    """Least standard deviation of the place, in samples, for a bend of `slope_of_noise` sigma a sample."""
    n = np.arange(-BEFORE, AFTER, dtype=float)
    by = np.column_stack([np.ones_like(n), n, np.maximum(n, 0), slope_of_noise * (n > 0)])
    return float(np.sqrt(np.linalg.inv(by.T @ by)[3, 3]))


def test_the_bound_falls_with_the_bend_and_has_its_closed_form():
    """Two lines, each known by its own samples, cross at a place of variance 4 sigma^2 (1/before + 1/after) / bend^2."""
    closed = np.sqrt(4 * (1 / BEFORE + 1 / AFTER)) / 0.1
    assert bound_samples(0.1) == pytest.approx(closed, rel=0.01) and bound_samples(
        0.2
    ) == pytest.approx(bound_samples(0.1) / 2)


@pytest.mark.parametrize("slope_of_noise", [0.03, 0.05, 0.1, 0.15])
def test_onsets_are_placed_as_well_as_the_noise_allows(slope_of_noise):
    """Root mean square over 60 traces, whose own standard error is 9 %; a quarter above the bound is allowed."""
    sigma, errors = 200.0, []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        n = np.arange(4_000)
        at = int(rng.integers(1_300, 1_700))
        true = 550_000 - slope_of_noise * sigma * np.maximum(n - at + 1, 0)
        (leak,) = find_events(n * 20, true + rng.normal(0, sigma, n.size))
        assert leak.kind == "leak_onset"
        errors.append(leak.index - at)
    allowed = (bound_samples(slope_of_noise) * 1.25) ** 2 + ROUNDING
    print(
        f"bend {slope_of_noise} sigma a sample: {np.sqrt(np.mean(np.square(errors))):.2f} samples, bound {bound_samples(slope_of_noise):.2f}"
    )
    assert np.mean(np.square(errors)) <= allowed


def test_slower_than_a_tenth_of_the_noise_no_estimator_keeps_to_two_samples():
    """Two samples are less than three standard deviations of the best possible estimate."""
    assert 3 * bound_samples(0.1) > 2 > 3 * bound_samples(0.15)
