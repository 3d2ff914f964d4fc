"""How old a shown value is: its age when it left the inflator plus the round trip of the cable. A page adds its own round trip."""

import time
from collections.abc import Callable

TICK_S = 0.002
WRAP = 1 << 32


class Ages:
    """Written by the thread that talks to the inflator, read by others.

    A status answers a request, so its tick is no older than the moment of asking; a sample's age follows from its distance to that tick, and
    is never less than the time since it came.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._status: tuple[int, str, float] | None = None  # tick, state, when it was asked for
        self._sample: tuple[str, float] | None = None  # state, when the sample was made, as far as is known

    def forget(self) -> None:
        """Another inflator, or the same one after a reset: what came before says nothing of it."""
        self._status = self._sample = None

    def status(self, tick: int, state: str, asked_s: float) -> None:
        """A status has come that was asked for at `asked_s`."""
        self._status = (tick, state, asked_s)

    def sample(self, tick: int, state: str) -> None:
        """A live sample has come."""
        made = self._clock()
        if self._status is not None:
            since = (tick - self._status[0] + WRAP // 2) % WRAP - WRAP // 2
            made = min(made, self._status[2] + since * TICK_S)
        self._sample = (state, made)

    def sample_s(self) -> float | None:
        """Age of the newest sample, seconds; None where none has come."""
        return None if self._sample is None else self._clock() - self._sample[1]

    def state_s(self) -> float | None:
        """Age of the shown state: the status's own, or a sample's that says the same state later."""
        if self._status is None:
            return None
        age = self._clock() - self._status[2]
        if self._sample is not None and self._sample[0] == self._status[1]:
            age = min(age, self._clock() - self._sample[1])
        return age
