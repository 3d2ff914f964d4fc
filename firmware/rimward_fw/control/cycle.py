"""Fill cycle of one wheel: selected, confirmed, armed, filled, ended. Answers come only from the person at the inflator."""

from rimward_protocol import causes, codes, layout, replies
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.control import events, fill_modes, questions, start
from rimward_fw.control.losses import Losses
from rimward_fw.control.phases import (
    ARMED,
    ASK_COLD,
    ASK_STOOD,
    ASK_WHEEL,
    IDLE,
    LOADING,
    NOBODY,
    OVER,
)
from rimward_fw.ui import buttons

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from rimward_protocol.shapes import Record

    from rimward_fw.control.engine import Engine
    from rimward_fw.shapes import App


TRANSDUCER_SLOTS = ((17, "gain_a"), (18, "off_a"), (19, "gain_b"), (20, "off_b"))

KEEP_TICKS = 50  # run control open for 0.1 s: records in memory are written out before it overflows
KEEP_BYTES = 2048
SETTLE_TICKS = 1000  # run control open for 2 s before a finished cycle is stored


class FillCycle:
    """State of the person's work with the selected wheel. `work` runs in the main loop."""

    def __init__(self, app: "App") -> None:
        self.app = app
        self.phase = IDLE
        self.wheel = NOBODY
        self.profile = b""
        self.preset = b""  # META_PRESET of a wheel selected from a preset
        self.values: "Any" = None
        self.ceiling_pa = self.stop_pa = self.highest_pa = 0
        self.connection = 0
        self.t0_ck = 0
        self.queue: list[tuple[int, int]] = []
        # steps of a fill's start, one a turn of the main loop
        self.steps: list["Callable[[], object]"] = []
        self.cause = 0
        self.tyre_pa = -1
        self._quiet = self._was_run = self.tripped = 0
        self.seating = False
        self.to_arm: tuple[int, bool] | None = (
            None  # (T0, seating): waits until the last session is written
        )
        self.added = False  # air or gas came from another source: the tyre is measured first
        self.measuring = False
        self.question = ""  # question on the display after a cycle: a name of screens.SCREENS
        self.recordless = False  # a person agreed to fill this wheel though flash takes no record
        self.asked_arm = (0, False)  # T0 and seating of the fill that this question is about
        self.old: "Any" = (
            None  # what a person last confirmed of this wheel, where the profile exceeds it
        )
        self.losses = Losses(app)
        self.ran = False  # the run control was held in this fill

    def choose(self, wheel: bytes, profile: bytes, confirmed: bool) -> int:
        """Select the wheel of a stored and checked profile; the person answers next. Return a reply code."""
        self.leave(causes.RELEASED)
        self.seating = self.added = self.measuring = self.recordless = False
        self.question = ""
        self.losses.clear()
        self.wheel = wheel
        self.preset = b""
        self.profile = profile
        self.values = layout.unpack(layout.PROFILE, profile)
        row = None if confirmed or wheel == NOBODY else self.app.store.wheels.row(wheel)
        self.old = row.facts if row else None
        self.phase = ASK_STOOD if confirmed else ASK_WHEEL
        self.app.note(events.WHEEL_CHOSEN, 0, self.values["revision"])
        return replies.OK if confirmed else replies.WAITING_FOR_PERSON

    def waiting(self) -> tuple[int, int]:
        """Return (number of WAITINGS, value)."""
        g = self.app.engine.g
        if g[slots.G_CAUSE]:
            return codes.WAIT_CLEAR, g[slots.G_CAUSE]
        if self.phase == ASK_WHEEL:
            if self.wheel == NOBODY:
                return self.app.entry.step, self.app.entry.value()
            return codes.WAIT_LIMITS if self.old else codes.WAIT_NEW_WHEEL, 0
        if self.phase in (ASK_STOOD, ASK_COLD):
            return codes.WAIT_STOOD, self.t0_ck
        if self.phase == LOADING and self.must_let_go():
            return codes.WAIT_RUN, 0
        if self.phase == ARMED:
            if self.state() == codes.SEAT_PAUSE:
                return codes.WAIT_BEAD, g[slots.G_READ] - slots.BIAS_PA
            if self.app.engine.f[slots.F_STATE] == codes.ASKING:
                return codes.WAIT_WHICH_WHEEL, self.app.engine.f[slots.F_VOLUME]
            if not self.app.engine.x[slots.X_SW] & buttons.RUN or self.must_let_go():
                return codes.WAIT_RUN, 0
        return codes.WAIT_NOTHING, 0

    def state(self) -> int:
        """State to show, one of FILL_STATES."""
        if self.app.engine.g[slots.G_CAUSE]:
            return codes.TRIPPED
        if self.phase == IDLE:
            return codes.IDLE
        if self.phase in (ASK_WHEEL, ASK_STOOD, ASK_COLD) or self.must_let_go():
            return codes.ASKING
        if self.phase == OVER:
            return codes.FILL_DONE if self.cause == causes.TARGET_REACHED else codes.STOPPED
        kernel = self.app.engine.f[slots.F_STATE]
        return kernel if kernel else codes.READY

    def pressed(self, bits: int) -> None:
        """Handle a button press."""
        if self.app.engine.g[slots.G_CAUSE]:
            if bits & buttons.ENTER and not self.app.engine.answers & buttons.CLEAR:
                self.app.engine.answers |= buttons.CLEAR
                self.app.note(events.CLEARED, 0, self.app.engine.g[slots.G_CAUSE])
            return
        yes = bits & buttons.ENTER
        no = bits & buttons.DOWN
        if self.phase == ASK_WHEEL:
            questions.ask_wheel(self, bits, yes, no)
        elif self.phase == ASK_STOOD and yes:
            self.answered(codes.WAIT_STOOD, 1)
            self.arm(self.app.air_ck())
        elif self.phase == ASK_STOOD and no:
            self.answered(codes.WAIT_STOOD, 0)
            questions.ask_cold(self)
        elif self.phase == ASK_STOOD and bits & buttons.UP:
            self.answered(codes.WAIT_STOOD, 2)
            self.added = True
            self.phase = OVER
            self.question = "added"
        elif self.phase == ASK_COLD:
            questions.cold(self, bits)
        elif self.phase == ARMED and yes and self.state() == codes.SEAT_PAUSE:
            self.app.engine.answers |= buttons.CONFIRM
            self.app.note(events.BEAD_CONFIRMED, 0, self.app.engine.g[slots.G_READ] - slots.BIAS_PA)
        elif self.phase == ARMED and yes and self.app.engine.f[slots.F_STATE] == codes.ASKING:
            self.app.engine.answers |= buttons.CONFIRM
            self.answered(codes.WAIT_WHICH_WHEEL, 1)
        elif (
            self.phase == ARMED
            and self.app.engine.f[slots.F_STATE] == codes.READY
            and not self.app.engine.x[slots.X_SW] & buttons.RUN
        ):
            questions.ready(self, bits)
        elif self.phase == OVER and self.question:
            questions.asked(self, yes, no)
        elif self.phase == OVER and yes:
            self.phase = IDLE

    def answered(self, what: int, answer: int) -> None:
        """Record a person's answer to question `what`."""
        self.app.note(events.ANSWER, 0, what, answer)

    def arm(self, t0_ck: int, seating: bool = False) -> int:
        """Compute the ceiling for the present air, open the session and load the guard. Return a reply code."""
        return start.arm(self, t0_ck, seating)

    def limits_here(self, here: "Record", seating: bool) -> tuple[int, list[int], list[int]]:
        """Return (reply code, slow words of the guard, of the fill controller) for this wheel, inflator and present air."""
        values = fill_modes.measure_values(self.values, here) if self.measuring else self.values
        return fill_modes.limits(
            values, self.app.hardware, here, seating, self.app.interface.duty.left_s()
        )

    def must_let_go(self) -> bool:
        """Return True while the run control has been held since before the ceiling was in force: that is no request to fill this wheel."""
        e = self.app.engine
        if not e.x[slots.X_SW] & buttons.RUN:
            return False
        return self.phase == LOADING or (
            self.phase == ARMED
            and e.f[slots.F_STATE] == codes.READY
            and e.g[slots.G_WHY] == causes.NO_PROFILE
        )

    def armed(self) -> bool:
        """Return True while a ceiling is being loaded or in force."""
        return self.phase in (LOADING, ARMED)

    def step(self) -> bool:
        """Take one step of a start, or keep a wheel's loss. Return False if there was neither."""
        if self.steps and not self.to_arm:
            self.steps.pop(0)()
            return True
        return self.phase != ARMED and self.losses.work()

    def work(self) -> None:
        """Load words, detect ends and trips. Main loop."""
        e = self.app.engine
        waits = (
            self.phase == LOADING and not self.to_arm and e.x[slots.X_SW] & buttons.RUN
        )  # already held: no ceiling takes effect under a held control
        if self.queue and not waits and e.offer(self.queue[0][0], self.queue[0][1]):
            del self.queue[0]
        if self.to_arm:
            if not self.app.recorder.active and not self.queue:
                t0_ck, seating = self.to_arm
                self.to_arm = None
                self.arm(t0_ck, seating)
        elif self.phase == LOADING and not self.queue and not self.steps:
            self.phase = ARMED
        if e.answers & buttons.CONFIRM and e.f[slots.F_STATE] not in (
            codes.SEAT_PAUSE,
            codes.ASKING,
        ):
            e.answers &= ~buttons.CONFIRM
        if e.answers & buttons.CLEAR and e.g[slots.G_CAUSE] == 0:
            e.answers &= ~buttons.CLEAR
            self.tripped = 0
        bleeding = self.phase == ARMED and e.t[slots.T_DOWN] & buttons.DOWN
        e.answers = e.answers | buttons.BLEED if bleeding else e.answers & ~buttons.BLEED
        if self.phase == ARMED:
            self._watch(e)
        elif e.g[slots.G_CAUSE] and not self.tripped:
            self._trip(e)

    def _watch(self, e: "Engine") -> None:
        run = e.x[slots.X_SW] & buttons.RUN
        if run != self._was_run:
            self._was_run = run
            self.app.note(
                events.RUN_HELD if run else events.RUN_RELEASED,
                0,
                e.g[slots.G_READ] - slots.BIAS_PA,
            )
            self._quiet = e.head
            self.ran = self.ran or bool(run)
        tyre_pa = e.f[slots.F_TYRE_PA]
        if tyre_pa >= 0 or e.f[slots.F_STATE] != codes.FILL_DONE:
            self.tyre_pa = tyre_pa  # with the chuck off after done: as it was left
        if tyre_pa >= 0:
            self.losses.seen(self)
        if e.g[slots.G_CAUSE] and not self.tripped:
            self._trip(e)
        if e.g[slots.G_CAUSE]:
            return
        quiet = (e.head - self._quiet) & 0x3FFFFFFF
        if not run and quiet > KEEP_TICKS and self.app.recorder.waiting() > KEEP_BYTES:
            self.app.keep_session()
        if (
            not run
            and quiet > SETTLE_TICKS
            and e.f[slots.F_STATE] in (codes.FILL_DONE, codes.STOPPED)
        ):
            self.leave(
                causes.CARTRIDGE_FIRST_MEASURE
                if self.measuring
                else e.f[slots.F_REASON] or causes.TARGET_REACHED
            )
            self.phase = OVER
            if self.seating:
                self.question = "seat-done"
            elif self.measuring:
                self.question = "measured" if self.tyre_pa >= 0 else "unknown"

    def _trip(self, e: "Engine") -> None:
        """Handle a latched cause: it is recorded first."""
        self.tripped = 1
        self.cause = e.g[slots.G_CAUSE]
        self.app.keep_trip(e.g[slots.G_CAUSE])
        if self.phase == ARMED:
            self.leave(e.g[slots.G_CAUSE])
            self.phase = OVER

    def reload(self, transducers: "Record") -> None:
        """Load new coefficients while idle; an armed cycle is ended, because its limits used the old ones."""
        self.leave(causes.NOT_READY)
        self.queue += [(slot, transducers[name]) for slot, name in TRANSDUCER_SLOTS]
        self.app.air.again()

    def end(self, cause: int) -> None:
        """End an armed fill for a cause that the guard does not detect; the person reads it on the display."""
        self.leave(cause)
        self.cause = cause
        self.question = ""
        self.phase = OVER

    def drop(self) -> None:
        """Clear the selected wheel once its profile is deleted."""
        self.leave(causes.NO_PROFILE)
        self.phase = IDLE

    def leave(self, cause: int) -> None:
        """End the cycle: remove the ceiling and close the session."""
        started, self.steps = not self.steps, []
        if not started:
            self.app.recorder.leave()
        if self.to_arm:
            self.to_arm = None
        elif self.armed():
            self.cause = cause
            if started:  # else the losses are still those of the fill before
                self.losses.end(self, cause)
            # The job first: the fill controller stops requesting air, so that no limit changes under a running source.
            self.queue = [
                (slots.FIRST_Y_SLOT + slots.Y_JOB, 0),
                (slots.X_CEIL_PA, 0),
                (slots.X_CHK, 0),
            ]
            self.app.close_session(cause)
        if self.phase != OVER:
            self.phase = IDLE
