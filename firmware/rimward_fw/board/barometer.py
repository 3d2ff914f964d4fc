"""Barometer: a BMP280 on I2C, read by the main loop in short bounded steps. Missing or silent it reads 0, and no air is released.

Registers and compensation: datasheet BST-BMP280-DS001, sections 3.11.3 and 4.3.
"""

import struct

from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any


ADDRESS = 0x76
CHIP_IDS = (0x56, 0x57, 0x58, 0x60)  # sample part, production part, and the variant with humidity
_CALIBRATION = 0x88
_CHIP_ID = 0xD0
_SETUP = b"\xf5\x28\xf4\x57"  # standby 62.5 ms, filter 4; temperature twice, pressure sixteen times, free running
_DATA = 0xF7
_SKIPPED = 0x80000
_SKIPS = 4
_READ_MS = 200
_AGAIN_MS = 20  # age up to which the last value is valid
_RETRY_MS = 2000
_STALE_MS = 1500
_LOW_PA = 30_000
_HIGH_PA = 110_000
_ZERO_CK = 27315


def fine_temperature(cal: "Sequence[int]", adc_t: int) -> tuple[int, int]:
    """Return (t_fine, temperature in 0.01 degC) from the raw temperature and the twelve calibration words."""
    var1 = (((adc_t >> 3) - (cal[0] << 1)) * cal[1]) >> 11
    step = (adc_t >> 4) - cal[0]
    t_fine = var1 + ((((step * step) >> 12) * cal[2]) >> 14)
    return t_fine, (t_fine * 5 + 128) >> 8


def pressure_256(cal: "Sequence[int]", adc_p: int, t_fine: int) -> int:
    """Return the pressure in Pa * 256 by the datasheet's 64-bit formula; 0 where it would divide by zero."""
    var1 = t_fine - 128000
    var2 = var1 * var1 * cal[8] + ((var1 * cal[7]) << 17) + (cal[6] << 35)
    var1 = ((var1 * var1 * cal[5]) >> 8) + ((var1 * cal[4]) << 12)
    var1 = (((1 << 47) + var1) * cal[3]) >> 33
    if var1 <= 0:
        return 0
    p = (((1048576 - adc_p) << 31) - var2) * 3125 // var1
    return ((p + ((cal[11] * (p >> 13) * (p >> 13)) >> 25) + ((cal[10] * p) >> 19)) >> 8) + (
        cal[9] << 4
    )


class Barometer:
    """BMP280 driver. `work` is called by the main loop; each call makes at most three short transfers. `pa`: last value, 0 once it is
    stale.

    After an error the next read follows at once, the second with a new setup: a chip that lost power has lost its setup.
    """

    def __init__(self, bus: "Any") -> None:
        self.bus = bus
        self.pa = 0
        self.air_ck = 0
        self.errors = 0
        self._row = 0  # consecutive errors
        self._cal: "Any" = None
        self._skipped = 0
        self._next = 0
        self._good = -_STALE_MS
        self._buf = bytearray(6)

    def found(self) -> bool:
        """Return True once the chip has answered and is set up."""
        return self._cal is not None

    def work(self, now_ms: int) -> None:
        """Run one step if one is due."""
        if now_ms - self._good > _STALE_MS:
            self.pa = 0
        if now_ms < self._next:
            return
        self._next = now_ms + _READ_MS
        try:
            if self._cal is None:
                self._begin()
            else:
                self._read(now_ms)
        except OSError:
            self._failed(now_ms)

    def _begin(self) -> None:
        found = self.bus.readfrom_mem(ADDRESS, _CHIP_ID, 1)[0]
        if found not in CHIP_IDS:
            raise OSError
        cal = struct.unpack("<HhhHhhhhhhhh", self.bus.readfrom_mem(ADDRESS, _CALIBRATION, 24))
        if cal[0] in (0, 0xFFFF) or cal[3] in (0, 0xFFFF):
            raise OSError
        self.bus.writeto(ADDRESS, _SETUP)
        self._cal = cal
        self._skipped = 0

    def _read(self, now_ms: int) -> None:
        self.bus.readfrom_mem_into(ADDRESS, _DATA, self._buf)
        b = self._buf
        adc_p = b[0] << 12 | b[1] << 4 | b[2] >> 4
        adc_t = b[3] << 12 | b[4] << 4 | b[5] >> 4
        if adc_p == _SKIPPED or adc_t == _SKIPPED:
            self._skipped += 1  # first measurement not finished, or the chip was powered up again and has lost its setup
            if self._skipped > _SKIPS:
                self._row = 1
                self._failed(now_ms)
            return
        t_fine, centi = fine_temperature(self._cal, adc_t)
        pa = (pressure_256(self._cal, adc_p, t_fine) + 128) >> 8
        if not _LOW_PA <= pa <= _HIGH_PA:
            self._failed(now_ms)
            return
        self._skipped = 0
        self._row = 0
        self.pa = pa
        self.air_ck = centi + _ZERO_CK
        self._good = now_ms

    def _failed(self, now_ms: int) -> None:
        self.errors += 1
        self._row += 1
        if self._row > 1:
            self._cal = None
        self._next = now_ms + (_AGAIN_MS if now_ms - self._good <= _STALE_MS else _RETRY_MS)
