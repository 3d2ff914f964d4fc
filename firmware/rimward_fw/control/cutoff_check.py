"""Check of the independent cutoff: compared with transducers A and B at every fill, and its daily test. Main loop only.

Limits as in `hardware.single_faults.LIMITS`; a test compares them. The daily test needs no menu: while a fill is armed and the test button
lowers the threshold, air is let in until the cutoff opens. Then the fall through the vent is timed, and the cutoff must stay open.
"""

import struct

from rimward_protocol import causes
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING, const

from rimward_fw.control import events
from rimward_fw.storage import ticks
from rimward_fw.ui import buttons

if TYPE_CHECKING:
    from rimward_fw.control.engine import Engine
    from rimward_fw.shapes import App


SUPPLY_MV = (4750, 5250)
THRESHOLD_LOW = (495, 545)  # 1/1000 of the supply
THRESHOLD_HIGH = (830, 885)
THRESHOLD_TEST = (235, 305)  # with the test button held
COIL_MV = (6000, 13000)
APART_PA = 25_000
TEST_PA = (198_000, 229_000)  # range in which the cutoff opens with the test button held
FALL_PA = (200_000, 30_000)
VENT_PERCENT = 135  # of this unit's own baseline
COIL_OFF_MV = 1000
_CUTOFF = const(8)
_STILL_PA = const(3_000)  # in 0.1 s, the length of the converter's round
_STILL = const(3)
_FAST_PA = const(60_000)  # above this rate nothing is compared
_LASTS = const(3)  # tenths of a second before a fill is ended
_KEEP_MS = const(10_000)
_FALL_TICKS = const(400)
_COIL_TICKS = const(120)  # one complete round of the converter after the opening
_BEFORE = const(16)  # ticks by which the loop may detect the opening late
DAILY_TEST, VENT_BASELINE = 22, 21
_NO_TEST, _BUTTON, _FALLING, _STAYS = const(0), const(1), const(2), const(3)


class CutoffCheck:
    """Cutoff supervision of one App. `watch` runs ten times a second, `work` every turn of the loop."""

    def __init__(self, app: "App") -> None:
        self.app = app
        self.step = _NO_TEST
        self._failed = 0  # cause found by the running test
        self._at = 0
        self._from = 0
        self._coil = False  # coil without voltage was seen while RUN was held
        self._read = 0
        self._still = 0
        self._moves = 0  # of the reading in 0.1 s, decaying
        self._bad = 0
        self._first: int | None = None  # C less A at the first steady moment of this fill
        value = app.store.setting_get(DAILY_TEST)[0]
        self.tested, _, self.opened_pa, self.fall_ms = (
            struct.unpack("<BIiH", value) if len(value) == 11 else (0, 0, -1, 0)
        )

    def baseline_ms(self) -> int:
        """Time of the fall through the vent at bring-up, ms; 0 unknown."""
        return int.from_bytes(self.app.store.setting_get(VENT_BASELINE)[0], "little")

    def figures(self) -> tuple[int, int, int, int]:
        """Return (C Pa gauge, supply mV, threshold in 1/1000 of it, coil mV)."""
        signal, supply, threshold, coil = self.app.board.cutoff_words()
        over = max(supply, 1)
        return (
            signal * 12_500 // over * 100 - 125_000,
            supply * 5 // 24,
            threshold * 10_363 // (10 * over),
            coil * 613 // 1000,
        )

    def pressures(self) -> tuple[int, int]:
        """Return (A, B), Pa gauge."""
        g = self.app.engine.g
        return (g[slots.G_FA] >> 4) - slots.BIAS_PA, (g[slots.G_FB] >> 4) - slots.BIAS_PA

    def button(self, threshold: int) -> bool:
        """Return True while the test button lowers the threshold."""
        return THRESHOLD_TEST[0] <= threshold <= THRESHOLD_TEST[1]

    def judge(self) -> int:
        """Cause that the present figures give, 0 for none; pressures are compared only while the reading moves slowly enough."""
        if not self.app.board.cutoff_fresh():
            return causes.CUTOFF_UNREAD
        c, supply, threshold, coil = self.figures()
        switches = self.app.engine.x[slots.X_SW]
        wanted = THRESHOLD_HIGH if switches & buttons.KEY_HIGH else THRESHOLD_LOW
        if not SUPPLY_MV[0] <= supply <= SUPPLY_MV[1] or not (
            wanted[0] <= threshold <= wanted[1] or self.button(threshold)
        ):
            return causes.CUTOFF_FIGURES
        if (
            self._still >= _STILL
            and not switches & _CUTOFF
            and switches & buttons.RUN
            and not COIL_MV[0] <= coil <= COIL_MV[1]
        ):
            return causes.CUTOFF_FIGURES
        a, b = self.pressures()
        moved = c - a - self._first if self._first is not None else 0
        slack = 2 * self._moves  # the converter's values are up to 0.15 s old
        return (
            causes.CUTOFF_SENSOR_APART
            if slack < _FAST_PA and max(abs(c - a), abs(c - b), abs(moved)) > APART_PA + slack
            else 0
        )

    def refusal(self) -> int:
        """Cause for which no fill may be armed, 0 for none."""
        if self.app.BENCH:
            return 0  # the bench has another cutoff, with its own key position and transducers
        return self.tested or self.judge()

    def began(self) -> None:
        """Note that a fill is armed: its first comparison is recorded."""
        if self.app.BENCH:
            return
        c, _, threshold, _ = self.figures()
        a, b = self.pressures()
        self.app.recorder.note(events.CUTOFF_COMPARED, 0, c - max(a, b), threshold)

    def watch(self) -> None:
        """Compare; end a fill whose cutoff has been out of limits for 0.3 s."""
        if self.app.BENCH:
            return
        read = self.app.engine.g[slots.G_READ]
        moves = abs(read - self._read)
        self._moves = max(moves, self._moves - (self._moves >> 2) - 100)
        self._still = min(self._still + 1, _STILL) if moves < _STILL_PA else 0
        self._read = read
        cause = self.judge()
        armed = self.app.cycle.armed()
        if not armed:
            self._first = None
        elif not cause and self._first is None and self._still >= _STILL:
            self._first = self.figures()[0] - self.pressures()[0]
        self._bad = self._bad + 1 if cause and armed else 0
        if self._bad >= _LASTS:
            self.app.cycle.end(cause)

    # Daily test

    def work(self) -> None:
        """Follow the daily test if one is running."""
        if self.app.BENCH or not self.app.board.cutoff_fresh():
            return
        button = self.button(self.figures()[2])
        opened = self.app.engine.x[slots.X_SW] & _CUTOFF
        if self.step == _NO_TEST:
            if button and not opened and self.app.cycle.armed():
                self.step = _BUTTON
        elif self.step == _BUTTON:
            if opened:
                self._from = self.app.engine.head - _BEFORE
                self._coil = False
                self.step = _FALLING
            elif not button:
                self.step = _NO_TEST
        elif self.step == _FALLING:
            self._falling()
        else:
            self._stays(button, opened)

    def _look_at_coil(self) -> None:
        """Check Q5: with RUN held and the cutoff open the coil must have no voltage."""
        if (
            self.app.engine.x[slots.X_SW] & buttons.RUN
            and self.app.engine.head - self._from > _COIL_TICKS
        ):
            self._coil = True
            if self.figures()[3] > COIL_OFF_MV:
                self._failed = causes.CUTOFF_TEST_FAILED

    def _falling(self) -> None:
        """Wait for the end of the fall, then read it tick by tick from the ring."""
        engine = self.app.engine
        self._look_at_coil()
        passed = engine.head - self._from
        if engine.g[slots.G_READ] - slots.BIAS_PA > FALL_PA[1] and passed < _FALL_TICKS:
            return
        if passed > slots.RING_TICKS - _BEFORE:  # the ring no longer holds it: no result
            self.step = _NO_TEST
            return
        self._evaluate(engine)
        self.step = _STAYS
        self._at = self.app.board.ticks_ms()

    def _evaluate(self, engine: "Engine") -> None:
        """Evaluate pressure at the opening, corrected by the reading's lag of six ticks, and time of the fall."""
        opened = began = 0
        self.fall_ms = 65535
        for tick in range(self._from, engine.head):
            pa = ticks.read_pa(engine, tick)
            if not opened and ticks.switches_at(engine, tick) & _CUTOFF:
                opened = tick
                slope = max(0, pa - ticks.read_pa(engine, tick - 4)) // 4
                self.opened_pa = pa + 6 * slope
                slack = self.app.guard_pa() + 3 * slope
                self._failed = (
                    0
                    if TEST_PA[0] - slack <= self.opened_pa <= TEST_PA[1] + slack
                    else causes.CUTOFF_TEST_FAILED
                )
            elif opened and not began and pa <= FALL_PA[0]:
                began = tick
            if began and pa <= FALL_PA[1]:
                self.fall_ms = (tick - began) * 2
                break
        baseline = self.baseline_ms()
        if self.fall_ms == 65535 or baseline and self.fall_ms * 100 > baseline * VENT_PERCENT:
            self._failed = self._failed or causes.VENT_SLOW

    def _stays(self, button: bool, opened: int) -> None:
        """Check that the cutoff stays open for ten seconds after the button was released: the latch holds."""
        now = self.app.board.ticks_ms()
        self._look_at_coil()
        if button:
            self._at = now
        if not opened:
            self._failed = causes.CUTOFF_TEST_FAILED
        if (not opened or now - self._at >= _KEEP_MS) and not self.app.enabled():
            self.step = _NO_TEST
            if self._coil or self._failed:
                self.tested = self._failed
                row = struct.pack(
                    "<BIiH",
                    self.tested,
                    max(self.app.clock.day(), self.app.day),
                    self.opened_pa,
                    self.fall_ms,
                )
                self.app.store.setting_put(DAILY_TEST, row)
