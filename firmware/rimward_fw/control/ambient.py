"""The air's own pressure on its way to the guard. Main loop only.

Transducer A is sealed: without a barometer its gauge reading would be an atmosphere too high and look like a broken transducer. Then
it is read as if the air were standard, for the display; the ambient word is 0, and the guard gives no air.
"""

from rimward_protocol import causes
from rimward_protocol import kernel_slots as slots

AMBIENT = 6
FLAGS = 16
OFF_A = 18
STEP_PA = 20
STANDARD_PA = 101_325


class Ambient:
    """Belongs to one App. `begin` before the first tick, `work` ten times a second."""

    def __init__(self, app):
        self.app = app
        self._there = False

    def _words(self, pa):
        off = self.app.transducers["off_a"]
        if pa:
            return (FLAGS, slots.A_SEALED), (OFF_A, off), (AMBIENT, pa)
        return (FLAGS, 0), (OFF_A, off - STANDARD_PA), (AMBIENT, 0)

    def begin(self):
        """Puts the first words straight in: the tick does not run yet."""
        pa = self.app.ambient_pa()
        self._there = pa != 0
        for slot, value in self._words(pa):
            self.app.engine.x[slot] = value

    def again(self):
        """The words of transducer A were written by somebody else: hand them over anew."""
        self._there = None

    def work(self):
        """Hand a changed ambient pressure over; a barometer that came or went changes how A is read, but never while armed.

        A fill whose barometer has gone is ended by that name, with the last value in force: 0 would make A read an atmosphere too much,
        and the guard would name the transducers.
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
