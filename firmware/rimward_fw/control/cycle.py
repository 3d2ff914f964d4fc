"""One wheel on the hose: chosen, asked about, armed, filled, ended. Answers come from the person at the device only."""

from rimward_protocol import causes, codes, layout, replies
from rimward_protocol import kernel_slots as slots

from rimward_fw.control import arming, events, fill_modes
from rimward_fw.ui import buttons

NOBODY = bytes(8)
IDLE = 0
ASK_WHEEL = 1
ASK_STOOD = 2
ASK_COLD = 3
LOADING = 4
ARMED = 5
OVER = 6

JOB_FILL = 1
REFUSED = {replies.TARGET_ABOVE_STOP: causes.TARGET_ABOVE_STOP, replies.SETTING_LOCKED: causes.INSTRUMENT_OVERDUE}
TRANSDUCER_SLOTS = ((17, "gain_a"), (18, "off_a"), (19, "gain_b"), (20, "off_b"))

COLD_STEP_CK = 250
COLDEST_CK = 25315
KEEP_TICKS = 50  # run control open for 0.1 s: memory is written out before it overflows
KEEP_BYTES = 2048
SETTLE_TICKS = 1000  # run control open for 2 s before a finished cycle is written away


class FillCycle:
    """What the person and this wheel are doing. `work` runs in the main loop."""

    def __init__(self, app):
        self.app = app
        self.phase = IDLE
        self.wheel = NOBODY
        self.profile = b""
        self.preset = b""  # META_PRESET of a wheel that was chosen from a preset
        self.values = None
        self.ceiling_pa = 0
        self.stop_pa = 0
        self.highest_pa = 0
        self.connection = 0
        self.t0_ck = 0
        self.queue = []
        self.cause = 0
        self.tyre_pa = -1
        self._quiet = 0
        self._was_run = 0
        self._stop = 0
        self._tripped = 0
        self.seating = False
        self._to_arm = None  # (T0, seating): waits until the last session is written
        self.added = False  # air or gas came in by other means: the tyre is measured before anything else
        self.measuring = False
        self.question = ""  # what the display asks after a cycle: a name of screens.SCREENS
        self.old = None  # what a person last confirmed of this wheel, where the profile goes beyond it

    def choose(self, wheel, profile, confirmed):
        """Takes a stored and judged profile as the wheel on the hose; the person answers next. Gives a reply code."""
        self.leave(causes.RELEASED)
        self.seating = False
        self.added = False
        self.measuring = False
        self.question = ""
        self.wheel = wheel
        self.preset = b""
        self.profile = profile
        self.values = layout.unpack(layout.PROFILE, profile)
        row = None if confirmed or wheel == NOBODY else self.app.store.wheels.row(wheel)
        self.old = row.facts if row else None
        self.phase = ASK_STOOD if confirmed else ASK_WHEEL
        self.app.note(events.WHEEL_CHOSEN, 0, self.values["revision"])
        return replies.OK if confirmed else replies.WAITING_FOR_PERSON

    def waiting(self):
        """(number of WAITINGS, value)."""
        g = self.app.engine.g
        if g[slots.G_CAUSE]:
            return 7, g[slots.G_CAUSE]
        if self.phase == ASK_WHEEL:
            if self.wheel == NOBODY:
                return self.app.entry.step, self.app.entry.value()
            return codes.WAIT_LIMITS if self.old else codes.WAIT_NEW_WHEEL, 0
        if self.phase in (ASK_STOOD, ASK_COLD):
            return 2, self.t0_ck
        if self.phase == LOADING and self.must_let_go():
            return 6, 0
        if self.phase == ARMED:
            if self.state() == codes.SEAT_PAUSE:
                return 1, g[slots.G_READ] - slots.BIAS_PA
            if self.app.engine.f[slots.F_STATE] == codes.ASKING:
                return 9, self.app.engine.f[slots.F_VOLUME]
            if not self.app.engine.x[slots.X_SW] & buttons.RUN or self.must_let_go():
                return 6, 0
        return 0, 0

    def state(self):
        """One of FILL_STATES, as people see it."""
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

    def pressed(self, bits):
        """A press of a button."""
        if self.app.engine.g[slots.G_CAUSE]:
            if bits & buttons.ENTER and not self.app.engine.answers & buttons.CLEAR:
                self.app.engine.answers |= buttons.CLEAR
                self.app.note(events.CLEARED, 0, self.app.engine.g[slots.G_CAUSE])
            return
        yes = bits & buttons.ENTER
        no = bits & buttons.DOWN
        if self.phase == ASK_WHEEL:
            self._ask_wheel(bits, yes, no)
        elif self.phase == ASK_STOOD and yes:
            self._answered(codes.WAIT_STOOD, 1)
            self.arm(self.app.air_ck())
        elif self.phase == ASK_STOOD and no:
            self._answered(codes.WAIT_STOOD, 0)
            self._ask_cold()
        elif self.phase == ASK_STOOD and bits & buttons.UP:
            self._answered(codes.WAIT_STOOD, 2)
            self.added = True
            self.phase = OVER
            self.question = "added"
        elif self.phase == ASK_COLD:
            self._cold(bits)
        elif self.phase == ARMED and yes and self.state() == codes.SEAT_PAUSE:
            self.app.engine.answers |= buttons.CONFIRM
            self.app.note(events.BEAD_CONFIRMED, 0, self.app.engine.g[slots.G_READ] - slots.BIAS_PA)
        elif self.phase == ARMED and yes and self.app.engine.f[slots.F_STATE] == codes.ASKING:
            self.app.engine.answers |= buttons.CONFIRM
            self._answered(9, 1)
        elif self.phase == ARMED and self.app.engine.f[slots.F_STATE] == codes.READY and not self.app.engine.x[slots.X_SW] & buttons.RUN:
            self._ready(bits)
        elif self.phase == OVER and self.question:
            self._asked(yes, no)
        elif self.phase == OVER and yes:
            self.phase = IDLE

    def _ask_wheel(self, bits, yes, no):
        """Is this the wheel, and may its limits be what the profile says? For an unregistered one: what the person reads off the tyre."""
        if self.wheel == NOBODY:
            self._enter(bits)
        elif yes or no:
            self._answered(codes.WAIT_LIMITS if self.old else codes.WAIT_NEW_WHEEL, 1 if yes else 0)
            if yes:
                self.app.store.profile_confirm(self.wheel)
            self.phase = ASK_STOOD if yes else IDLE

    def _enter(self, bits):
        entry = self.app.entry
        step, value = entry.step, entry.value()
        done = entry.pressed(bits)
        if entry.step != step or done:
            self._answered(step, value if step != codes.WAIT_APPROVAL else 1 if done >= 0 else 0)
        if done > 0:
            self.profile = entry.profile()
            self.values = layout.unpack(layout.PROFILE, self.profile)
            self.phase = ASK_STOOD
        elif done < 0:
            self.phase = IDLE

    def _ask_cold(self):
        self.t0_ck = min(self.app.air_ck(), self.values["ref_temp_ck"]) - COLD_STEP_CK
        self.phase = ASK_COLD

    def _ready(self, bits):
        """Armed, nothing moves: UP and DOWN change the target; ENTER begins or ends the seating of tubeless beads."""
        e = self.app.engine
        if self.measuring:
            return
        if bits & (buttons.UP | buttons.DOWN) and not self.seating and not self.queue:
            step = fill_modes.TARGET_STEP_PA if bits & buttons.UP else -fill_modes.TARGET_STEP_PA
            target = fill_modes.target_after(e.y[slots.Y_TARGET_PA], step, self.highest_pa)
            if target != e.y[slots.Y_TARGET_PA]:
                self.queue.append((slots.FIRST_Y_SLOT + slots.Y_TARGET_PA, target))
                self.app.note(events.TARGET_CHOSEN, 0, target, e.y[slots.Y_TARGET_PA])
        elif bits & buttons.ENTER and self.seating:
            self.leave(causes.RELEASED)
            self.phase = OVER
            self.question = "seat-done"
        elif bits & buttons.ENTER and self.values["flags"] & codes.FLAG_TUBELESS:
            self.leave(causes.RELEASED)
            self.arm(self.t0_ck, True)

    def _asked(self, yes, no):
        """Answers after seating: seated all round, then core in and on to the fill; else everything out and again. And after measuring."""
        if self.question == "seat-done" and (yes or no):
            self._answered(codes.WAIT_BEAD, 1 if yes else 0)
            self.question = "seat-next" if yes else "seat-again"
        elif yes and self.question in ("seat-next", "seat-again"):
            again = self.question == "seat-again"
            self.question = ""
            self.arm(self.t0_ck, again)
        elif yes and self.question == "added":
            self.question = ""
            self._ask_cold()
        elif yes and self.question == "measured":
            self.question = ""
            self.added = False
            self.arm(self.t0_ck)
        elif no and self.question == "measured":
            self.question = ""
            self.phase = IDLE
        elif yes:
            self.question = ""
            self.phase = IDLE

    def _cold(self, bits):
        """The tyre's own temperature, stated: never above the measured air."""
        if bits & buttons.DOWN:
            self.t0_ck = max(COLDEST_CK, self.t0_ck - COLD_STEP_CK)
        elif bits & buttons.UP:
            self.t0_ck = min(self.app.air_ck(), self.t0_ck + COLD_STEP_CK)
        elif bits & buttons.ENTER:
            self._answered(codes.WAIT_STOOD, self.t0_ck)
            self.arm(self.t0_ck)

    def _answered(self, what, answer):
        self.app.note(events.ANSWER, 0, what, answer)

    def arm(self, t0_ck, seating=False):
        """Works out the ceiling for the air here and now, opens the session and loads the guard. Gives a reply code."""
        app = self.app
        if app.recorder.active:
            self._to_arm = (t0_ck, seating)
            self.phase = LOADING
            return replies.OK
        self.seating = seating
        self.measuring = self.added and not seating
        if app.hardware["kind"] == 0 and app.interface.duty.wait_s():
            self.phase = OVER
            self.question = "rest"
            return replies.OK
        if app.ambient_pa() == 0:  # without the air's pressure there is no gauge pressure and no ceiling
            self.cause = causes.BAROMETER
            self.phase = OVER
            return replies.OK
        reading = app.engine.g[slots.G_READ] - slots.BIAS_PA
        low = arming.zero_low(reading, app.guard_pa(), app.BAND_PA, app.calibrated_day())
        self.cause = causes.ZERO_LOW if low else app.no_air(self.wheel)
        if self.cause:
            self.phase = OVER
            return replies.OK
        self.t0_ck = t0_ck
        self.connection = (self.connection + 1) & 0x7FFF or 1
        here = {"ambient_pa": app.ambient_pa(), "t0_ck": t0_ck, "guard_pa": app.guard_pa(), "conn": self.connection, "job": JOB_FILL}
        here.update(app.transducers)
        code, x, y = self.limits_here(here, seating)
        if app.locked_out():
            code = replies.SETTING_LOCKED
        app.refusal = code
        if code:
            self.cause = REFUSED.get(code, causes.NO_PROFILE)
            app.note(events.REFUSED, self.cause, code)
            self.phase = OVER
            return code
        first = slots.FAST_INPUTS
        self.ceiling_pa = x[slots.X_CEIL_PA - first]
        self.stop_pa = self.ceiling_pa - x[slots.X_BAND_PA - first]
        self.highest_pa = fill_modes.highest_target_pa(self.values, app.hardware, here)
        app.open_session(self)
        self.queue = [(first + i, x[i]) for i in range(len(x)) if first + i != slots.X_CHK]
        self.queue += [(slots.FIRST_Y_SLOT + slots.FILL_SLOW + i, y[i]) for i in range(1, len(y))]
        self.queue += [(slots.X_CHK, x[slots.X_CHK - first]), (slots.FIRST_Y_SLOT + slots.Y_JOB, y[slots.Y_JOB - slots.FILL_SLOW])]
        self.phase = LOADING
        self._stop = app.engine.g[slots.G_STOP]
        self._tripped = 0
        self.cause = 0
        app.note(events.ARMED, 0, self.ceiling_pa, self.stop_pa)
        app.cutoff.began()
        return replies.OK

    def limits_here(self, here, seating):
        """(reply code, slow words of the guard, of the fill) for this wheel, this inflator and the air where it stands."""
        values = fill_modes.measure_values(self.values, here) if self.measuring else self.values
        return fill_modes.limits(values, self.app.hardware, here, seating, self.app.interface.duty.left_s())

    def must_let_go(self):
        """True while the run control has been held since before the ceiling was in force: that is no wish to fill this wheel."""
        e = self.app.engine
        if not e.x[slots.X_SW] & buttons.RUN:
            return False
        return self.phase == LOADING or (self.phase == ARMED and e.f[slots.F_STATE] == codes.READY and e.g[slots.G_WHY] == causes.NO_PROFILE)

    def armed(self):
        """True while a ceiling is on its way to the guard or in force."""
        return self.phase in (LOADING, ARMED)

    def work(self):
        """Main loop: loads words, watches for ends and trips."""
        e = self.app.engine
        waits = self.phase == LOADING and not self._to_arm and e.x[slots.X_SW] & buttons.RUN  # held already: nothing comes into force under it
        if self.queue and not waits and e.offer(self.queue[0][0], self.queue[0][1]):
            del self.queue[0]
        if self._to_arm:
            if not self.app.recorder.active and not self.queue:
                t0_ck, seating = self._to_arm
                self._to_arm = None
                self.arm(t0_ck, seating)
        elif self.phase == LOADING and not self.queue:
            self.phase = ARMED
        if e.answers & buttons.CONFIRM and e.f[slots.F_STATE] not in (codes.SEAT_PAUSE, codes.ASKING):
            e.answers &= ~buttons.CONFIRM
        if e.answers & buttons.CLEAR and e.g[slots.G_CAUSE] == 0:
            e.answers &= ~buttons.CLEAR
            self._tripped = 0
        bleeding = self.phase == ARMED and e.t[slots.T_DOWN] & buttons.DOWN
        e.answers = e.answers | buttons.BLEED if bleeding else e.answers & ~buttons.BLEED
        if self.phase == ARMED:
            self._watch(e)
        elif e.g[slots.G_CAUSE] and not self._tripped:
            self._trip(e)

    def _watch(self, e):
        run = e.x[slots.X_SW] & buttons.RUN
        if run != self._was_run:
            self._was_run = run
            self.app.note(events.RUN_HELD if run else events.RUN_RELEASED, 0, e.g[slots.G_READ] - slots.BIAS_PA)
            self._quiet = e.head
        self.tyre_pa = e.f[slots.F_TYRE_PA]
        if e.g[slots.G_CAUSE] and not self._tripped:
            self._trip(e)
        if e.g[slots.G_CAUSE]:
            return
        quiet = (e.head - self._quiet) & 0x3FFFFFFF
        if not run and quiet > KEEP_TICKS and self.app.recorder.waiting() > KEEP_BYTES:
            self.app.keep_session()
        if not run and quiet > SETTLE_TICKS and e.f[slots.F_STATE] in (codes.FILL_DONE, codes.STOPPED):
            self.leave(causes.CARTRIDGE_FIRST_MEASURE if self.measuring else e.f[slots.F_REASON] or causes.TARGET_REACHED)
            self.phase = OVER
            if self.seating:
                self.question = "seat-done"
            elif self.measuring:
                self.question = "measured" if self.tyre_pa >= 0 else "unknown"

    def _trip(self, e):
        """A latched cause: its record comes first of all."""
        self._tripped = 1
        self.cause = e.g[slots.G_CAUSE]
        self.app.keep_trip(e.g[slots.G_CAUSE])
        if self.phase == ARMED:
            self.leave(e.g[slots.G_CAUSE])
            self.phase = OVER

    def reload(self, transducers):
        """New coefficients for the readings of an idle inflator; an armed cycle is ended, its limits were worked out with the old ones."""
        self.leave(causes.NOT_READY)
        self.queue += [(slot, transducers[name]) for slot, name in TRANSDUCER_SLOTS]
        self.app.air.again()

    def end(self, cause):
        """End an armed fill for a cause that the guard does not see; the person reads it on the display."""
        self.leave(cause)
        self.cause = cause
        self.question = ""
        self.phase = OVER

    def drop(self):
        """The wheel on the hose has no profile any more."""
        self.leave(causes.NO_PROFILE)
        self.phase = IDLE

    def leave(self, cause):
        """Ends the cycle: takes the ceiling out of force and closes the session."""
        if self._to_arm:
            self._to_arm = None
        elif self.armed():
            self.cause = cause
            # The job first: the fill wants no more air, so that no limit changes under a running source.
            self.queue = [(slots.FIRST_Y_SLOT + slots.Y_JOB, 0), (slots.X_CEIL_PA, 0), (slots.X_CHK, 0)]
            self.app.close_session(cause)
        if self.phase != OVER:
            self.phase = IDLE
