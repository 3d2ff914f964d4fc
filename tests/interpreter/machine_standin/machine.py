"""A thin stand-in for MicroPython's `machine` on the RP2040: records every access, lets the very same pico.py run on the unix build.

`WORLD` is what the wires say: levels of all pins, converter codes, the word transducer A's converter gives, devices on the I2C buses.
It refuses what the chip refuses: functions on pins that do not have them, `readinto` on a bus that is not set up, a timer without `hard`.
"""

from array import array

IN, SET, CLEAR, TOGGLE = 1, 5, 6, 7  # words of the SIO block
CS = 17


class World:
    """The outside of the chip."""

    def __init__(self):
        self.begin()

    def begin(self):
        self.levels = 0
        self.codes = {26: 0, 27: 0, 28: 0}
        self.word = 0
        self.devices = {}  # (bus, address) -> device
        self.out = {}  # pin number -> level driven
        self.log = []
        self.logging = True
        self.edges = {}
        self.fed = 0
        self.resets = 0
        self.timers = []
        self.watchdog_ms = 0
        self.irq_off = 0
        self.asleep = 0
        self.sampling = True  # the DMA brings samples
        self.transfers = True  # transducer A's converter answers

    def note(self, *what):
        if self.logging:
            self.log.append(what)


WORLD = World()


class _Mem32:
    """Registers that set-up code writes; what was never written reads 0."""

    def __init__(self):
        self.words = {}

    def __getitem__(self, address):
        return self.words.get(address, 0)

    def __setitem__(self, address, value):
        WORLD.note("mem32", hex(address), hex(value))
        self.words[address] = value


mem32 = _Mem32()

# The tick's register blocks: SIO, 16 samples, DMA channel, SPI, clock.
SIO, SAMPLES, DMA, SPI_BLOCK, CLOCK = (
    array("I", [0] * 8),
    array("H", [0] * 16),
    array("I", [0] * 4),
    array("I", [0] * 4),
    array("I", [0]),
)


def blocks():
    return [SIO, SAMPLES, DMA, SPI_BLOCK, CLOCK]


def before_tick():
    """What the chip's registers say as the interrupt begins."""
    SIO[IN] = WORLD.levels
    for word in (SET, CLEAR, TOGGLE):
        SIO[word] = 0
    for place, pin in enumerate((26, 27, 28)):
        for turn in range(0, 16, 4):
            SAMPLES[turn + place] = WORLD.codes[pin]
    DMA[2] = (
        DMA[2] - 40
        if WORLD.sampling and DMA[2] > 40
        else (1 << 28) - 1
        if WORLD.sampling
        else DMA[2]
    )
    SPI_BLOCK[2] = WORLD.word
    SPI_BLOCK[3] = 4 if WORLD.transfers else 0


def after_tick():
    """What the pins do of it."""
    for number in list(WORLD.out):
        level = WORLD.out[number]
        if SIO[CLEAR] >> number & 1:
            level = 0
        if SIO[SET] >> number & 1 and number != CS:
            level = 1
        if SIO[TOGGLE] >> number & 1:
            level = 1 - level
        if level != WORLD.out[number]:
            WORLD.edges[number] += 1
            WORLD.out[number] = level


class Pin:
    IN = 0
    OUT = 1

    def __init__(self, number, mode=-1, pull=-1, value=None):
        self.number = number
        if mode != -1:
            WORLD.note("pin", number, "out" if mode == Pin.OUT else "in")
        if mode == Pin.OUT:
            WORLD.out[number] = value
            WORLD.edges[number] = 0

    def __call__(self, value=None):
        if value is None:
            return WORLD.levels >> self.number & 1
        if self.number not in WORLD.out:
            raise ValueError("not an output")
        if WORLD.out[self.number] != value:
            WORLD.edges[self.number] += 1
            WORLD.out[self.number] = value


class ADC:
    def __init__(self, pin):
        if not 26 <= pin.number <= 29:
            raise ValueError("Pin doesn't have ADC capabilities")
        self.number = pin.number
        WORLD.note("adc", pin.number)


class SPI:
    def __init__(self, bus, baudrate=1000000, polarity=0, phase=0, sck=None, mosi=None, miso=None):
        for pin, last in ((sck, 2), (mosi, 3), (miso, 0)):
            if pin.number & 3 != last or pin.number >> 3 & 1 != bus:
                raise ValueError("bad pin")
        WORLD.note("spi", bus, baudrate, polarity, phase, sck.number, mosi.number, miso.number)


class I2C:
    def __init__(self, bus, sda=None, scl=None, freq=400000, timeout=50000):
        for pin, odd in ((sda, 0), (scl, 1)):
            if pin.number & 1 != odd or pin.number >> 1 & 1 != bus:
                raise ValueError("bad pin")
        if timeout > 20000:
            raise ValueError("a wait without bound")
        self.bus = bus
        WORLD.note("i2c", bus, sda.number, scl.number, freq)

    def _device(self, address):
        device = WORLD.devices.get((self.bus, address))
        if device is None:
            raise OSError(5)
        return device

    def writeto(self, address, data):
        WORLD.note("i2c-write", self.bus, address, bytes(data))
        self._device(address).write(bytes(data))
        return len(data)

    def readfrom_mem(self, address, register, count):
        return self._device(address).read(register, count)

    def readfrom_mem_into(self, address, register, buf):
        buf[:] = self._device(address).read(register, len(buf))


class Timer:
    PERIODIC = 1
    ONE_SHOT = 0

    def __init__(self, period=0, mode=1, hard=None, callback=None):
        if hard is None:
            raise TypeError("hard has to be said")
        self.period = period
        self.mode = mode
        self.hard = hard
        self._callback = callback
        WORLD.timers.append(self)
        WORLD.note("timer", period, mode, hard)

    def callback(self, timer):
        before_tick()
        self._callback(timer)
        after_tick()


class WDT:
    def __init__(self, timeout):
        if timeout > 8388:
            raise ValueError("timeout exceeds 8388")
        WORLD.watchdog_ms = timeout
        WORLD.note("watchdog", timeout)

    def feed(self):
        WORLD.fed += 1


class Reset(Exception):
    """What a chip does instead of returning from `reset`."""


PWRON_RESET, WDT_RESET = 1, 3


def reset_cause():
    return WDT_RESET if WORLD.resets else PWRON_RESET


def reset():
    WORLD.resets += 1
    raise Reset()


def idle():
    WORLD.asleep += 1


def disable_irq():
    WORLD.irq_off += 1
    return 0


def enable_irq(state):
    WORLD.irq_off -= 1


def unique_id():
    return b"\xe6\x60\x01\x02\x03\x04\x05\x06"
