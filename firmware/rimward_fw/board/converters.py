"""Converters of the RP2040 board: internal ADC into RAM by DMA, transducer A on SPI. Registers: datasheet sections 2.5.7, 4.4.4, 4.9.6.

The ADC runs free over four channels (B, sensor supply, pump supply, temperature) at 20,000 samples a second into a ring of
16 samples. The number of channels divides the ring, so every place keeps its channel. A DMA transfer count lasts 3.7 hours;
`renew` starts it over while the air is off.
"""

import sys
import time

import machine
from machine import mem32
from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from typing import Any


ADC_BASE = 0x4004C000
ADC_CS, ADC_FCS, ADC_FIFO, ADC_DIV = 0x00, 0x08, 0x0C, 0x10
DMA_BASE = 0x50000000
DMA_CHANNEL_BYTES = 0x40
SIO_BASE = 0xD0000000
SPI_BASES = (0x4003C000, 0x40040000)
TIMER_RAW_LOW = 0x40054028
ADC_DREQ = 36
RING_BYTES = 32
RING_BITS = 5
CHANNELS = 0b10111  # 0, 1, 2 and 4
ADC_HZ = 48_000_000
SAMPLES_S = 20_000
RUN_ALL = (
    1 | 1 << 1 | 1 << 3 | CHANNELS << 16
)  # enabled, temperature sensor on, free running, round robin from channel 0
COUNT = (1 << 28) - 1
LEAST = 1 << 24  # 14 minutes
SPI_FRAME_16 = 15
SPI_CR0_RATE = 15 << 8
SETTLE_US = 2_000


class Converters:
    """Both converters, set up and running. `spi`: bus number of transducer A, whose pins are assigned."""

    def __init__(self, spi: "Any", adc_pins: "Any") -> None:
        for pin in adc_pins:
            machine.ADC(pin)  # assigns the pin to the converter; never read
        self._spi_base = SPI_BASES[spi]
        mem32[self._spi_base] = (mem32[self._spi_base] & ~0xF) | SPI_FRAME_16
        import rp2

        self._memory = bytearray(2 * RING_BYTES)
        self.ring = _aligned(self._memory, RING_BYTES)
        self._dma = rp2.DMA()
        self._ctrl = self._dma.pack_ctrl(
            size=1,
            inc_read=False,
            inc_write=True,
            ring_size=RING_BITS,
            ring_sel=True,
            treq_sel=ADC_DREQ,
        )
        self.begin()
        time.sleep_us(SETTLE_US)

    def begin(self) -> None:
        """Start ADC and DMA together: channel 0 goes to the first place of the ring."""
        state = machine.disable_irq()
        self._dma.active(0)
        mem32[ADC_BASE + ADC_CS] = 1
        mem32[ADC_BASE + ADC_FCS] = (
            1 << 24 | 1 << 11 | 1 << 10 | 1 << 3 | 1
        )  # FIFO on, DREQ from one sample, old errors cleared
        while mem32[ADC_BASE + ADC_FCS] >> 16 & 15:
            mem32[ADC_BASE + ADC_FIFO]
        mem32[ADC_BASE + ADC_DIV] = (ADC_HZ // SAMPLES_S - 1) << 8
        self._dma.config(
            read=ADC_BASE + ADC_FIFO, write=self.ring, count=COUNT, ctrl=self._ctrl, trigger=True
        )
        mem32[ADC_BASE + ADC_CS] = RUN_ALL
        machine.enable_irq(state)

    def renew(self) -> None:
        """Restart before the transfer count ends. Main loop, with the air off."""
        if self._dma.count < LEAST:
            self.begin()

    def supply_sum(self) -> int:
        """Return the sum of the last four codes of the sensor supply."""
        return sum([self.ring[i] | self.ring[i + 1] << 8 for i in range(2, RING_BYTES, 8)])

    def blocks(self) -> "list[Any]":
        """Return SIO, samples, DMA channel, SPI and clock for the tick's context: addresses, or arrays where `machine` is a stand-in."""
        if sys.platform != "rp2":
            return machine.blocks()
        return [
            SIO_BASE,
            self.ring,
            DMA_BASE + self._dma.channel * DMA_CHANNEL_BYTES,
            self._spi_base,
            TIMER_RAW_LOW,
        ]


def _aligned(memory: bytearray, size: int) -> memoryview:
    """Return a view of `size` bytes of `memory` that begins at a multiple of `size`, as the DMA's ring requires."""
    import uctypes

    at = -uctypes.addressof(memory) % size
    return memoryview(memory)[at : at + size]
