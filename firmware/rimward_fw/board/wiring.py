"""The Pico's pins, converters and buses, set up once at power-up by `wire`; not kept in memory afterwards."""

import select
import sys
import time

import machine
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.board import pins
from rimward_fw.board.barometer import Barometer
from rimward_fw.board.converters import Converters
from rimward_fw.board.cutoff_view import CutoffView
from rimward_fw.board.display import Display

if TYPE_CHECKING:
    from typing import Any

    from rimward_fw.board import pico


SPI_HZ = 4_000_000
BARO_HZ = 100_000
BARO_TRIES = 4
BARO_WAIT_MS = 110  # duration of two measurements
DISPLAY_HZ = 400_000
BUS_TIMEOUT_US = 10_000

INPUTS = (
    "RUN",
    "KEY_LOW",
    "KEY_HIGH",
    "CUTOFF",
    "UP",
    "DOWN",
    "ENTER",
    "WORKSHOP",
    "BENCH0",
    "BENCH1",
)


def wire(board: "pico.Board") -> None:
    """Set up outputs first, each at its safe level, then everything else. Every wait here is bounded, whatever is missing."""
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


def _output(number: int) -> "Any":
    return machine.Pin(number, machine.Pin.OUT, value=0)


def _inputs() -> "dict[str, Any]":
    """Return the input pins by signal. The board has its own resistors, so no pulls."""
    return {name: machine.Pin(pins.gpio(name), machine.Pin.IN, None) for name in INPUTS}


def _converters(board: "pico.Board") -> "Converters":
    sck, mosi, miso = pins.gpio("SPI_SCK"), pins.gpio("SPI_MOSI"), pins.gpio("SPI_MISO")
    bus = sck >> 3 & 1
    board.spi = machine.SPI(
        bus,
        baudrate=SPI_HZ,
        polarity=0,
        phase=0,
        sck=machine.Pin(sck),
        mosi=machine.Pin(mosi),
        miso=machine.Pin(miso),
    )
    return Converters(
        bus, [machine.Pin(pins.gpio(name)) for name in ("ADC_B", "ADC_SUPPLY", "ADC_PUMP")]
    )


def _buses(board: "pico.Board") -> None:
    sda, scl = pins.gpio("BARO_SDA"), pins.gpio("BARO_SCL")
    bus = _bus(sda, scl, BARO_HZ)
    board.barometer = Barometer(bus)
    board.view = CutoffView(bus)
    sda, scl = pins.gpio("DISPLAY_SDA"), pins.gpio("DISPLAY_SCL")
    board.display = Display(_bus(sda, scl, DISPLAY_HZ))
    for _ in range(
        BARO_TRIES
    ):  # the guard needs the ambient pressure from its first ticks; without a barometer this loop ends as well
        board.barometer.work(board.ticks_ms())
        if board.barometer.pa or not board.barometer.found():
            break
        time.sleep_ms(BARO_WAIT_MS)


def _bus(sda: "Any", scl: "Any", hz: int) -> "Any":
    return machine.I2C(
        sda >> 1 & 1, sda=machine.Pin(sda), scl=machine.Pin(scl), freq=hz, timeout=BUS_TIMEOUT_US
    )


def _link(board: "pico.Board") -> None:
    board.stdin = sys.stdin.buffer
    board.stdout = sys.stdout.buffer
    board.poll = select.poll()
    board.poll.register(sys.stdin, select.POLLIN)
    board.poll_out = select.poll()
    board.poll_out.register(sys.stdout, select.POLLOUT)
