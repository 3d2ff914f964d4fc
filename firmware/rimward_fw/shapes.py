"""What the firmware's rooms ask of a board and of the application: for mypy and readers, under `TYPE_CHECKING` only, never on a board."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from typing import Any, Protocol

from rimward_protocol.shapes import Buffer, Record

from rimward_fw.control.ambient import Ambient
from rimward_fw.control.consent import Consent
from rimward_fw.control.cutoff_check import CutoffCheck
from rimward_fw.control.cycle import FillCycle
from rimward_fw.control.engine import Engine
from rimward_fw.control.unregistered import Entry
from rimward_fw.link.connection import Link
from rimward_fw.storage.clock import Clock
from rimward_fw.storage.keys import Keys
from rimward_fw.storage.recorder import Recorder
from rimward_fw.storage.store import Store
from rimward_fw.storage.unrecorded import Unrecorded
from rimward_fw.ui.interface import Interface


class Wire(Protocol):
    """Transport of the link: the bytes between a host and this board."""

    def read(self, into: bytearray) -> int:
        """Read the bytes that are available. Return their number."""
        ...

    def write(self, view: Buffer) -> int:
        """Send what the line takes at once. Return the number of bytes."""
        ...


class Board(Wire, Protocol):
    """Board: `board.pico` and `board.simulated` have this interface, and a new board needs it."""

    NAME: str
    simulated: bool
    unix_s: int

    @property
    def ambient_pa(self) -> int:
        """Absolute ambient pressure, Pa; 0 without a barometer."""
        ...

    @property
    def air_ck(self) -> int:
        """Air temperature, 0.01 K; 0 before the first reading."""
        ...

    @property
    def pump_mv(self) -> int:
        """Supply of the pump, mV."""
        ...

    def context(self, arrays: list[array[int]]) -> Any:
        """Return the tick's context."""
        ...

    def set_pins(self, t: array[int]) -> None:
        """Write pin masks and scales into the tick's words."""
        ...

    def start(self, engine: Engine, tick: Any) -> None:
        """Run the tick every 2 ms from now on."""
        ...

    def off(self) -> None:
        """Switch off everything that can move air and open the vent."""
        ...

    def idle(self) -> None:
        """Do what the board has to do between two turns of the main loop."""
        ...

    def cutoff_words(self) -> Sequence[int]:
        """Signal of C, supply, threshold and coil of the independent cutoff, 125 uV a step."""
        ...

    def cutoff_fresh(self) -> bool:
        """Return True while the cutoff's converter answers."""
        ...

    def ticks_ms(self) -> int:
        """Milliseconds since start; does not wrap."""
        ...

    def now_us(self) -> int:
        """Microsecond counter for measuring durations; wraps."""
        ...

    def show(self, frame: Buffer) -> None:
        """Show 1,024 bytes (128 x 64, vertical bytes)."""
        ...

    def beep(self, on: object) -> None:
        """Switch the buzzer on or off."""
        ...

    def feed(self) -> None:
        """Feed the watchdog."""
        ...

    def reset(self) -> None:
        """Switch the air off and reset. Does not return."""
        ...

    def reset_cause(self) -> int:
        """Reason for the start."""
        ...

    def remember(self, word: int) -> None:
        """Keep a number below 2**16 over a reset; 0 clears it."""
        ...

    def remembered(self) -> int:
        """Return the number kept by the last run; 0 for none."""
        ...

    def hold(self) -> int:
        """Block the tick between two reads of its arrays."""
        ...

    def let_go(self, state: int) -> None:
        """End `hold`."""
        ...

    def last_words(self, error: BaseException) -> None:
        """Keep the reason why the loop ended."""
        ...

    def random(self, count: int) -> bytes:
        """`count` random bytes."""
        ...

    def unique_id(self) -> bytes:
        """Eight bytes that identify this inflator."""
        ...

    def mount(self) -> str:
        """Mount the store's file system. Return its folder."""
        ...


class App(Protocol):
    """Application, as its parts see it."""

    BENCH: bool
    board: Board
    engine: Engine
    store: Store
    boots: int
    start_noted: bool  # a record says why this run started
    cut_off: int  # number of a session that the last run left unfinished, or 0
    clock: Clock
    keys: Keys
    cycle: FillCycle
    interface: Interface
    recorder: Recorder
    unrecorded: Unrecorded
    consent: Consent
    entry: Entry
    cutoff: CutoffCheck
    person: bytes
    refusal: int
    pending_delete: Any
    opened_s: int
    settings_stale: bool  # a stored setting is not in force yet
    heap_free: int
    air: Ambient
    link: Link
    BAND_PA: int
    GAIN: int
    OFF_SEALED: int
    OFF_VENTED: int
    day: int
    band_pa: int  # guard band as stored, and the day of its calibration
    band_day: int
    baro_offset: int
    air_offset: int
    hardware: Record
    transducers: dict[str, int]

    def read_settings(self) -> None:
        """Read the settings. Unset values use the conservative default."""
        ...

    def source(self, value: bytes) -> Record:
        """Row of `configuration.HARDWARE` that the stored setting selects."""
        ...

    def enabled(self) -> bool:
        """Return True while air may move; nothing is stored then."""
        ...

    def button_held(self) -> bool:
        """Return True while the workshop button is pressed."""
        ...

    def ambient_pa(self) -> int:
        """Corrected absolute ambient pressure, Pa; 0 without a barometer."""
        ...

    def air_ck(self) -> int:
        """Air temperature, 0.01 K."""
        ...

    def guard_pa(self) -> int:
        """Guard band, Pa: never below the compiled minimum; 50 % wider once the calibration is overdue."""
        ...

    def calibrated_day(self) -> int:
        """Day of the calibration, days since 2020-01-01; 0 without one."""
        ...

    def calibration_age_days(self) -> int:
        """Days since the calibration, from the latest known day; 0 without one."""
        ...

    def locked_out(self) -> bool:
        """Return True once the calibration is so old that the pump stays locked."""
        ...

    def no_air(self, wheel: bytes) -> int:
        """Cause for which no fill of this wheel may be armed, 0 for none: bring-up, cutoff measurement, daily test."""
        ...

    def waiting(self) -> tuple[int, bytes, int]:
        """Return (WAITINGS number, wheel, value)."""
        ...

    def status(self) -> Record:
        """All fields of STATUS_IS."""
        ...

    def note(self, event: int, cause: int, value: int, value2: int = 0) -> None:
        """Record an event in the running session, or keep it for the next one."""
        ...

    def take_profile(self, data: bytes) -> tuple[int, int, bytes]:
        """Check and store a profile. Return (code, slot, digest of the stored bytes)."""
        ...

    def profile_of(self, wheel: bytes) -> tuple[bytes, int, int] | None:
        """(bytes, slot, flags of PROFILE_IS) or None."""
        ...

    def choose(self, wheel: bytes) -> int:
        """Select the active wheel."""
        ...

    def take_setting(self, number: int, value: bytes) -> int:
        """Store a setting whose kind may be changed from a host and whose value is valid."""
        ...

    def keep_day(self, day: int) -> None:
        """Keep the latest known day: the clock is lost with the power."""
        ...

    def beat(self, values: Record) -> int:
        """Handle a heartbeat of the host: only a proof bench has a lease."""
        ...

    def open_session(self, cycle: FillCycle) -> None:
        """Begin to open the record of a fill cycle."""
        ...

    def keep_session(self) -> None:
        """Start writing the recorded session to the store."""
        ...

    def sessions(self) -> list[int]:
        """Numbers of the stored sessions, newest first, without a session that was only opened."""
        ...

    def keep_trip(self, cause: int) -> None:
        """Record a trip before anything else is written."""
        ...

    def close_session(self, cause: int) -> None:
        """Close the record of a fill cycle; its last pieces are written in later turns of the main loop."""
        ...

    def slow(self) -> bool:
        """Run the tenth-of-a-second tasks: ambient, display, buzzer, rooms. Return True if the display takes one more turn."""
        ...

    def sample(self) -> tuple[int, int, int, int]:
        """Return the filtered readings and tyre in Pa, and the state."""
        ...
