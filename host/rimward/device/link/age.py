"""Age of a sample: its age when it left the inflator plus the transmission time, measured in the same stream, behind the data.

Each answer to STATUS names the inflator's tick. That tick is later than the request, so the computed time of a sample is never too late:
delays of a slow line, a queue or a constant offset are included, and ages are never shown too small.
"""

from collections import deque

from rimward_protocol import codes

TICK_S = codes.TICK_US / 1e6
OLD_S = 1.0  # above this a value is marked old, with state and instruction
KEPT = 20  # exchanges; over them two crystals drift apart by far less than a tick
WRAP = 1 << 30


class SampleClock:
    """Clock for ages: feed it with exchanges, ask it for ages. Times are those of one monotonic clock, seconds."""

    def __init__(self) -> None:
        self._bounds: deque[float] = deque(maxlen=KEPT)
        self._tick = -1

    def answered(self, asked_s: float, tick: int) -> None:
        """Note that a request of `asked_s` was answered with this tick. A lower tick means that the inflator has restarted."""
        if self._tick >= 0 and (tick - self._tick) % WRAP > WRAP // 2:
            self._bounds.clear()
        elif self._tick > tick:  # its counter has wrapped
            self._bounds = deque((bound + WRAP * TICK_S for bound in self._bounds), maxlen=KEPT)
        self._tick = tick
        self._bounds.append(asked_s - tick * TICK_S)

    def age_s(self, tick: int, now_s: float) -> float | None:
        """Age of the sample of this tick at `now_s`, or None before the first exchange."""
        if not self._bounds:
            return None
        return float(max(0.0, now_s - max(self._bounds) - tick * TICK_S))


def is_old(age_s: float | None) -> bool:
    """Return True if a value of this age is to be marked old, also for an unknown age."""
    return age_s is None or age_s > OLD_S


def age_text(age_s: float | None) -> str:
    """Format an age, or state that it is unknown."""
    return "age unknown" if age_s is None else f"{age_s:.1f} s old"
