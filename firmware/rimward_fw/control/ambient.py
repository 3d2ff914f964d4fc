"""Ambient pressure for the guard. Main loop only.

Transducer A is sealed: without a barometer its gauge reading would be one atmosphere too high and look like a broken transducer. Then it is
read as if the air were standard, for the display only; the ambient word is 0, and the guard releases no air.
"""

from rimward_protocol import causes
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from rimward_fw.shapes import App


AMBIENT = 6
FLAGS = 16
OFF_A = 18
STEP_PA = 20
STANDARD_PA = 101_325


class Ambient:
    """Ambient pressure of one App. `begin` before the first tick, `work` ten times a second."""

    def __init__(self, app: "App") -> None:
        self.app = app
        self._there: bool | None = False

    def _words(self, pa: int) -> tuple[tuple[int, int], tuple[int, int], tuple[int, int]]:
        off = self.app.transducers["off_a"]
        if pa:
            return (FLAGS, slots.A_SEALED), (OFF_A, off), (AMBIENT, pa)
        return (FLAGS, 0), (OFF_A, off - STANDARD_PA), (AMBIENT, 0)

    def begin(self) -> None:
        """Write the first words directly: the tick does not run yet."""
        pa = self.app.ambient_pa()
        self._there = pa != 0
        for slot, value in self._words(pa):
            self.app.engine.x[slot] = value

    def again(self) -> None:
        """Hand the words of transducer A over again after another module has written them."""
        self._there = None

    def work(self) -> None:
        """Hand a changed ambient pressure over. A barometer that appears or fails changes how A is read, but never while armed.

        A fill whose barometer fails ends with that cause, the last value still in force: 0 would make A read one atmosphere too high,
        and the guard would report the transducers.
        """
        pa = self.app.ambient_pa()
        cycle = self.app.cycle
        if pa == 0 and cycle.armed():
            cycle.end(causes.BAROMETER)
        elif (pa != 0) != self._there:
            if not cycle.armed() and not cycle.queue:
                self._there = pa != 0
                cycle.queue += list(self._words(pa))
        elif abs(pa - self.app.engine.x[AMBIENT]) >= STEP_PA and (cycle.armed() or not cycle.queue):
            self.app.engine.offer(AMBIENT, pa)
