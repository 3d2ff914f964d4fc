"""Simulated inflator: two pipes in place of pins and converters, in lockstep with a plant in another process.

File descriptor 3 brings one INPUT record a tick, descriptor 4 takes one OUTPUT record; standard input and output are
the link, as on the real board. The tick runs from `idle`, where the real board's runs from a timer.
"""

import os
import select
import struct
import sys
import time

from rimward_protocol import kernel_slots as slots

TYPE_CHECKING = False  # its own: this file joins any firmware
if TYPE_CHECKING:
    from array import array
    from collections.abc import Sequence
    from typing import Any

    from rimward_protocol.shapes import Buffer


# A, B, hardware switch bits, LOAD, GAP, SUPPLY, pump supply mV, flags; ambient Pa, air 0.01 K, UTC; view of the cutoff
INPUT = "<8HiiI4h"
INPUT_BYTES = struct.calcsize(INPUT)
OUTPUT = "<HHI"
IN_BAROMETER = 1
IN_RESET = 2
IN_VIEW = 4
OUT_DISPLAY = 1  # 1,024 bytes of display follow
OUT_BUZZER = 2
OUT_RESET = 4
HW_MASK = (
    0x1E0F  # run, key, cutoff and buttons: the bits that wires carry; the firmware sets the others
)


class Board:
    """Simulated board with the interface of `board.pico`."""

    NAME = "simulated"

    def __init__(self) -> None:
        self._in = open(3, "rb", **_RAW)
        self._out = open(4, "wb", **_RAW)
        self._row = bytearray(INPUT_BYTES)
        self._reply = bytearray(struct.calcsize(OUTPUT))
        self._now = (0,) * 15
        self._engine: "Any" = None
        self._display: "Any" = None
        self._flags = 0
        self._bits = 0
        self._ticks = 0
        self.ambient_pa = 0
        self.air_ck = 0
        self.pump_mv = 0
        self.unix_s = 0
        self.commissioned = not _getenv(
            "RIMWARD_BARE"
        )  # otherwise as a new board before its bring-up
        self.link = _stdin()
        self._link_out = sys.stdout.buffer
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)
        self._one = bytearray(1)
        self.simulated = True

    def context(self, arrays: "list[array[int]]") -> "Any":
        """Return the tick's context: no register blocks, the plant supplies the fast inputs."""
        return arrays

    def set_pins(self, t: "array[int]") -> None:
        """Do nothing: this board has no pins."""

    def start(self, engine: "Any", _tick: "Any") -> None:
        """Run the tick every 2 ms of plant time from now on, once an exchange."""
        self._engine = engine

    def off(self) -> None:
        """Switch off everything that can move air and open the vent."""
        self._bits = 4

    def idle(self) -> None:
        """Wait for the plant's next tick and run it. End the process when the plant has ended."""
        got = self._in.readinto(self._row)
        if got != INPUT_BYTES and not _rest(self._in, self._row, got or 0):
            sys.exit(0)
        row = self._now = struct.unpack_from(INPUT, self._row, 0)
        self.pump_mv = row[6]
        marks = row[7]
        self.ambient_pa = row[8] if marks & IN_BAROMETER else 0
        self.air_ck = row[9]
        self.unix_s = row[10]
        if marks & IN_RESET:
            self.reset()
        if self._engine:
            x = self._engine.x
            for word in range(slots.FAST_INPUTS):
                x[word] = row[word]
            x[slots.X_SW] &= HW_MASK
            self._bits = self._engine.decide()
        self._ticks += 1
        flags = self._flags
        struct.pack_into(OUTPUT, self._reply, 0, self._bits & 0xFFFF, flags, self._ticks)
        self._out.write(self._reply)
        if flags & OUT_DISPLAY:
            self._flags = flags & OUT_BUZZER
            self._out.write(self._display)

    def cutoff_words(self) -> "Sequence[int]":
        """Signal of C, supply, threshold and coil of the independent cutoff at the converter's pins, 125 uV a step."""
        return self._now[11:]

    def cutoff_fresh(self) -> bool:
        """Return True while the cutoff's converter answers."""
        return self._now[7] & IN_VIEW != 0

    def ticks_ms(self) -> int:
        """Milliseconds of plant time."""
        return self._ticks * 2

    def now_us(self) -> int:
        """Wall time in microseconds for measuring durations; wraps."""
        return _ticks_us()

    def read(self, into: bytearray) -> int:
        """Read the link bytes that are available, at most len(into). Return their number, 0 when there are none."""
        count = 0
        while count < len(into) and self._ready():
            if not self.link.readinto(self._one):
                sys.exit(0)
            into[count] = self._one[0]
            count += 1
        return count

    def _ready(self) -> int:
        for event in self._poll.poll(0):
            return event[1] & select.POLLIN
        return False

    def write(self, view: "Buffer") -> int:
        """Write bytes to the link without waiting. Return the number of bytes taken."""
        return _send(self._link_out, view)

    def show(self, frame: "Buffer") -> None:
        """Take 1,024 bytes (128 x 64, vertical bytes) for the display."""
        self._display = frame
        self._flags |= OUT_DISPLAY

    def beep(self, on: object) -> None:
        """Switch the buzzer on or off."""
        self._flags = self._flags | OUT_BUZZER if on else self._flags & ~OUT_BUZZER

    def feed(self) -> None:
        """Feed the watchdog."""

    def reset(self) -> None:
        """Do what a watchdog reset does: the plant sees it and restarts the firmware."""
        struct.pack_into(OUTPUT, self._reply, 0, 4, OUT_RESET, self._ticks)
        self._out.write(self._reply)
        sys.exit(3)

    def reset_cause(self) -> int:
        """Reason for the start; 0, unknown."""
        return 0

    def remember(self, word: int) -> None:
        """Do nothing: no memory outlasts this process."""

    def remembered(self) -> int:
        """Return 0: nothing is kept over a reset."""
        return 0

    def hold(self) -> int:
        """Do nothing: here the tick never interrupts."""
        return 0

    def let_go(self, state: int) -> None:
        """Do nothing, see `hold`."""

    def last_words(self, error: BaseException) -> None:
        """Print the reason why the loop ended."""
        sys.stderr.write(repr(error) + "\n")

    def random(self, count: int) -> bytes:
        """`count` random bytes."""
        return os.urandom(count)

    def unique_id(self) -> bytes:
        """Eight bytes that identify this inflator."""
        text = _getenv("RIMWARD_DEVICE") or "virtual0"
        return (text.encode() + b"00000000")[:8]

    def mount(self) -> str:
        """Mount the store's file system: littlefs in memory, kept in a host file between runs if one is named. Return its folder."""
        from rimward_fw.board.simulated_flash import mount

        return mount(_getenv("RIMWARD_FLASH"))


def _rest(stream: "Any", buf: bytearray, got: int) -> bool:
    """Read until the buffer is full, since a pipe may return less at a time. False at the end of the stream."""
    while 0 < got < len(buf):
        more = stream.read(len(buf) - got)
        if not more:
            return False
        buf[got : got + len(more)] = more
        got += len(more)
    return got == len(buf)


def _getenv(name: str) -> str | None:
    return os.getenv(name)


if sys.implementation.name == "micropython":
    _RAW: "Any" = {}

    def _ticks_us() -> int:
        return time.ticks_us()

    def _send(stream: "Any", view: "Buffer") -> int:
        return stream.write(view) or 0  # None: the line takes nothing at present

    def _stdin() -> "Any":
        return sys.stdin.buffer
else:
    _RAW = {"buffering": 0}

    def _ticks_us() -> int:
        return time.monotonic_ns() // 1000 & 0x3FFFFFFF

    def _send(stream: "Any", view: "Buffer") -> int:
        try:
            return os.write(1, view)
        except BlockingIOError:
            return 0

    def _stdin() -> "Any":
        return open(
            0, "rb", buffering=0, closefd=False
        )  # buffered bytes would be invisible to select
