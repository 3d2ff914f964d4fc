"""What the inflator knows of a wheel from fill to fill: its loss a day, and the closing pressure of its valve core. Main loop only.

Pressures are absolute, brought to 20 °C by the gas law, so that a cold morning or the weather is no loss. Both fills need a clock; air that the
person says was added by hand, a flat tyre and a tyre found higher than it was left give no figure. The host works out the same from its records,
with their uncertainty; here twice the standard uncertainty of one interval is a constant for each kind of chuck. `left` keeps the figures.
"""

from rimward_protocol import causes, codes
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw import rooms
from rimward_fw.control import left

if TYPE_CHECKING:
    from typing import Any

    from rimward_fw.control.cycle import FillCycle
    from rimward_fw.shapes import App


REFERENCE_CK = 29_315
DAY_S = 86_400
LEAST_S, MOST_S = DAY_S // 2, 120 * DAY_S
EMPTY_PA = 36_000  # first reading at rest under which the kernel learns the spring, as in kernels/fill_search.py
FLAT_PA = 30_000  # gauge: below, the tyre may have been taken off
COUNT_MAX = 16  # intervals in the mean; then older ones count half
# Pa, by chuck: twice the standard uncertainty of one interval, instrument and temperature included. The spring that is assumed of a closed core
# is in both pressures and falls out: over 14 simulated visits left less found erred by -0.4 kPa (standard deviation 2.0) with a pin-open chuck,
# by -2.4 kPa (4.2) with a pressure-open one.
SPREAD_PA = {codes.CHUCK_PIN_OPEN: 9_000, codes.CHUCK_PRESSURE_OPEN: 18_000}


def at_reference(pa: int, ambient_pa: int, ck: int) -> int:
    """Absolute pressure at 20 °C of what reads `pa` (gauge)."""
    return (pa + ambient_pa) * REFERENCE_CK // ck


def grew(rate: int, spread: int, left_pa: int, before: tuple[int, int, int]) -> bool:
    """Return True where a loss is to be named as a slow leak. `rate`, `spread`: Pa a day; `before`: (sum, seconds, intervals) of earlier ones."""
    total, seconds, count = before
    if (
        rate - spread > left_pa * 12 // 100
    ):  # a thin latex tube loses up to a tenth a day, common practice
        return True
    if count < 2:
        return False
    earlier, uncertain = total * DAY_S // seconds, spread_day(spread * count, 1, seconds)
    return rate * 2 > 3 * max(earlier, 0) and rate - earlier > spread + uncertain


def spread_day(spread: int, days: int, seconds: int) -> int:
    """Pa a day out of Pa over `seconds`."""
    return spread * days * DAY_S // seconds


class Losses:
    """Of the wheel on the hose. `rate` is None where no loss is known."""

    def __init__(self, app: "App") -> None:
        self.app = app
        self._pending: "Any" = None
        self._held: "Any" = None
        self._learnt = -1  # Pa, spring that this fill taught; 0 none, -1 until its tyre is seen
        self.spring = 0  # Pa, closing pressure of the core; 0 unknown
        self.clear()

    def clear(self) -> None:
        """Forget the last wheel's figures."""
        self.rate: "Any" = None  # Pa a day at 20 °C
        self.spread = 0  # Pa a day
        self.slow_leak = False
        self._mean = (0, 0, 0)

    def begin(self, cycle: "FillCycle") -> None:
        """Read, before a fill of this wheel, what it was left at."""
        self._keep()
        self._held = left.row_of(self.app.store, cycle.wheel, cycle.values)
        self.spring = self._held[5]
        self._learnt = -1
        if self.rate is None:
            self._mean = self._held[2:5]

    def seen(self, cycle: "FillCycle") -> None:
        """Note a spring that the kernel learnt; work out the loss, the first time in a fill that the tyre is seen."""
        f = self.app.engine.f
        seen = self._learnt >= 0
        self._learnt = f[slots.F_SPRING] if f[slots.F_START] + f[slots.F_SPRING] < EMPTY_PA else 0
        if seen:
            return
        now, app, chuck = self.app.clock.unix_s(), self.app, cycle.values["chuck"]
        if (
            not self._held[0]
            or not now
            or cycle.added
            or cycle.seating
            or cycle.tyre_pa < FLAT_PA
            or not LEAST_S <= now - self._held[0] <= MOST_S
        ):
            return
        seconds = now - self._held[0]
        pa = cycle.tyre_pa
        if chuck == codes.CHUCK_PIN_OPEN:  # it has filled the hose already
            pa += pa * app.hardware["manifold_ml"] // cycle.values["volume_ml"]
        lost = self._held[1] - at_reference(pa, app.ambient_pa(), cycle.t0_ck)
        if lost < -SPREAD_PA[chuck]:
            return  # air was added
        self.rate, self.spread = (
            spread_day(lost, 1, seconds),
            spread_day(SPREAD_PA[chuck], 1, seconds),
        )
        before = self._mean
        self.slow_leak = grew(self.rate, self.spread, self._held[1] - app.ambient_pa(), before)
        if before[2] >= COUNT_MAX:
            before = (before[0] // 2, before[1] // 2, before[2] // 2)
        self._mean = (before[0] + lost, before[1] + seconds, before[2] + 1)

    def end(self, cycle: "FillCycle", cause: int) -> None:
        """Keep what the tyre was left at and its core's spring as a fill ends; forget what is not known."""
        now, app = self.app.clock.unix_s(), self.app
        if app.BENCH or not any(cycle.wheel) or self._learnt < 0 and not cycle.ran:
            return  # nothing was done to a wheel that is known
        row = (0, 0, 0, 0, 0)
        at_rest = (
            cause in (causes.TARGET_REACHED, causes.ABOVE_TARGET)
            and not cycle.measuring
            and not cycle.seating
        )
        if at_rest and self._learnt >= 0:
            if now:
                row = (
                    now,
                    at_reference(app.engine.f[slots.F_COLD], app.ambient_pa(), cycle.t0_ck),
                ) + self._mean
            if cause == causes.TARGET_REACHED:
                self.spring = self._learnt or self.spring
        self._pending = (cycle.wheel, row + (self.spring, self._held[6]))

    def work(self) -> bool:
        """Keep it once nothing moves. Return True if that took its time."""
        if not self._pending or self.app.store.locked():
            return False
        if rooms.ready(rooms.LEFT):
            self._keep()
        return True

    def _keep(self) -> None:
        if self._pending:
            left.keep(self.app.store, *self._pending)
            self._pending = None
