"""Differences between CPython and MicroPython."""

import binascii
import hashlib
import sys

ON_MICROPYTHON = sys.implementation.name == "micropython"
TYPE_CHECKING = False  # mypy takes it for true; MicroPython has no `typing`

if TYPE_CHECKING:
    from .shapes import Buffer, Words

    ptr32 = Words
    ptr16 = Words

    def const(value: int) -> int:
        """Return the value itself."""
        return value

else:
    try:
        from micropython import const
    except ImportError:

        def const(value: int) -> int:
            """Return the value itself; MicroPython folds it at compile time."""
            return value

    def ptr32(block: "Words") -> "Words":
        """Return the block itself. In the kernels' machine code `ptr32` is viper's pointer to 32-bit words."""
        return block

    ptr16 = ptr32  # the same for 16-bit words


def crc32(data: "Buffer", start: int = 0) -> int:
    """Return CRC-32 (ISO-HDLC: reflected 0x04C11DB7, initial value and final XOR all ones) of any bytes-like object.

    `start` is the CRC of what came before.
    """
    return binascii.crc32(data, start) & 0xFFFFFFFF


def sha256(data: "Buffer") -> bytes:
    """Return the 32-byte SHA-256 digest (FIPS 180-4) of any bytes-like object."""
    return hashlib.sha256(data).digest()


def utf8_ok(buf: "Buffer", start: int, stop: int) -> bool:
    """Return True if buf[start:stop] is well-formed UTF-8 (RFC 3629).

    Written out because the decoders of the two interpreters refuse different strings.
    """
    i = start
    while i < stop:
        more, low, high = _utf8_lead(buf[i])
        if more < 0 or i + more >= stop:
            return False
        if more and not low <= buf[i + 1] <= high:
            return False
        j = 2
        while j <= more:
            if not 0x80 <= buf[i + j] <= 0xBF:
                return False
            j += 1
        i += more + 1
    return True


def _utf8_lead(lead: int) -> tuple[int, int, int]:
    """Return (continuation bytes, lowest and highest first continuation) of a lead byte; -1 for a byte that cannot lead."""
    if lead < 0x80:
        return 0, 0, 0
    if lead < 0xC2 or lead > 0xF4:
        return -1, 0, 0
    if lead < 0xE0:
        return 1, 0x80, 0xBF
    if lead < 0xF0:
        return 2, 0xA0 if lead == 0xE0 else 0x80, 0x9F if lead == 0xED else 0xBF
    return 3, 0x90 if lead == 0xF0 else 0x80, 0x8F if lead == 0xF4 else 0xBF
