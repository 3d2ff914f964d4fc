"""A thin stand-in for MicroPython's `machine` on the RP2040: records every access, lets the very same pico.py run on the unix build.

`WORLD` is what the wires say: levels of all pins, converter codes, the word transducer A's converter gives, devices on the I2C buses.
It refuses what the chip refuses: functions on pins that do not have them, `readinto` on a bus that is not set up, a timer without `hard`.
"""

SIO_IN = 0xD0000004


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

    def note(self, *what):
        if self.logging:
            self.log.append(what)


WORLD = World()


class _Mem32:
    def __getitem__(self, address):
        if address != SIO_IN:
            raise ValueError("address")
        return WORLD.levels


mem32 = _Mem32()


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

    def read_u16(self):
        code = WORLD.codes[self.number]
        return code << 4 | code >> 8


class SPI:
    def __init__(self, bus, baudrate=1000000, polarity=0, phase=0, sck=None, mosi=None, miso=None):
        for pin, last in ((sck, 2), (mosi, 3), (miso, 0)):
            if pin.number & 3 != last or pin.number >> 3 & 1 != bus:
                raise ValueError("bad pin")
        WORLD.note("spi", bus, baudrate, polarity, phase, sck.number, mosi.number, miso.number)
        self.cs = 17

    def readinto(self, buf, write=0):
        if write != 0xFF:
            raise ValueError("MOSI has to stay high")
        if WORLD.out.get(self.cs):
            raise ValueError("read while it converts")
        buf[0] = WORLD.word >> 8
        buf[1] = WORLD.word & 255


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
        self.callback = callback
        WORLD.timers.append(self)
        WORLD.note("timer", period, mode, hard)


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
