"""Inflator application: connects its parts and runs the main loop. The main loop may stall or stop; the tick still holds the limit."""

import gc

from rimward_protocol import causes, codes, profile, replies
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw import chores, rooms
from rimward_fw.control import configuration, intake, sense, status, stored
from rimward_fw.control.ambient import Ambient
from rimward_fw.control.consent import Consent
from rimward_fw.control.cutoff_check import CutoffCheck
from rimward_fw.control.cycle import FillCycle
from rimward_fw.control.engine import Engine
from rimward_fw.control.phases import ARMED, NOBODY, OVER
from rimward_fw.control.unregistered import Entry
from rimward_fw.link.connection import Link
from rimward_fw.storage import blocks, logbook, recent
from rimward_fw.storage.clock import Clock
from rimward_fw.storage.keys import Keys
from rimward_fw.storage.store import Store
from rimward_fw.storage.unrecorded import Unrecorded
from rimward_fw.ui import buttons, display
from rimward_fw.ui.interface import Interface

if TYPE_CHECKING:
    from rimward_protocol.shapes import Record

    from rimward_fw.shapes import Board


WORK_TICKS = 5
STILL_MS = 200  # without a tick: it has stopped
MOVING = codes.OUT_GATE | codes.OUT_RELAY | codes.OUT_TESTING


class App:
    """One inflator on one board. A proof bench overrides the class attributes."""

    BENCH = False
    GAIN = configuration.GAIN
    OFF_SEALED = configuration.OFF_SEALED
    OFF_VENTED = configuration.OFF_VENTED
    BAND_PA = configuration.GUARD_BAND_PA
    CYCLE = FillCycle
    hardware: "Record"  # these are set by `stored.read_settings`
    transducers: "dict[str, int]"
    day: int
    band_pa: int
    band_day: int
    baro_offset: int
    air_offset: int

    def __init__(self, board: "Board") -> None:
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
        self.person = b""  # person who fills, as named by the host
        self.refusal = 0
        self.start_noted = False
        self.cut_off = stored.end_last_run(self)
        self.pending_delete: object = None
        self._next_work = 0
        self._busy = self._host_first = self._owed = False
        self.settings_stale = False
        self._head = -1
        self._head_ms = 0
        self.chores = chores.Chores(self)
        self.opened_s = 0
        self.heap_free = blocks.heap_free()
        self.read_settings()
        for slot, name in ((17, "gain_a"), (19, "gain_b"), (20, "off_b")):
            self.engine.x[slot] = self.transducers[name]
        self.air = Ambient(self)
        self.air.begin()
        self.cutoff = CutoffCheck(self)

    def read_settings(self) -> None:
        """Read the settings. Unset values use the conservative default."""
        stored.read_settings(self)

    def source(self, value: bytes) -> "Record":
        """Row of `configuration.HARDWARE` that the stored setting selects."""
        return configuration.source(value)

    def enabled(self) -> bool:
        """Return True while air may move; nothing is stored then."""
        g = self.engine.g
        return bool(
            self.engine.out & MOVING
            or (
                self.engine.x[slots.X_SW] & buttons.RUN
                and not g[slots.G_CAUSE]
                and self.cycle.phase == ARMED
            )
        )

    def button_held(self) -> bool:
        """Return True while the workshop button is pressed."""
        return bool(self.engine.x[slots.X_SW] & buttons.WORKSHOP)

    def ambient_pa(self) -> int:
        """Corrected absolute ambient pressure, Pa; 0 without a barometer."""
        pa = self.board.ambient_pa
        return pa + self.baro_offset if pa else 0

    def air_ck(self) -> int:
        """Air temperature, 0.01 K."""
        return self.board.air_ck + self.air_offset

    def guard_pa(self) -> int:
        """Guard band, Pa: never below the compiled minimum; 50 % wider once the calibration is overdue."""
        pa = max(1000, self.band_pa)
        return pa + pa // 2 if self.calibration_age_days() > codes.CALIBRATION_DUE_DAYS else pa

    def calibrated_day(self) -> int:
        """Day of the calibration, days since 2020-01-01; 0 without one."""
        return self.band_day

    def calibration_age_days(self) -> int:
        """Days since the calibration, from the latest known day; 0 without one."""
        return max(self.clock.day(), self.day) - self.band_day if self.band_day else 0

    def locked_out(self) -> bool:
        """Return True once the calibration is so old that the pump stays locked."""
        return self.calibration_age_days() > codes.CALIBRATION_LOCK_DAYS

    def no_air(self, wheel: bytes) -> int:
        """Cause for which no fill of this wheel may be armed, 0 for none: bring-up, cutoff measurement, daily test."""
        brought_up = (
            2
            if self.BENCH or getattr(self.board, "commissioned", False)
            else (self.store.setting_get(sense.BRING_UP)[0] or b"\0")[0]
        )
        # before bring-up is complete: only an unregistered wheel, into a closed volume
        if brought_up < (1 if wheel == NOBODY else 2):
            return causes.NOT_COMMISSIONED
        return self.cutoff.refusal()

    def waiting(self) -> tuple[int, bytes, int]:
        """Return (WAITINGS number, wheel, value)."""
        if self.consent.what:
            return self.consent.what, self.consent.wheel, self.consent.value
        what, value = self.cycle.waiting()
        return what, self.cycle.wheel if what else NOBODY, value

    def status(self) -> "Record":
        """All fields of STATUS_IS."""
        return status.status(self)

    def note(self, event: int, cause: int, value: int, value2: int = 0) -> None:
        """Record an event in the running session, or keep it for the next one."""
        if not self.recorder.note(event, cause, value, value2):
            self.unrecorded.note(self.engine.head, event, cause, value, value2)

    def take_profile(self, data: bytes) -> tuple[int, int, bytes]:
        """Check and store a profile. Return (code, slot, digest of the stored bytes)."""
        return intake.take_profile(self, data)

    def profile_of(self, wheel: bytes) -> tuple[bytes, int, int] | None:
        """(bytes, slot, flags of PROFILE_IS) or None."""
        if wheel == NOBODY:
            return (self.entry.profile(), 0, 2) if self.entry.target_pa else None
        found = self.store.profile_get(wheel)
        if not found:
            return None
        fits = self.keys.fits(found[0])
        flags = (
            (1 if fits else 0) | (2 if found[2] else 0) | (4 if wheel == self.cycle.wheel else 0)
        )
        return found[0], found[1], flags

    def choose(self, wheel: bytes) -> int:
        """Select the active wheel."""
        if self.enabled():
            return replies.BUSY_FILLING
        if getattr(self.board, "bench", 0) and not self.BENCH:
            return replies.PROFILE_NOT_BENCH  # the bench's transducers have another scale
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

    def take_setting(self, number: int, value: bytes) -> int:
        """Store a setting whose kind may be changed from a host and whose value is valid."""
        return intake.take_setting(self, number, value)

    def keep_day(self, day: int) -> None:
        """Keep the latest known day: the clock is lost with the power."""
        if day != self.day and self.store.number_put("day", day) == replies.OK:
            self.day = day

    def beat(self, values: "Record") -> int:
        """Handle a heartbeat of the host: only a proof bench has a lease."""
        return replies.NOT_A_BENCH

    # Sessions

    def open_session(self, cycle: "FillCycle") -> None:
        """Begin to open the record of a fill cycle."""
        logbook.open_session(self, cycle)

    def keep_session(self) -> None:
        """Start writing the recorded session to the store."""
        if self.recorder.active:
            self.recorder.writing = True
            self.recorder.listed = True

    def sessions(self) -> list[int]:
        """Numbers of the stored sessions, newest first, without a session that was only opened."""
        hidden = self.recorder.number if self.recorder.active and not self.recorder.listed else 0
        return [number for number in self.store.session_list() if number != hidden]

    def keep_trip(self, cause: int) -> None:
        """Record a trip before anything else is written."""
        logbook.keep_trip(self, cause)

    def close_session(self, cause: int) -> None:
        """Close the record of a fill cycle; its last pieces are written in later turns of the main loop."""
        if self.recorder.active:
            logbook.close_session(self, cause)

    def start(self) -> None:
        """Start the tick."""
        rooms.drop()
        self.engine.start()

    def work(self) -> None:
        """Run one turn of the main loop."""
        self.board.idle()
        head, now = self.engine.head, self.board.ticks_ms()
        if head != self._head:
            self._head, self._head_ms = head, now
        elif now - self._head_ms > STILL_MS:
            self._halted()
        if head < self._next_work and self._next_work - head <= WORK_TICKS:
            # a host that sends one request after the other waits for each answer
            if (
                self.link.opened
                and not self._owed
                and not self.engine.out & MOVING
                and self.link.poll()
            ):
                self.chores.left(chores.ASKED_BYTES)
            return
        self._next_work = head + WORK_TICKS
        self.board.feed()
        asked, owed = self._busy, self._owed
        self._busy = not asked and not owed and self._asked()
        if self._busy:
            self.chores.left(chores.ASKED_BYTES)
        self.consent.work()
        self.cycle.work()
        self.cutoff.work()
        chore = not self._busy and not owed and self.chores.work(head)
        # what a host that asks without end leaves on the heap takes the other turns: then the next one is the record's
        self._owed = asked and chore and self.recorder.active
        if self._busy or chore:
            self.recorder.work(self.sample(), self._limits(), False)
        elif not self.recorder.work(self.sample(), self._limits(), True):
            self._keep()

    def _asked(self) -> bool:
        """Do what a person, a stored setting, the host or a step of a start asks for. Return True if that took its time: the next turn is for
        the rest then. Host and steps come first in turns, so that neither waits for the other for long.
        """
        if self.settings_stale:  # before a press: it may start a fill
            self.settings_stale = False
            self.read_settings()
            self.cycle.reload(self.transducers)
            return True
        pressed, held = self.buttons.poll()
        if pressed or held:
            self.interface.pressed(pressed, held)
            return True
        self._host_first = not self._host_first
        if self._host_first:
            return self.link.poll() or self.cycle.step()
        return self.cycle.step() or self.link.poll()

    def _keep(self) -> None:
        """Write one piece of the session, or the events that wait for the next one."""
        if self.enabled():
            return
        if self.recorder.writing:
            self.recorder.keep(self.store)
            self.chores.left(chores.PIECE_BYTES)
        elif not self.recorder.active:
            self.unrecorded.keep()

    def _halted(self) -> None:
        """Handle a halted tick: air off, record it, reset. The watchdog is no longer fed."""
        self.board.off()
        self.cycle.phase = OVER  # no air can move, so the store accepts records
        self.keep_trip(causes.TICK_LATE)
        self.board.last_words(self.engine.error or RuntimeError("the tick stopped"))
        self.board.reset()

    def sample(self) -> tuple[int, int, int, int]:
        """Return the filtered readings and tyre in Pa, and the state."""
        g = self.engine.g
        a = (g[slots.G_FA] >> 4) - slots.BIAS_PA
        b = (g[slots.G_FB] >> 4) - slots.BIAS_PA
        return a, b, self.engine.f[slots.F_TYRE_PA], self.cycle.state()

    def _limits(self) -> tuple[int, int, int]:
        e = self.engine
        ceiling = e.g[slots.G_CEIL]
        return ceiling, max(0, ceiling - e.g[slots.G_BAND]), e.y[slots.Y_TARGET_PA]

    def slow(self) -> bool:
        """Run the tenth-of-a-second tasks: ambient, display, buzzer, rooms. Return True if the display takes one more turn."""
        more = self.interface.work()
        self.clock.unix_s()  # often enough to detect the wrap of the milliseconds
        self.air.work()
        self.cutoff.watch()
        if not self.enabled():
            rooms.rest()
        return more


def run(board: "Board", kind: type[App] = App) -> None:
    """Run for ever; every exit switches the air off and resets, never to a prompt.

    One exception: the workshop contact held at power-up. Then no tick ever runs, the air stays off, and the prompt is there for service.
    """
    if getattr(board, "maintenance", False):
        board.off()
        display.notice(board, "maintenance")
        return
    try:
        try:
            app = kind(board)
        except OSError as error:  # no file system: it says so, with the air off, instead of starting again and again
            board.off()
            display.notice(board, "no-store")
            board.last_words(error)
            while True:
                board.idle()
        gc.collect()
        if hasattr(gc, "threshold"):
            # main.py makes collection frequent while modules load, so that permanent objects lie together
            gc.threshold(-1)
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
