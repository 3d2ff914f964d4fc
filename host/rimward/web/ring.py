"""Newest samples of the inflator, numbered without a gap, in bounded memory."""

import threading
from typing import Any

import numpy as np

# tick, reading Pa, tyre Pa (-1 unknown), air on, state number, ceiling Pa, stop Pa, target Pa
COLUMNS = ("tick", "reading_pa", "tyre_pa", "air_on", "state", "ceiling_pa", "stop_pa", "target_pa")
KEPT = 30_000  # ten minutes at 50 a second


class Ring:
    """Ring written by one thread, read by others. Sample numbers start at 0 and never repeat in one run."""

    def __init__(self, kept: int = KEPT) -> None:
        self.kept = kept
        self._rows = np.zeros((kept, len(COLUMNS)), np.int64)
        self._lock = threading.Lock()
        self.next = 0

    def add(self, rows: list[tuple[int, ...]]) -> None:
        """Append samples."""
        with self._lock:
            for row in rows:
                self._rows[self.next % self.kept] = row
                self.next += 1

    def since(self, number: int) -> tuple[int, int, list[list[int]]]:
        """Return (number of the first sample, samples already lost, rows) from `number` on; negative: the newest so many."""
        with self._lock:
            oldest = max(0, self.next - self.kept)
            wanted = self.next + number if number < 0 else min(number, self.next)
            first = max(wanted, oldest)
            gone = first - wanted if number >= 0 else 0
            at = np.arange(first, self.next) % self.kept
            return first, gone, self._rows[at].tolist()

    def last(self) -> dict[str, Any] | None:
        """Newest sample by column name."""
        with self._lock:
            if not self.next:
                return None
            return dict(zip(COLUMNS, self._rows[(self.next - 1) % self.kept].tolist()))
