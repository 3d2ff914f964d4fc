"""The Pico's pins, converters and buses, set up once at power-up by `wire`; not kept in memory afterwards."""

import select
import sys
import time

import machine

from . import pins
from .barometer import Barometer
from .display import Display

SPI_HZ = 4_000_000
BARO_HZ = 100_000
BARO_TRIES = 4
BARO_WAIT_MS = 110  # two measurements take as long
DISPLAY_HZ = 400_000
BUS_TIMEOUT_US = 10_000

# signal, bit of the switch word, level that sets it
SWITCHES = (
    ("RUN", 1, 1),
    ("KEY_LOW", 2, 1),
    ("KEY_HIGH", 4, 1),
    ("CUTOFF", 8, 0),
    ("UP", 512, 1),
    ("DOWN", 1024, 1),
    ("ENTER", 2048, 1),
    ("WORKSHOP", 4096, 1),
)


def wire(board):
    """Outputs first, each at its safe level; then everything else. Every wait here has an end, whatever is missing."""
    board._gate = _output(pins.gpio("GATE"))
    board._relay = _output(pins.gpio("RELAY"))
    board._vent = _output(pins.gpio("VENT"))
    board._buzzer = _output(pins.gpio("BUZZER"))
    board._lamp = _output(pins.gpio("LAMP"))
    board._cs = _output(pins.gpio("SPI_CS"))
    board._masks, board.bench = _inputs()
    _converters(board)
    _buses(board)
    _link(board)


def _output(number):
    return machine.Pin(number, machine.Pin.OUT, value=0)


def _inputs():
    """((mask, bit, level) of every switch, the bench's id plug). The board has its own resistors, so no pulls."""
    numbers = (
        ("RUN", pins.gpio("RUN")),
        ("KEY_LOW", pins.gpio("KEY_LOW")),
        ("KEY_HIGH", pins.gpio("KEY_HIGH")),
        ("CUTOFF", pins.gpio("CUTOFF")),
        ("UP", pins.gpio("UP")),
        ("DOWN", pins.gpio("DOWN")),
        ("ENTER", pins.gpio("ENTER")),
        ("WORKSHOP", pins.gpio("WORKSHOP")),
        ("BENCH0", pins.gpio("BENCH0")),
        ("BENCH1", pins.gpio("BENCH1")),
    )
    for row in numbers:
        machine.Pin(row[1], machine.Pin.IN, None)
    where = dict(numbers)
    plug = machine.Pin(where["BENCH0"])() | machine.Pin(where["BENCH1"])() << 1
    return tuple([(1 << where[name], bit, level) for name, bit, level in SWITCHES]), plug


def _converters(board):
    board._adc_b = machine.ADC(machine.Pin(pins.gpio("ADC_B")))
    board._adc_supply = machine.ADC(machine.Pin(pins.gpio("ADC_SUPPLY")))
    board._adc_pump = machine.ADC(machine.Pin(pins.gpio("ADC_PUMP")))
    sck, mosi, miso = pins.gpio("SPI_SCK"), pins.gpio("SPI_MOSI"), pins.gpio("SPI_MISO")
    board._spi = machine.SPI(
        sck >> 3 & 1, baudrate=SPI_HZ, polarity=0, phase=0, sck=machine.Pin(sck), mosi=machine.Pin(mosi), miso=machine.Pin(miso)
    )
    board._cs(1)
    time.sleep_us(2)
    board._cs(0)
    board._spi.readinto(bytearray(2), 0xFF)  # the first conversion after power-up says nothing


def _buses(board):
    sda, scl = pins.gpio("BARO_SDA"), pins.gpio("BARO_SCL")
    board._barometer = Barometer(_bus(sda, scl, BARO_HZ))
    sda, scl = pins.gpio("DISPLAY_SDA"), pins.gpio("DISPLAY_SCL")
    board._display = Display(_bus(sda, scl, DISPLAY_HZ))
    for _ in range(BARO_TRIES):  # the guard's first ticks want to know the air; without a barometer this ends all the same
        board._barometer.work(board.ticks_ms())
        if board._barometer.pa or not board._barometer.found():
            break
        time.sleep_ms(BARO_WAIT_MS)


def _bus(sda, scl, hz):
    return machine.I2C(sda >> 1 & 1, sda=machine.Pin(sda), scl=machine.Pin(scl), freq=hz, timeout=BUS_TIMEOUT_US)


def _link(board):
    board._stdin = sys.stdin.buffer
    board._stdout = sys.stdout.buffer
    board._poll = select.poll()
    board._poll.register(sys.stdin, select.POLLIN)
    board._poll_out = select.poll()
    board._poll_out.register(sys.stdout, select.POLLOUT)
