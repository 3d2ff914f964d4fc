"""HMAC-SHA-256 (RFC 2104, vectors in RFC 4231), cut to the first 16 bytes where it tags a record.

MicroPython has no `hmac` and its hash objects cannot be copied, so both pads are hashed each time.
"""

import hashlib

from .compat import TYPE_CHECKING

if TYPE_CHECKING:
    from .shapes import Buffer

TAG_BYTES = 16
_BLOCK = 64


def hmac_sha256(key: "Buffer", *parts: "Buffer") -> bytes:
    """Return the 32-byte HMAC-SHA-256 of the joined parts, for a key of any length."""
    if len(key) > _BLOCK:
        key = hashlib.sha256(key).digest()
    inner = hashlib.sha256(_pad(key, 0x36))
    for part in parts:
        inner.update(part)
    outer = hashlib.sha256(_pad(key, 0x5C))
    outer.update(inner.digest())
    return outer.digest()


def _pad(key: "Buffer", value: int) -> bytes:
    """Return the key, padded with zeros to a block, with every byte exclusive-or `value`: as one number, since a loop over 64 bytes takes 5 ms."""
    number = int.from_bytes(bytes(key) + bytes(_BLOCK - len(key)), "big")
    return (number ^ int.from_bytes(bytes((value,)) * _BLOCK, "big")).to_bytes(_BLOCK, "big")


def tag16(key: "Buffer", *parts: "Buffer") -> bytes:
    """Return the first 16 bytes of the HMAC."""
    return hmac_sha256(key, *parts)[:TAG_BYTES]


def same(one: "Buffer", other: "Buffer") -> bool:
    """Return True if both are the same bytes; the time does not depend on where they differ."""
    if len(one) != len(other):
        return False
    differing = 0
    for i in range(len(one)):
        differing |= one[i] ^ other[i]
    return differing == 0
