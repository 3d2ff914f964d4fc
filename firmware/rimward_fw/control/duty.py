"""Duty of the compressor: running time and cooling. Our assumption: five minutes of running, cooling at half that rate."""

LIMIT_MS = 300_000
COOL_SHARE = 2  # ms of rest that compensate one ms of running
LEAST_S = 20  # with less left no fill starts


class Duty:
    """Duty counter: running increases it, rest decreases it. Main loop only."""

    def __init__(self) -> None:
        self.ran_ms = 0
        self._at: int | None = None

    def work(self, running: bool, now_ms: int) -> None:
        """Count the time since the last call as running or resting."""
        passed = 0 if self._at is None else now_ms - self._at
        self._at = now_ms
        if running:
            self.ran_ms = min(self.ran_ms + passed, LIMIT_MS)
        else:
            self.ran_ms = max(self.ran_ms - (passed + COOL_SHARE - 1) // COOL_SHARE, 0)

    def left_s(self) -> int:
        """Seconds it may still run."""
        return (LIMIT_MS - self.ran_ms) // 1000

    def wait_s(self) -> int:
        """Seconds of rest until a fill may start; 0 if it may."""
        return max(0, (LEAST_S - self.left_s()) * COOL_SHARE)
