"""Measurement of the independent cutoff by the processor: converter U9 on the barometer's bus. Main loop only, two short transfers a
step.

ADS1115 or ADS1015, whose registers are the same (from memory; verify against the data sheet): register 1 is the configuration, register 0 the
conversion, 125 uV a step at the full scale of 4.096 V. One conversion at a time: a channel is read 25 ms after it was started.
"""

from array import array

from rimward_protocol.compat import TYPE_CHECKING, const

if TYPE_CHECKING:
    from typing import Any

ADDRESS = 0x48  # ADDR at ground
_STEP_MS = const(25)  # longer than a conversion at 128 a second
_RETRY_MS = const(500)
_STALE_MS = const(1500)
_CHANNEL_0 = const(0xC3)  # start, AIN0 against ground, 4.096 V, one conversion
_SLOW = const(0x83)  # 128 conversions a second, comparator off


class CutoffView:
    """`words`: signal of C, supply, threshold, coil at the converter's pins, 125 uV a step."""

    def __init__(self, bus: "Any") -> None:
        self.words = array("h", (0, 0, 0, 0))
        self._bus = bus
        self._channel = -1  # none started
        self._next = 0
        self._good = -_STALE_MS
        self._setup = bytearray((1, _CHANNEL_0, _SLOW))
        self._got = bytearray(2)

    def fresh(self, now_ms: int) -> bool:
        """Return True while the last complete round is recent."""
        return now_ms - self._good < _STALE_MS

    def work(self, now_ms: int) -> None:
        """If a step is due, read the finished channel and start the next one."""
        if now_ms < self._next:
            return
        self._next = now_ms + _STEP_MS
        try:
            if self._channel >= 0:
                self._bus.readfrom_mem_into(ADDRESS, 0, self._got)
                word = self._got[0] << 8 | self._got[1]
                self.words[self._channel] = word - 65536 if word > 32767 else word
                if self._channel == 3:
                    self._good = now_ms
            self._channel = (self._channel + 1) & 3
            self._setup[1] = _CHANNEL_0 + (self._channel << 4)
            self._bus.writeto(ADDRESS, self._setup)
        except OSError:
            self._channel = -1
            self._next = now_ms + _RETRY_MS
