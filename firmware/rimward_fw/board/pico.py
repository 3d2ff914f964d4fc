"""Raspberry Pi Pico (RP2040): pins, converters, switches, timer, link. `pins` names every wire, `wiring` sets them up.

The tick (`kernels/tick.py`) reads and writes the register blocks that `context` names. No other code may use the ADC or the SPI bus of
transducer A: a single read elsewhere would mix the channels. Everything here is called by the main loop.
"""

import os
import select
import sys
import time
from array import array

import machine
import micropython
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.board import pins, wiring
from rimward_fw.board.pins import ADC_PUMP_MILLI, ADC_SUPPLY_MILLI

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from rimward_protocol.shapes import Buffer

    from rimward_fw.board.barometer import Barometer
    from rimward_fw.board.converters import Converters
    from rimward_fw.board.cutoff_view import CutoffView
    from rimward_fw.board.display import Display


PERIOD_MS = 2
WATCHDOG_MS = (
    4000  # longer than the longest write after a fill; without a tick the pulses stop within 20 ms
)
PIECE = 64  # one USB packet: more would wait inside the interpreter for the host
REFERENCE_MV = 3300
STORE = "/rimward"
LAST_WORDS = "/last_words.txt"
SCRATCH = 0x4005800C  # RP2040 datasheet 4.7.6, watchdog SCRATCH0: not used by the boot ROM, kept over a watchdog reset
REMEMBERED = 0x5249
LAMP_BIT = 2  # the guard's RELAY output

# name in the tick's words, signal
PIN_WORDS = (
    (slots.T_PIN_RUN, "RUN"),
    (slots.T_PIN_KEY_LOW, "KEY_LOW"),
    (slots.T_PIN_KEY_HIGH, "KEY_HIGH"),
    (slots.T_PIN_CUTOFF, "CUTOFF"),
    (slots.T_PIN_UP, "UP"),
    (slots.T_PIN_DOWN, "DOWN"),
    (slots.T_PIN_ENTER, "ENTER"),
    (slots.T_PIN_WORKSHOP, "WORKSHOP"),
    (slots.T_PIN_GATE, "GATE"),
    (slots.T_PIN_RELAY, "RELAY"),
    (slots.T_PIN_VENT, "VENT"),
    (slots.T_PIN_CS, "SPI_CS"),
)


def pump_mv(total: int) -> int:
    """Return the pump supply in mV from a sum of four 12-bit codes behind its divider."""
    return total * (REFERENCE_MV * 1000 // ADC_PUMP_MILLI) >> 14


class Board:
    """The Pico; same interface as the simulated board."""

    NAME = "pico"
    gate: "Any"  # these are set by `wiring.wire`
    relay: "Any"
    vent: "Any"
    buzzer: "Any"
    lamp: "Any"
    cs: "Any"
    workshop: "Any"
    bench: int
    converters: "Converters"
    spi: "Any"
    barometer: "Barometer"
    view: "CutoffView"
    display: "Display"
    stdin: "Any"
    stdout: "Any"
    poll: "Any"
    poll_out: "Any"

    def __init__(self) -> None:
        micropython.alloc_emergency_exception_buf(100)
        self._ms = 0
        self._ms_at = time.ticks_ms()
        wiring.wire(self)
        self.simulated = False
        self.maintenance = bool(self.workshop())  # the workshop contact, closed at power-up
        self.unix_s = 0
        self._timer: "Any" = None
        micropython.kbd_intr(3 if self.maintenance else -1)  # otherwise byte 0x03 is data
        self._watchdog: "Any" = None
        self._dead = False
        self._fed = -1
        self._t: "Any" = None
        self._one = bytearray(1)

    # Tick

    def context(self, arrays: "list[array[int]]") -> "Any":
        """Return the tick's context: addresses of `arrays` and of the register blocks; where registers are stand-ins, the arrays
        themselves.
        """
        blocks = arrays + self.converters.blocks()
        if sys.platform != "rp2":
            return blocks
        import uctypes

        addresses = [
            block if isinstance(block, int) else uctypes.addressof(block) for block in blocks
        ]
        return array(
            "i", [address - (1 << 32) if address >> 31 else address for address in addresses]
        )

    def set_pins(self, t: "array[int]") -> None:
        """Write pin masks and scales into the tick's words."""
        for word, signal in PIN_WORDS:
            t[word] = 1 << pins.gpio(signal)
        t[slots.T_SUPPLY_GAIN] = REFERENCE_MV * 1000 // ADC_SUPPLY_MILLI
        t[slots.T_SUPPLY_F] = self.converters.supply_sum() << 4
        self._t = t

    def start(self, _engine: "Any", tick: "Any") -> None:
        """Run the tick every 2 ms in a hard interrupt from now on; it has to run for the watchdog to be fed."""
        self._t[slots.T_BEGAN_US] = time.ticks_us() & 0x3FFFFFFF
        self._watchdog = machine.WDT(timeout=WATCHDOG_MS)
        self._timer = machine.Timer(
            period=PERIOD_MS, mode=machine.Timer.PERIODIC, hard=True, callback=tick.interrupt
        )

    def off(self) -> None:
        """Switch off everything that can move air, open the vent, and run no kernel until a reset. Callable from any context."""
        self._dead = True
        if self._t is not None:
            self._t[slots.T_HALT] = 1
        self.relay(0)
        self.vent(0)  # a normally-open valve

    # Main loop

    def idle(self) -> None:
        """Sleep until the next interrupt, then run one short step for barometer, cutoff measurement, converters and display."""
        machine.idle()
        now = self.ticks_ms()
        self.barometer.work(now)
        self.view.work(now)
        self.display.work(now)
        if self._t is not None:
            out = self._t[slots.T_OUT]
            self.lamp(1 if out & LAMP_BIT else 0)  # on while the relay is closed
            if not out & LAMP_BIT:
                self.converters.renew()

    @property
    def ambient_pa(self) -> int:
        """Absolute ambient pressure, Pa; 0 without a barometer."""
        return self.barometer.pa

    def cutoff_words(self) -> "Sequence[int]":
        """Signal of C, supply, threshold and coil of the independent cutoff at the converter's pins, 125 uV a step."""
        return self.view.words

    def cutoff_fresh(self) -> bool:
        """Return True while the cutoff's converter answers."""
        return self.view.fresh(self.ticks_ms())

    @property
    def air_ck(self) -> int:
        """Air temperature, 0.01 K; 0 before the first reading."""
        return self.barometer.air_ck

    @property
    def pump_mv(self) -> int:
        """Supply of the pump, mV."""
        return pump_mv(self._t[slots.T_PUMP])

    def ticks_ms(self) -> int:
        """Milliseconds since start; does not wrap. Main loop only."""
        now = time.ticks_ms()
        self._ms += time.ticks_diff(now, self._ms_at)
        self._ms_at = now
        return self._ms

    def now_us(self) -> int:
        """Microsecond counter for measuring durations; wraps."""
        return time.ticks_us()

    def read(self, into: bytearray) -> int:
        """Read the link bytes that are available, at most len(into). Return their number."""
        count = 0
        while count < len(into) and self._ready():
            self.stdin.readinto(self._one)
            into[count] = self._one[0]
            count += 1
        return count

    def _ready(self) -> int:
        for event in self.poll.ipoll(0):
            return event[1] & select.POLLIN
        return False

    def write(self, view: "Buffer") -> int:
        """Send what the line takes at once and return the number of bytes; never wait for a host that does not read."""
        at = 0
        while at < len(view) and self._takes():
            sent = self.stdout.write(view[at : at + PIECE])
            if not sent:
                break
            at += sent
        return at

    def _takes(self) -> int:
        for event in self.poll_out.ipoll(0):
            return event[1] & select.POLLOUT
        return False

    def show(self, frame: "Buffer") -> None:
        """Pass 1,024 bytes (128 x 64, vertical bytes) to the display driver; `idle` sends them in slices."""
        self.display.show(frame)

    def beep(self, on: object) -> None:
        """Switch the buzzer on or off."""
        self.buzzer(1 if on else 0)

    def feed(self) -> None:
        """Feed the watchdog, but only if the tick has run since the last call."""
        ticks = self._t[slots.T_HEAD] if self._watchdog else self._fed
        if ticks != self._fed and not self._dead:
            self._fed = ticks
            self._watchdog.feed()

    def reset(self) -> None:
        """Switch the air off and reset. Does not return."""
        self.off()
        machine.reset()

    def reset_cause(self) -> int:
        """Reason for the start: machine.PWRON_RESET, or machine.WDT_RESET, which a commanded reset also gives."""
        return machine.reset_cause()

    def remember(self, word: int) -> None:
        """Keep a number below 2**16 over a reset; 0 clears it. Lost with the power."""
        machine.mem32[SCRATCH] = REMEMBERED << 16 | word

    def remembered(self) -> int:
        """Return the number kept by the last run; 0 for none."""
        word = machine.mem32[SCRATCH]
        return word & 0xFFFF if word >> 16 == REMEMBERED else 0

    def hold(self) -> int:
        """Block the tick between two reads of its arrays."""
        return machine.disable_irq()

    def let_go(self, state: int) -> None:
        """End `hold`."""
        machine.enable_irq(state)

    def last_words(self, error: BaseException) -> None:
        """Store the reason why the loop ended, once for each kind, for service. Only with the air off."""
        text = repr(error)
        try:
            with open(LAST_WORDS) as file:
                if file.read() == text:
                    return
        except OSError:
            pass
        try:
            with open(LAST_WORDS, "w") as file:
                file.write(text)
        except OSError:
            pass

    def random(self, count: int) -> bytes:
        """`count` random bytes."""
        return os.urandom(count)

    def unique_id(self) -> bytes:
        """Eight bytes that identify this inflator."""
        return (bytes(machine.unique_id()) + bytes(8))[:8]

    def mount(self) -> str:
        """Mount the store's file system, littlefs on the board's flash. Return its folder. OSError where none is mounted."""
        try:
            os.mkdir(STORE)
        except OSError:
            os.listdir(STORE)
        return STORE
