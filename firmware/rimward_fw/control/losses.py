"""Loss between fills as the inflator knows it alone: what a wheel was left at, what it is found at, the loss a day. Main loop only.

Pressures are absolute, brought to 20 °C by the gas law, so that a cold morning or the weather is no loss. Both fills need a clock; air that the
person says was added by hand, a flat tyre and a tyre found higher than it was left give no figure. The host works out the same from its records,
with their uncertainty; here twice the standard uncertainty of one interval is a constant for each kind of chuck.
"""

import struct

from rimward_protocol import causes, codes
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from typing import Any

    from rimward_fw.control.cycle import FillCycle
    from rimward_fw.shapes import App


KEPT = 24  # wheels
REFERENCE_CK = 29_315
DAY_S = 86_400
LEAST_S, MOST_S = DAY_S // 2, 120 * DAY_S
FLAT_PA = 30_000  # gauge: below, the tyre may have been taken off
COUNT_MAX = 16  # intervals in the mean; then older ones count half
# Pa, by chuck: twice the standard uncertainty of one interval, instrument and temperature included. The spring that is assumed of a closed core
# is in both pressures and falls out: over 14 simulated visits left less found erred by -0.4 kPa (standard deviation 2.0) with a pin-open chuck,
# by -2.4 kPa (4.2) with a pressure-open one.
SPREAD_PA = {codes.CHUCK_PIN_OPEN: 9_000, codes.CHUCK_PRESSURE_OPEN: 18_000}
_NAME = "left"
_ROW = "<8sIiiIB"  # wheel; when it was left, unix s; pressure left; sum of losses and of seconds, intervals in both
_ROW_BYTES = struct.calcsize(_ROW)


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
        self._seen = False
        self.clear()

    def clear(self) -> None:
        """Forget the last wheel's figures."""
        self.rate: "Any" = None  # Pa a day at 20 °C
        self.spread = 0  # Pa a day
        self.slow_leak = False
        self._mean = (0, 0, 0)

    def begin(self, wheel: bytes) -> None:
        """Read, as a fill of this wheel is armed, what it was left at."""
        self._keep()
        self._held = self._rows().get(bytes(wheel))
        self._seen = False
        if self.rate is None:
            self._mean = self._held[2:] if self._held else (0, 0, 0)

    def seen(self, cycle: "FillCycle") -> None:
        """Work out the loss, the first time in a fill that the tyre is seen."""
        if self._seen:
            return
        self._seen = True
        now, app, chuck = self.app.clock.unix_s(), self.app, cycle.values["chuck"]
        if (
            not self._held
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
        """Keep what the tyre was left at as a fill ends, or forget it where that is not known."""
        now, app = self.app.clock.unix_s(), self.app
        if app.BENCH or not any(cycle.wheel) or not (self._seen or cycle.ran):
            return  # nothing was done to a wheel that is known
        row = None
        at_rest = (
            cause in (causes.TARGET_REACHED, causes.ABOVE_TARGET)
            and not cycle.measuring
            and not cycle.seating
        )
        if at_rest and self._seen and now:
            row = (
                now,
                at_reference(app.engine.f[slots.F_COLD], app.ambient_pa(), cycle.t0_ck),
            ) + self._mean
        self._pending = (bytes(cycle.wheel), row)
        self._held = None

    def work(self) -> bool:
        """Keep it once nothing moves. Return True if that was done."""
        if not self._pending or self.app.store.locked():
            return False
        self._keep()
        return True

    def _keep(self) -> None:
        if self._pending:
            wheel, row = self._pending
            rows = self._rows()
            rows.pop(wheel, None)
            others = sorted(rows.items(), key=_when)[: KEPT - 1]
            if row:
                others.append((wheel, row))
            body = b"".join([struct.pack(_ROW, one, *held) for one, held in others])
            self._pending = None
            self.app.store.put(_NAME, body)

    def _rows(self) -> dict[bytes, tuple[int, int, int, int, int]]:
        """Wheel -> (unix s, pressure, sum, seconds, intervals)."""
        held = self.app.store.get(_NAME)
        body = held[0] if held and len(held[0]) % _ROW_BYTES == 0 else b""
        found = {}
        for at in range(0, len(body), _ROW_BYTES):
            row = struct.unpack_from(_ROW, body, at)
            found[row[0]] = row[1:]
        return found


def _when(item: tuple[bytes, tuple[int, int, int, int, int]]) -> int:
    """Those left last come first."""
    return -item[1][0]
