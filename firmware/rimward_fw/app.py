"""The inflator: its parts put together, and the main loop. The loop can stall or die; the tick holds the limit."""

import gc
import struct

from rimward_protocol import causes, codes, profile, replies
from rimward_protocol import kernel_slots as slots

from rimward_fw.control import configuration, events, intake, sense
from rimward_fw.control.ambient import Ambient
from rimward_fw.control.consent import Consent
from rimward_fw.control.cutoff_check import CutoffCheck
from rimward_fw.control.cycle import ARMED, NOBODY, OVER, FillCycle
from rimward_fw.control.engine import Engine
from rimward_fw.control.unregistered import Entry
from rimward_fw.link.connection import Link
from rimward_fw.storage import logbook, recent
from rimward_fw.storage.clock import Clock
from rimward_fw.storage.keys import Keys
from rimward_fw.storage.store import Store
from rimward_fw.storage.unrecorded import Unrecorded
from rimward_fw.ui import buttons, display
from rimward_fw.ui.interface import Interface

WORK_TICKS, SLOW_TICKS, COLLECT_TICKS = 5, 50, 1000
PIECES, WRITE_MS = 16, 10  # of a session in one turn
STILL_MS = 200  # without a tick: it has stopped
MOVING = codes.OUT_GATE | codes.OUT_RELAY | codes.OUT_TESTING


class App:
    """One inflator on one board. The class attributes are what a proof bench has otherwise."""

    BENCH = False
    GAIN = configuration.GAIN
    OFF_SEALED = configuration.OFF_SEALED
    OFF_VENTED = configuration.OFF_VENTED
    BAND_PA = configuration.GUARD_BAND_PA
    CYCLE = FillCycle

    def __init__(self, board):
        self.board = board
        self.engine = Engine(board)
        self.store = Store(board.mount(), self.enabled, board.feed)
        self.boots = self.store.boot()
        self.clock = Clock(board, self.store)
        self.keys = Keys(self.store, board)
        self.buttons = buttons.Buttons(self.engine.t)
        self.cycle = self.CYCLE(self)
        self.interface = Interface(self)
        self.link = Link(board, self)
        self.recorder = logbook.recorder_of(self)
        self.unrecorded = Unrecorded(self.store)
        self.consent = Consent(self)
        self.entry = Entry(self)
        self.person = b""  # who fills, as far as the host said
        self.refusal = 0
        self._boot_told = False  # the first record of this run begins with why it started
        self.cut_off = self._last_run()
        self.pending_delete = None
        self._next_work = 0
        self._head = -1
        self._head_ms = 0
        self._next_slow = 0
        self.opened_s = 0
        self.heap_free = _heap_free()
        self.read_settings()
        for slot, name in ((17, "gain_a"), (19, "gain_b"), (20, "off_b")):
            self.engine.x[slot] = self.transducers[name]
        self.air = Ambient(self)
        self.air.begin()
        self.cutoff = CutoffCheck(self)

    def read_settings(self):
        """What this inflator knows of itself; a setting never made keeps the careful default."""
        self.hardware = self.source(self.store.setting_get(sense.SOURCE)[0])
        self.transducers = {}
        for side, number, off in (("a", 1, self.OFF_SEALED), ("b", 2, self.OFF_VENTED)):
            value, _ = self.store.setting_get(number)
            gain, offset = struct.unpack_from("<ii", value, 0) if len(value) >= 8 else (65536, 0)
            self.transducers["gain_" + side] = (self.GAIN * gain + 32768) >> 16
            self.transducers["off_" + side] = ((off * gain + 32768) >> 16) + offset
        self._guard_pa = self.BAND_PA
        self._calibrated_day = 0
        self.day = self.store.number("day")  # the latest it was told: the clock is lost with the power, a calibration's age is not
        value, _ = self.store.setting_get(sense.GUARD_BAND)
        if len(value) == 8:
            self._guard_pa, self._calibrated_day = struct.unpack("<iI", value)
        self.interface.settings(self.store.setting_get(sense.BUZZER)[0], self.store.setting_get(sense.UNIT)[0])
        value, _ = self.store.setting_get(sense.BAROMETER)
        self._baro_offset = struct.unpack("<i", value)[0] if len(value) == 4 else 0
        value, _ = self.store.setting_get(sense.AIR)
        self._air_offset = struct.unpack("<h", value)[0] if len(value) == 2 else 0

    def _last_run(self):
        """Keep what the last run could not: a trip that only the RAM remembers. Return the number of a session that was cut off, or 0."""
        cause = self.board.remembered()
        if cause:
            self.store.trip_add({"cause": cause, "state": codes.IDLE, "boot": self.boots - 1, "tick": 0, "session": 0, "unix_s": 0, "value": 0})
            self.board.remember(0)
        numbers = self.store.sessions.unfinished()
        for number in numbers:
            self.store.session_end(number, {"unix_s": 0, "cause": 0, "flags": 0, "wheel_id": NOBODY})
            self.board.feed()
        return numbers[0] if numbers else 0

    def source(self, value):
        """The row of hardware that a stored setting names."""
        return configuration.source(value)

    # What others ask

    def enabled(self):
        """True while air may move: then nothing is stored."""
        g = self.engine.g
        return bool(self.engine.out & MOVING or (self.engine.x[slots.X_SW] & buttons.RUN and not g[slots.G_CAUSE] and self.cycle.phase == ARMED))

    def button_held(self):
        """The workshop button, held now."""
        return bool(self.engine.x[slots.X_SW] & buttons.WORKSHOP)

    def ambient_pa(self):
        """Absolute, corrected; 0 without a barometer."""
        pa = self.board.ambient_pa
        return pa + self._baro_offset if pa else 0

    def air_ck(self):
        """Air temperature, 0.01 K."""
        return self.board.air_ck + self._air_offset

    def guard_pa(self):
        """This inflator's guard band; never below the compiled minimum, half as wide again once its calibration is overdue."""
        pa = max(1000, self._guard_pa)
        return pa + pa // 2 if self.calibration_age_days() > codes.CALIBRATION_DUE_DAYS else pa

    def calibrated_day(self):
        """Day of the calibration, counted from 2020-01-01; 0 where there is none."""
        return self._calibrated_day

    def calibration_age_days(self):
        """Days since the calibration as far as is known, 0 where there is none."""
        return max(self.clock.day(), self.day) - self._calibrated_day if self._calibrated_day else 0

    def locked_out(self):
        """True once the calibration is so old that the pump stays locked."""
        return self.calibration_age_days() > codes.CALIBRATION_LOCK_DAYS

    def no_air(self, wheel):
        """The cause for which no fill of this wheel may be armed, 0 for none: bring-up, view of the cutoff, daily test."""
        brought_up = 2 if self.BENCH or getattr(self.board, "commissioned", False) else (self.store.setting_get(sense.BRING_UP)[0] or b"\0")[0]
        if brought_up < (1 if wheel == NOBODY else 2):  # half-way an unregistered wheel alone, into a closed volume
            return causes.NOT_COMMISSIONED
        return self.cutoff.refusal()

    def waiting(self):
        """(WAITINGS number, wheel, value)."""
        if self.consent.what:
            return self.consent.what, self.consent.wheel, self.consent.value
        what, value = self.cycle.waiting()
        return what, self.cycle.wheel if what else NOBODY, value

    def status(self):
        """All fields of STATUS_IS."""
        e = self.engine
        armed = self.cycle.phase == ARMED
        ceiling = e.g[slots.G_CEIL] if armed else 0
        return {
            "tick": e.head,
            "state": self.cycle.state(),
            "out": e.out & 255,
            "cause": e.g[slots.G_CAUSE],
            "stop_cause": self._why(e),
            "range": _range(e.x[slots.X_SW], self.BENCH),
            "waiting": self.waiting()[0],
            "connection": self.cycle.connection,
            "reading_pa": e.g[slots.G_READ] - slots.BIAS_PA,
            "tyre_pa": e.f[slots.F_TYRE_PA] if armed else self.cycle.tyre_pa,
            "ceiling_pa": ceiling,
            "stop_pa": ceiling - e.g[slots.G_BAND] if ceiling else 0,
            "target_pa": e.y[slots.Y_TARGET_PA] if armed else 0,
            "guard_pa": self.guard_pa(),
            "ambient_pa": self.ambient_pa(),
            "air_ck": self.air_ck(),
            "supply_mv": self.board.pump_mv,
            "tick_max_us": e.longest_us,
            "heap_free": self.heap_free,
            "wheel_id": self.cycle.wheel,
        }

    def _why(self, e):
        """Why no air moves: the fill's own reason, else what ended the cycle, what keeps the guard from air while run is held, the last stop."""
        if e.f[slots.F_REASON] or self.cycle.phase == OVER:
            return e.f[slots.F_REASON] or self.cycle.cause
        if self.cycle.must_let_go():
            return causes.NOT_READY
        held = e.x[slots.X_SW] & buttons.RUN and not e.out & (codes.OUT_READY | codes.OUT_TESTING)
        return e.g[slots.G_WHY] if held else e.g[slots.G_STOP]

    # What the link may do

    def note(self, event, cause, value, value2=0):
        """Record an event: in the session that runs, else kept until the next one begins."""
        if not self.recorder.note(event, cause, value, value2):
            self.unrecorded.note(self.engine.head, event, cause, value, value2)

    def take_profile(self, data):
        """Check and store a profile: (code, slot, digest of what the store reads back)."""
        return intake.take_profile(self, data)

    def profile_of(self, wheel):
        """(bytes, slot, flags of PROFILE_IS) or None."""
        if wheel == NOBODY:
            return (self.entry.profile(), 0, 2) if self.entry.target_pa else None
        found = self.store.profile_get(wheel)
        if not found:
            return None
        fits = self.keys.fits(found[0])
        flags = (1 if fits else 0) | (2 if found[2] else 0) | (4 if wheel == self.cycle.wheel else 0)
        return found[0], found[1], flags

    def choose(self, wheel):
        """Puts a wheel on the hose, as far as the record goes."""
        if self.enabled():
            return replies.BUSY_FILLING
        if getattr(self.board, "bench", 0) and not self.BENCH:
            return replies.PROFILE_NOT_BENCH  # the bench's transducers read otherwise
        if wheel == NOBODY:
            return self.entry.choose(self.cycle)
        found = self.store.profile_get(wheel)
        if not found:
            return replies.NOT_FOUND
        code = profile.check_profile(found[0], self.BENCH) or self.keys.stands(found[0])
        if not code:
            code = self.cycle.choose(wheel, found[0], found[2])
            recent.note(self.store, wheel)
        return code

    def take_setting(self, number, value):
        """Stores a setting if its kind may be changed this way and its value makes sense."""
        return intake.take_setting(self, number, value)

    def keep_day(self, day):
        """Keep the latest day that is known: the clock is lost with the power."""
        if day != self.day and self.store.number_put("day", day) == replies.OK:
            self.day = day

    def beat(self, values):
        """A host's beat: only a proof bench has a lease."""
        return replies.NOT_A_BENCH

    # Sessions

    def open_session(self, cycle):
        """Open the record of a fill cycle."""
        logbook.open_session(self, cycle)
        if not self._boot_told:
            self._boot_told = True
            self.recorder.note(events.BOOT, 0, self.board.reset_cause(), self.cut_off)
        for row in self.unrecorded.take():
            self.recorder.note(*row)

    def keep_session(self):
        """Begin to write what memory holds."""
        if self.recorder.active:
            self.recorder.writing = True
            self.recorder.listed = True

    def sessions(self):
        """Numbers of the stored sessions, newest first; one that was only opened is not listed yet."""
        hidden = self.recorder.number if self.recorder.active and not self.recorder.listed else 0
        return [number for number in self.store.session_list() if number != hidden]

    def keep_trip(self, cause):
        """The record of a trip, before anything else is written."""
        row = {"cause": cause, "state": self.cycle.state(), "boot": self.boots, "tick": self.engine.head}
        row.update({"session": self.recorder.number, "unix_s": self.clock.unix_s(), "value": self.engine.g[slots.G_READ] - slots.BIAS_PA})
        self.board.remember(cause)  # in RAM that outlasts a reset, until it is on flash
        if self.store.trip_add(row) == replies.OK:
            self.board.remember(0)
        self.note(events.TRIPPED, cause, self.engine.g[slots.G_READ] - slots.BIAS_PA)

    def close_session(self, cause):
        """Close the record of a fill cycle; its last pieces are written in the next turns of the loop."""
        if self.recorder.active:
            logbook.close_session(self, cause)

    # The loop

    def start(self):
        """From here on the tick runs."""
        self.engine.start()

    def work(self):
        """One turn of the main loop."""
        self.board.idle()
        head = self.engine.head
        now = self.board.ticks_ms()
        if head != self._head:
            self._head, self._head_ms = head, now
        elif now - self._head_ms > STILL_MS:
            self._halted()
        if head < self._next_work and self._next_work - head <= WORK_TICKS:
            if self.link.opened and not self.engine.out & MOVING:
                self.link.poll()  # a host that asks one thing after the other waits for each answer
            return
        self._next_work = head + WORK_TICKS
        self.board.feed()
        self.link.poll()
        pressed, held = self.buttons.poll()
        if pressed or held:
            self.interface.pressed(pressed, held)
        self.consent.work()
        self.cycle.work()
        self.cutoff.work()
        self.recorder.work(self.sample(), self._limits())
        self._keep()
        if head >= self._next_slow or self._next_slow - head > SLOW_TICKS:
            self._next_slow = head + SLOW_TICKS
            self._slow()

    def _keep(self):
        """Write pieces of the session for a while: one that takes long, as a flash erase does, is the last of this turn."""
        began = self.board.ticks_ms()
        if not self.recorder.active and not self.enabled():
            self.unrecorded.keep()
        for _ in range(PIECES):
            if not self.recorder.writing or self.enabled() or self.board.ticks_ms() - began >= WRITE_MS:
                return
            self.recorder.keep(self.store)

    def _halted(self):
        """The tick has stopped, by an exception or for good: air off, the record of it, a fresh start. Nothing feeds the watchdog any more."""
        self.board.off()
        self.cycle.phase = OVER  # nothing can move: the store takes records
        self.keep_trip(causes.TICK_LATE)
        self.board.last_words(self.engine.error or RuntimeError("the tick stopped"))
        self.board.reset()

    def sample(self):
        """Filtered readings and tyre in Pa, and the state."""
        g = self.engine.g
        a = (g[slots.G_FA] >> 4) - slots.BIAS_PA
        b = (g[slots.G_FB] >> 4) - slots.BIAS_PA
        return a, b, self.engine.f[slots.F_TYRE_PA], self.cycle.state()

    def _limits(self):
        e = self.engine
        ceiling = e.g[slots.G_CEIL]
        return ceiling, max(0, ceiling - e.g[slots.G_BAND]), e.y[slots.Y_TARGET_PA]

    def _slow(self):
        """Ten times a second: ambient, display, buzzer, memory."""
        self.interface.work()
        self.clock.unix_s()  # often enough to see the milliseconds wrap
        self.air.work()
        self.cutoff.watch()
        if self.engine.head % COLLECT_TICKS < SLOW_TICKS:
            if not self.enabled():
                gc.collect()
            self.heap_free = _heap_free()  # walks the whole heap: not for every status


def run(board, kind=App):
    """Never returns, never reaches a prompt: every way out is air off and a reset.

    One exception: the workshop contact held at power-up. Then no tick ever runs, the air stays off, and the prompt is there for service.
    """
    if getattr(board, "maintenance", False):
        board.off()
        display.notice(board, "maintenance")
        return
    try:
        app = kind(board)
        gc.collect()
        if hasattr(gc, "threshold"):
            gc.threshold(-1)  # while modules load main.py has it collect often, so that what stays lies close together
        app.start()
        while True:
            app.work()
    except SystemExit as end:
        board.off()
        raise end
    except BaseException as error:
        board.off()
        board.last_words(error)
        board.reset()


def _range(word, bench):
    low = word & buttons.KEY_LOW
    high = word & buttons.KEY_HIGH
    if bench:
        return codes.RANGE_BENCH if low and high else codes.RANGE_NONE
    if bool(low) == bool(high):
        return codes.RANGE_NONE
    return codes.RANGE_LOW if low else codes.RANGE_HIGH


def _heap_free():
    return gc.mem_free() if hasattr(gc, "mem_free") else 0
