"""What the emulated chip is wired to: switches, converters, chips on the buses, display, gate, and a tyre that gives the kernels something to decide.

The tyre is no evidence of any pressure (`rimward.simulation` is): air from the hose warms it by the first law, and it cools within seconds.
"""

import struct
from collections.abc import Generator
from pathlib import Path
from typing import Any

from rimward_fw.board import pins

from tests.board.cpu import Cpu
from tests.interpreter.machine_standin import chips

SIO, DMA, TIMER_RAW_LOW = 0xD000_0000, 0x5000_0000, 0x4005_4028
SPI = (0x4003_C000, 0x4004_0000)
PERIOD_US = 2000
WATCHDOG_US = 4_000_000
DMA_WHOLE, DMA_A_TICK = (1 << 28) - 1, 40
ZERO_CODE, PA_A_CODE = 6554, 153 / 8  # transducers: ratio of 65,536, a tenth of it at no pressure
SUPPLY_CODE, PUMP_CODE, CHIP_CODE = 3724, 2606, 800
CUTOFF_WORDS = (
    2400,
    24000,
    11935,
    18605,
)  # transducer C at no pressure, supply, threshold, coil while RUN is held
HOSES = 20  # the tyre holds twenty times the hose
HEAT, COOLING_S = 0.3, 4.0  # share of a rise that is heat; gamma 1.4 without loss
PUMP_PA = 1600  # rise of the hose in one tick
RELAY, VENT, GATE = (pins.gpio(name) for name in ("RELAY", "VENT", "GATE"))
Steps = Generator[None, None, None]
DONE = object()


class World(Cpu):
    """The chip with all its wires. `person`: what a person does, a step each tick; `heap_now`: used, free, largest piece, in bytes.

    `longest_us`: longest time between two feeds of the watchdog. `resets`: how often the firmware reset, which ends the run with code 3;
    a watchdog that was not fed ends it with 4.
    """

    def __init__(self, image: Path, root: Path, heap: int) -> None:
        super().__init__(image, root, heap)
        self.person: Steps | None = None
        self.ticks = 0
        self.heap_now = (0, 0, 0)
        self.ask_heap = False
        self.longest_us = self.resets = 0
        self.received = bytearray()
        self.texts: dict[tuple[int, int], str] = {}
        self.hose_pa = self.cold_pa = self.hot_pa = 0.0
        self._fed_us: int | None = None
        self._levels = 1 << pins.gpio("KEY_LOW") | 1 << pins.gpio("CUTOFF")
        self._driven: dict[int, int] = {}
        self._samples_at = 0
        self._converter = chips.Converter()
        self._buses = {
            (0, 0x76): chips.Barometer(),
            (0, 0x48): self._converter,
            (1, 0x3C): chips.Display(),
        }
        self.answers |= {
            "TICK": self._tick, "HEAP": self._heap, "REGISTERS_IN": self._registers_in,
            "REGISTERS_OUT": self._registers_out, "FEED": self._feed, "RESET": self._reset,
            "RESET_CAUSE": lambda *_: 1, "PIN_SET": self._pin_set,
            "PIN_READ": lambda n, *_: self._levels >> n & 1, "BUS_WRITE": self._bus_write,
            "BUS_READ": self._bus_read, "DMA_SETUP": self._dma_setup,
            "BYTE_WAITS": lambda *_: len(self.received), "BYTE_IN": lambda *_: self.received.pop(0),
            "TEXT": self._text, "CLEAR": lambda *_: self.texts.clear(),
        }  # fmt: skip

    @property
    def tyre_pa(self) -> float:
        return self.cold_pa + self.hot_pa

    def hold(self, name: str, closed: bool) -> None:
        """Close or open a switch by the name of its wire."""
        bit = 1 << pins.gpio(name)
        self._levels = self._levels | bit if closed else self._levels & ~bit

    def shown(self) -> str:
        """Texts of the display, a line each."""
        return "\n".join(text for _place, text in sorted(self.texts.items()))

    def empty(self) -> None:
        """Take the hose to an empty tyre."""
        self.part_full(0.0)

    def part_full(self, pa: float) -> None:
        """Take the empty hose to a cold tyre at this pressure, Pa gauge."""
        self.hose_pa = self.hot_pa = 0.0
        self.cold_pa = pa

    def _tick(self, *_: int) -> int:
        self.us += PERIOD_US
        self.ticks += 1
        if self.person is not None and next(self.person, DONE) is DONE:
            self.end(0)
        if self._fed_us is not None and self.us - self._fed_us > WATCHDOG_US:
            self.end(4)
        asked, self.ask_heap = self.ask_heap, False
        return asked

    def _heap(self, used: int, free: int, largest: int, *_: int) -> None:
        self.heap_now = used, free, largest

    def _registers_in(self, *_: int) -> None:
        self._flow()
        self._samples()
        left = self.word(DMA + 8)
        self.set_words(DMA + 8, left - DMA_A_TICK if left > DMA_A_TICK else DMA_WHOLE)
        for base in SPI:
            self.set_words(base + 8, self._code(self.ticks * 37 & 127), 4)
        self.set_words(SIO + 4, self._levels)
        self.set_words(SIO + 20, 0, 0, 0)  # set, clear, toggle
        self.set_words(TIMER_RAW_LOW, self.us)
        running = self._levels >> pins.gpio("RUN") & 1
        at_c = CUTOFF_WORDS[0] + int(0.0192 * self.hose_pa)
        self._converter.words = [at_c, *CUTOFF_WORDS[1:3], CUTOFF_WORDS[3] * running]

    def _registers_out(self, *_: int) -> None:
        setting, clearing, toggling = (self.word(SIO + 4 * n) for n in (5, 6, 7))
        for pin, level in self._driven.items():
            level = 0 if clearing >> pin & 1 else level
            level = 1 if setting >> pin & 1 else level
            self._driven[pin] = level ^ (toggling >> pin & 1)
        pumping = (
            toggling >> GATE & self._driven.get(RELAY, 0) & self._levels >> pins.gpio("RUN") & 1
        )
        if pumping:
            self.hose_pa += PUMP_PA
        if not self._driven.get(VENT):
            self.hose_pa -= self.hose_pa / 32

    def _flow(self) -> None:
        flow = (self.hose_pa - self.tyre_pa) / 8
        self.hose_pa -= flow
        self.cold_pa += flow / HOSES * (1 - HEAT)
        self.hot_pa += flow / HOSES * HEAT
        self.hot_pa -= self.hot_pa * PERIOD_US / 1e6 / COOLING_S

    def _code(self, noise: int) -> int:
        return ZERO_CODE + int((self.hose_pa + noise) / PA_A_CODE)

    def _samples(self) -> None:
        """Write the sixteen samples of the converter's ring: B, sensor supply, pump supply, chip, in turn."""
        if self._samples_at:
            whole = self._code(self.ticks * 53 & 511) * SUPPLY_CODE * 4 >> 16
            rows = [((whole + n) // 4, SUPPLY_CODE, PUMP_CODE, CHIP_CODE) for n in range(4)]
            self.put(self._samples_at, struct.pack("<16H", *sum(rows, ())))

    def _feed(self, *_: int) -> None:
        if self._fed_us is not None:
            self.longest_us = max(self.longest_us, self.us - self._fed_us)
        self._fed_us = self.us

    def _reset(self, *_: int) -> None:
        self.resets += 1
        self.end(3)

    def _pin_set(self, pin: int, level: int, *_: int) -> None:
        self._driven[pin] = level

    def _dma_setup(self, address: int, *_: int) -> None:
        self._samples_at = address
        self._samples()

    def _chip(self, bus: int, address: int) -> Any:
        if (bus, address) not in self._buses:
            raise OSError(5, "no answer")
        return self._buses[bus, address]

    def _bus_write(self, bus: int, address: int, at: int, size: int, *_: int) -> int:
        self._chip(bus, address).write(self.bytes(at, size))
        return size

    def _bus_read(self, bus: int, address: int, register: int, at: int, size: int) -> None:
        self.put(at, self._chip(bus, address).read(register, size))

    def _text(self, address: int, x: int, y: int, *_: int) -> None:
        self.texts[y, x] = self.text(address)
