"""The Pico's pins, converters and buses, set up once at power-up by `wire`; not kept in memory afterwards."""

import select
import sys
import time

import machine

from rimward_fw.board import pins
from rimward_fw.board.barometer import Barometer
from rimward_fw.board.converters import Converters
from rimward_fw.board.cutoff_view import CutoffView
from rimward_fw.board.display import Display

SPI_HZ = 4_000_000
BARO_HZ = 100_000
BARO_TRIES = 4
BARO_WAIT_MS = 110  # two measurements take as long
DISPLAY_HZ = 400_000
BUS_TIMEOUT_US = 10_000

INPUTS = ("RUN", "KEY_LOW", "KEY_HIGH", "CUTOFF", "UP", "DOWN", "ENTER", "WORKSHOP", "BENCH0", "BENCH1")


def wire(board):
    """Outputs first, each at its safe level; then everything else. Every wait here has an end, whatever is missing."""
    board.gate = _output(pins.gpio("GATE"))
    board.relay = _output(pins.gpio("RELAY"))
    board.vent = _output(pins.gpio("VENT"))
    board.buzzer = _output(pins.gpio("BUZZER"))
    board.lamp = _output(pins.gpio("LAMP"))
    board.cs = _output(pins.gpio("SPI_CS"))
    inputs = _inputs()
    board.workshop = inputs["WORKSHOP"]
    board.bench = inputs["BENCH0"]() | inputs["BENCH1"]() << 1
    board.converters = _converters(board)
    _buses(board)
    _link(board)


def _output(number):
    return machine.Pin(number, machine.Pin.OUT, value=0)


def _inputs():
    """Return the input pins by signal. The board has its own resistors, so no pulls."""
    return {name: machine.Pin(pins.gpio(name), machine.Pin.IN, None) for name in INPUTS}


def _converters(board):
    sck, mosi, miso = pins.gpio("SPI_SCK"), pins.gpio("SPI_MOSI"), pins.gpio("SPI_MISO")
    bus = sck >> 3 & 1
    board.spi = machine.SPI(bus, baudrate=SPI_HZ, polarity=0, phase=0, sck=machine.Pin(sck), mosi=machine.Pin(mosi), miso=machine.Pin(miso))
    return Converters(bus, [machine.Pin(pins.gpio(name)) for name in ("ADC_B", "ADC_SUPPLY", "ADC_PUMP")])


def _buses(board):
    sda, scl = pins.gpio("BARO_SDA"), pins.gpio("BARO_SCL")
    bus = _bus(sda, scl, BARO_HZ)
    board.barometer = Barometer(bus)
    board.view = CutoffView(bus)
    sda, scl = pins.gpio("DISPLAY_SDA"), pins.gpio("DISPLAY_SCL")
    board.display = Display(_bus(sda, scl, DISPLAY_HZ))
    for _ in range(BARO_TRIES):  # the guard's first ticks want to know the air; without a barometer this ends all the same
        board.barometer.work(board.ticks_ms())
        if board.barometer.pa or not board.barometer.found():
            break
        time.sleep_ms(BARO_WAIT_MS)


def _bus(sda, scl, hz):
    return machine.I2C(sda >> 1 & 1, sda=machine.Pin(sda), scl=machine.Pin(scl), freq=hz, timeout=BUS_TIMEOUT_US)


def _link(board):
    board.stdin = sys.stdin.buffer
    board.stdout = sys.stdout.buffer
    board.poll = select.poll()
    board.poll.register(sys.stdin, select.POLLIN)
    board.poll_out = select.poll()
    board.poll_out.register(sys.stdout, select.POLLOUT)
