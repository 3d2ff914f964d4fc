"""What takes a turn of the main loop of its own: the tenth-of-a-second tasks, collections, counts of the heap."""

import gc

from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.storage.blocks import heap_free

if TYPE_CHECKING:
    from rimward_fw.shapes import App

AGAIN_TICKS, SLOW_TICKS, COLLECT_TICKS = 5, 50, 150
COUNT_EVERY = 8  # collections: a count takes the chip 13 ms
# What work leaves on the heap, bytes, counted on the emulated board. A collection in time keeps the interpreter from collecting in the middle of
# another turn, where it takes 40 ms more.
PIECE_BYTES, ASKED_BYTES, SCREEN_BYTES, COLLECT_BYTES = 2400, 4000, 12_000, 12_000


class Chores:
    """Chores of one App. `left` adds what a turn left on the heap."""

    def __init__(self, app: "App") -> None:
        self.app = app
        self._next_slow = self._collected = self._used = 0
        self._uncounted = 0  # collections since the last count

    def left(self, count: int) -> None:
        """Add bytes that are free only after a collection."""
        self._used += count

    def work(self, head: int) -> bool:
        """Do the chore that is due. Return False if none is. `head`: number of ticks done."""
        slow = head >= self._next_slow or self._next_slow - head > SLOW_TICKS
        full = self._used >= COLLECT_BYTES
        late = not 0 <= head - self._collected < COLLECT_TICKS
        if self.app.heap_free and (full or (late and not slow)):  # 0: the interpreter counts none
            self._collected, self._used = head, 0
            gc.collect()
            self._uncounted += 1
        elif slow:
            more = self.app.slow()
            self._next_slow = head + (AGAIN_TICKS if more else SLOW_TICKS)
            self.left(SCREEN_BYTES if more else 0)
        elif self._uncounted >= COUNT_EVERY:
            self._uncounted = 0
            self.app.heap_free = heap_free()
        else:
            return False
        return True
