"""Age of a shown value: its age when it left the inflator plus the cable's round trip. A page adds its own round trip."""

import time
from collections.abc import Callable

TICK_S = 0.002
WRAP = 1 << 32


class Ages:
    """Ages, written by the thread that talks to the inflator, read by others.

    A status answers a request, so its tick is no older than the moment of asking; a sample's age follows from its distance to that tick, and
    is never less than the time since it came.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._status: tuple[int, str, float] | None = None  # tick, state, time of the request
        self._sample: tuple[str, float] | None = None  # state, time of the sample, as far as known

    def forget(self) -> None:
        """Clear after a change of inflator or a reset: earlier values do not apply."""
        self._status = self._sample = None

    def status(self, tick: int, state: str, asked_s: float) -> None:
        """Note a status that was requested at `asked_s`."""
        self._status = (tick, state, asked_s)

    def sample(self, tick: int, state: str) -> None:
        """Note a live sample."""
        made = self._clock()
        if self._status is not None:
            since = (tick - self._status[0] + WRAP // 2) % WRAP - WRAP // 2
            made = min(made, self._status[2] + since * TICK_S)
        self._sample = (state, made)

    def sample_s(self) -> float | None:
        """Age of the newest sample, seconds; None without one."""
        return None if self._sample is None else self._clock() - self._sample[1]

    def state_s(self) -> float | None:
        """Age of the shown state: the status's own, or that of a later sample with the same state."""
        if self._status is None:
            return None
        age = self._clock() - self._status[2]
        if self._sample is not None and self._sample[0] == self._status[1]:
            age = min(age, self._clock() - self._sample[1])
        return age
