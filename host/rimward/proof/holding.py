"""Duration of a held pressure in the presence of noise: one low sample is no break, a real dip is."""

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from rimward.proof.events import noise_pa

SMOOTH_S = 1.0
MEDIAN = 5
SIGMA = 3.0  # of an average: a level held exactly reads below itself half the time
ALLOWED_SHARE = 0.001  # at most, of the level


@dataclass(frozen=True)
class Hold:
    """Longest unbroken time at or above a level, and the least one-second average in it (gauge pascals)."""

    seconds: float
    least_pa: float


def longest(t_ms: np.ndarray, a_pa: np.ndarray, b_pa: np.ndarray, floor_pa: float) -> Hold:
    """Longest hold at `floor_pa` by the lower of two transducers, each averaged over a second; the ends are located by single samples."""
    lower = np.minimum(a_pa, b_pa)
    if lower.size < MEDIAN:
        return Hold(0.0, 0.0)
    near = np.median(sliding_window_view(np.pad(lower, MEDIAN // 2, mode="edge"), MEDIAN), axis=1)
    window = max(1, round(SMOOTH_S * 1000 / float(np.median(np.diff(t_ms)))))
    level = np.minimum(_averaged(a_pa, window), _averaged(b_pa, window))
    allowed = min(SIGMA * noise_pa(lower) / window**0.5, ALLOWED_SHARE * floor_pa)
    spans = _runs((near >= floor_pa) | (level >= floor_pa - allowed))
    seconds, start, stop = max(
        ((float(t_ms[stop - 1] - t_ms[start]) / 1000, start, stop) for start, stop in spans),
        default=(0.0, 0, 0),
    )
    inner = level[start + window : stop - window]
    return Hold(
        seconds, float(np.min(inner if inner.size else near[start:stop])) if stop > start else 0.0
    )


def _averaged(pa: np.ndarray, window: int) -> np.ndarray:
    """Average over `window` samples around each."""
    before = window // 2
    whole = np.cumsum(
        np.concatenate(([0.0], np.pad(pa, (before, window - 1 - before), mode="edge")))
    )
    return np.asarray((whole[window:] - whole[:-window]) / window)


def _runs(true: np.ndarray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], true, [False])).astype(np.int8)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
