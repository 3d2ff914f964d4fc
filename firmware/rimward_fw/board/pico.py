"""The Raspberry Pi Pico (RP2040): timer, converters, switches, link. Wires are in `pins`, what they mean stands there too; `wiring` sets them up.

In the hard interrupt run `_interrupt`, `sense`, `drive` and `off`: they take no memory, read every converter and pin themselves, and
nothing else touches the converters. Everything else belongs to the main loop.
"""

import os
import select
import sys
import time

import machine
import micropython
from machine import mem32

from . import wiring
from .pins import ADC_PUMP_MILLI, ADC_SUPPLY_MILLI

PERIOD_MS = 2
WATCHDOG_MS = 4000  # longer than the longest write after a fill; pulses stop within 20 ms of the last tick without it
UNIT_US = 125
PIECE = 64  # one USB packet: more would wait inside the interpreter until the host has taken it
SIO_IN = 0xD0000004  # RP2040 datasheet 2.3.1.7, GPIO_IN: all 30 pins in one read, which fits a small integer
PUMP_EVERY = 64  # ticks between readings of the pump's supply
REFERENCE_MV = 3300
STORE = "/rimward"
LAST_WORDS = "/last_words.txt"
_FILL_VENT = 512  # fill's vent bit, as the tick hands it over


def ratio_q16(part, whole):
    """part / whole in 1/65536, both sums of four 12-bit codes; never past 16 bits, nothing past 30 bits."""
    return min((part << 16) // max(whole, 256), 65535)


def supply_units(total):
    """Sensor supply in 64 mV from a sum of four codes behind the divider."""
    return min((total * (REFERENCE_MV * 1000 // ADC_SUPPLY_MILLI) + (1 << 19)) >> 20, 255)


def pump_mv(code):
    """Pump supply from one 12-bit code behind its divider."""
    return code * (REFERENCE_MV * 1000 // ADC_PUMP_MILLI) >> 12


class Board:
    """The Pico as the rest of the firmware sees it; the simulated board has the same interface."""

    NAME = "pico"

    def __init__(self):
        micropython.alloc_emergency_exception_buf(100)
        self._ms = 0
        self._ms_at = time.ticks_ms()
        wiring.wire(self)
        self.simulated = False
        self.maintenance = bool(self._switches() & 4096)  # the workshop contact, closed at power-up
        self.unix_s = 0
        self._tick = None
        self._timer = None
        micropython.kbd_intr(3 if self.maintenance else -1)  # else 0x03 is data
        self._watchdog = None
        self._dead = False
        self._level = 0
        self._bits = 0
        self._ticks = 0
        self._fed = 0
        self._began = 0
        self._load = 0
        self._gap = 0
        self._word = bytearray(2)
        self._one = bytearray(1)
        self._read_b = self._adc_b.read_u16  # bound once: making a bound method allocates
        self._read_supply = self._adc_supply.read_u16
        self._read_pump = self._adc_pump.read_u16
        self._read_word = self._spi.readinto
        self._supply = (self._read_supply() >> 4) << 6  # filtered, sum of four codes * 16
        self._pump = self._read_pump() >> 4
        self._interrupt_ref = self._interrupt

    def kernels(self):
        """(guard, fill): on the chip as machine code, made from the plain ones; elsewhere, in tests, the plain ones."""
        if sys.platform == "rp2":
            from rimward_fw.fast import fill, guard
        else:
            from rimward_fw.kernels import fill, guard
        return guard, fill

    # The tick

    def start(self, tick):
        """From now on `tick` runs every 2 ms in a hard interrupt, and the watchdog waits for it."""
        self._tick = tick
        self._began = time.ticks_us()
        self._watchdog = machine.WDT(timeout=WATCHDOG_MS)
        self._timer = machine.Timer(period=PERIOD_MS, mode=machine.Timer.PERIODIC, hard=True, callback=self._interrupt_ref)

    def _interrupt(self, _timer):
        """Hard interrupt: one tick, timed from end to end."""
        if self._dead:
            self._still()
            return
        now = time.ticks_us()
        self._gap = time.ticks_diff(now, self._began)
        self._began = now
        self._tick()
        self._load = time.ticks_diff(time.ticks_us(), now)
        self._ticks = (self._ticks + 1) & 0x3FFFFFFF

    def sense(self, x):
        """Fast inputs of this tick. Hard interrupt: integers under 2**30 and no memory."""
        self._cs(1)  # transducer A: its converter works while B is read
        b = self._read_b() >> 4
        b += self._read_b() >> 4
        b += self._read_b() >> 4
        b += self._read_b() >> 4
        if self._ticks % PUMP_EVERY == 0:
            self._pump = self._read_pump() >> 4
        supply = (self._read_supply() >> 4) << 2
        self._supply += ((supply << 4) - self._supply) >> 2
        self._cs(0)
        self._read_word(self._word, 0xFF)
        x[0] = self._word[0] << 8 | self._word[1]
        x[1] = ratio_q16(b, self._supply >> 4)
        x[2] = self._switches()
        x[3] = min(self._load // UNIT_US, 255)
        x[4] = min((self._gap + UNIT_US // 2) // UNIT_US, 255)
        x[5] = supply_units(supply)

    def _switches(self):
        """The switch word: one read of all pins."""
        levels = mem32[SIO_IN]
        word = 0
        for mask, bit, level in self._masks:
            if (levels & mask != 0) == level:
                word |= bit
        return word

    def drive(self, out):
        """Output bits of guard and fill. Hard interrupt. One edge of GATE a tick while its bit is set; steady it lets the air stop."""
        self._bits = out
        if out & 1:
            self._level ^= 1
            self._gate(self._level)
        self._relay(1 if out & 2 else 0)
        self._vent(0 if out & (4 | _FILL_VENT) else 1)

    def off(self):
        """Everything that can move air off, the vent open, and no tick any more until a reset. Any context."""
        self._dead = True
        self._still()

    def _still(self):
        self._relay(0)
        self._vent(0)  # a normally-open valve

    # The main loop

    def idle(self):
        """Sleeps until the next interrupt, then one small step for barometer and display."""
        machine.idle()
        now = self.ticks_ms()
        self._barometer.work(now)
        self._display.work(now)
        self._lamp(1 if self._bits & 2 else 0)  # lit while the relay is closed

    @property
    def ambient_pa(self):
        """Absolute; 0 without a barometer."""
        return self._barometer.pa

    @property
    def air_ck(self):
        """Air temperature, 0.01 K; 0 until it was read."""
        return self._barometer.air_ck

    @property
    def pump_mv(self):
        """Supply of the pump."""
        return pump_mv(self._pump)

    def ticks_ms(self):
        """Milliseconds since start; does not wrap. Main loop only."""
        now = time.ticks_ms()
        self._ms += time.ticks_diff(now, self._ms_at)
        self._ms_at = now
        return self._ms

    def now_us(self):
        """Microseconds, for measuring; wraps."""
        return time.ticks_us()

    def read(self, into):
        """Link bytes that are there now, at most len(into)."""
        count = 0
        while count < len(into) and self._ready():
            self._stdin.readinto(self._one)
            into[count] = self._one[0]
            count += 1
        return count

    def _ready(self):
        for event in self._poll.ipoll(0):
            return event[1] & select.POLLIN
        return False

    def write(self, view):
        """Sends what the line takes now and gives the number of bytes; never waits for a host that does not read."""
        at = 0
        while at < len(view) and self._takes():
            sent = self._stdout.write(view[at : at + PIECE])
            if not sent:
                break
            at += sent
        return at

    def _takes(self):
        for event in self._poll_out.ipoll(0):
            return event[1] & select.POLLOUT
        return False

    def show(self, frame):
        """Puts 1,024 bytes (128 x 64, vertical bytes) on the display, in slices from `idle`."""
        self._display.show(frame)

    def beep(self, on):
        """Buzzer on or off."""
        self._buzzer(1 if on else 0)

    def feed(self):
        """Feeds the watchdog, but only if the tick has run since the last time."""
        if self._ticks != self._fed and not self._dead:
            self._fed = self._ticks
            self._watchdog.feed()

    def reset(self):
        """Air off and a fresh start. Does not return."""
        self.off()
        machine.reset()

    def hold(self):
        """Keeps the tick from running between two reads of its arrays."""
        return machine.disable_irq()

    def let_go(self, state):
        """Ends `hold`."""
        machine.enable_irq(state)

    def last_words(self, error):
        """Keeps what ended the loop, once for each kind of end, for whoever services the board. Only with the air off."""
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

    def random(self, count):
        """`count` random bytes."""
        return os.urandom(count)

    def unique_id(self):
        """Eight bytes that name this inflator."""
        return (bytes(machine.unique_id()) + bytes(8))[:8]

    def mount(self):
        """The folder where the store lives, on the board's own littlefs."""
        try:
            os.mkdir(STORE)
        except OSError:
            pass
        return STORE
