"""Uncommanded pressure loss of a specimen: sudden, slow, or hidden by pumping.

A release need not be sudden. Pressure that is gone when the vent is commanded open, or when the trace ends, and was never
regained, is lost. A
controller that holds the level hides a leak: it shows in the air that went in.
"""

from dataclasses import dataclass

import numpy as np

from rimward.proof.events import highest_pa

LEAST_PA = 10_000  # below this there is nothing to lose
SMOOTH = 5
END_SAMPLES = 3
MOST = 0.5
MUCH = 0.25
CONTENT = 0.3  # share of the content, pumped in again: a sound specimen on the virtual bench takes less than 0.1
LEAST_ON = 25  # samples with the air on whose rise calibrates the count of the others


@dataclass(frozen=True)
class Loss:
    """`share` of `top_pa` lost, not commanded and not regained; `top_pa`: highest before it; `made_up`: contents pumped in again."""

    share: float
    top_pa: float
    made_up: float

    @property
    def released(self) -> bool:
        """True for a loss of most of the pressure: as good as off the rim, however slow."""
        return self.share > MOST

    @property
    def doubtful(self) -> bool:
        """True for a loss too large for a specimen claimed to have held."""
        return self.share > MUCH or self.made_up > CONTENT


def loss(pressure_pa: np.ndarray, venting: np.ndarray, air_on: np.ndarray) -> Loss:
    """Largest loss of a trace (gauge pascals, evenly sampled; where the vent was open, where the air was on)."""
    share, top_pa = max(
        (_stretch(pressure_pa[start:stop]) for start, stop in _shut(venting)), default=(0.0, 0.0)
    )
    return Loss(share, top_pa, _made_up(pressure_pa, venting, air_on))


def _shut(venting: np.ndarray) -> list[tuple[int, int]]:
    """Stretches with the vent closed."""
    edges = np.flatnonzero(np.diff(np.concatenate(([True], venting, [True])).astype(np.int8)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _stretch(pressure_pa: np.ndarray) -> tuple[float, float]:
    """Return (share lost at its end, highest pressure) of one stretch."""
    top_pa = highest_pa(pressure_pa)
    if pressure_pa.size < SMOOTH or top_pa < LEAST_PA:
        return 0.0, top_pa
    return max(0.0, 1 - float(np.median(pressure_pa[-END_SAMPLES:])) / top_pa), top_pa


def _made_up(pressure_pa: np.ndarray, venting: np.ndarray, air_on: np.ndarray) -> float:
    """Contents pumped in beyond the content at the highest pressure: the first half of the rise gives the amount for a second of air."""
    on = np.cumsum(air_on & ~venting)
    top = int(np.argmax(pressure_pa))
    half = int(np.argmax(pressure_pa >= pressure_pa[top] / 2))
    rise_pa = float(pressure_pa[half] - pressure_pa[0])
    if on[half] < LEAST_ON or rise_pa < LEAST_PA:
        return 0.0
    return max(0.0, float(on[-1]) * rise_pa / float(on[half]) / float(pressure_pa[top]) - 1)
