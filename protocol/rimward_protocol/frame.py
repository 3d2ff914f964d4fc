"""Frames of the serial link: version, type, sequence number, payload, CRC-32; COBS-stuffed; a zero byte ends each.

COBS: Cheshire and Baker, consistent overhead byte stuffing (IEEE/ACM Transactions on Networking 7(2), 1999).
A sender may put extra zero bytes between frames: they flush preceding noise.
"""

import struct

from .codes import PROTOCOL_VERSION
from .compat import TYPE_CHECKING, const, crc32

if TYPE_CHECKING:
    from .shapes import Buffer, Writable

MAX_PAYLOAD = const(512)
HEAD_BYTES = const(4)
CRC_BYTES = const(4)
HEAD = (
    ("version", "B", "", "protocol version"),
    ("kind", "B", "", "MESSAGES"),
    ("sequence", "H", "", "the reply carries its request's"),
)
TAIL = (("crc", "I", "", "CRC-32 over version to payload"),)

NOTHING = const(0)
FRAME = const(1)
OTHER_VERSION = const(2)
BAD_STUFFING = const(3)
BAD_CRC = const(4)
TOO_LONG = const(5)
TOO_SHORT = const(6)


def wire_bytes(payload: int) -> int:
    """Longest frame on the wire for a payload of this many bytes, closing zero included."""
    raw = payload + HEAD_BYTES + CRC_BYTES
    return raw + (raw + 253) // 254 + 1


def stuff(raw: "Buffer", count: int, out: "Writable", at: int) -> int:
    """Write COBS of raw[:count] into out from `at` on, without closing zero. Return the end."""
    code_at = at
    at += 1
    run = 1
    i = 0
    while i < count:
        if run == 255:
            out[code_at] = 255
            code_at = at
            at += 1
            run = 1
        value = raw[i]
        if value:
            out[at] = value
            at += 1
            run += 1
        else:
            out[code_at] = run
            code_at = at
            at += 1
            run = 1
        i += 1
    out[code_at] = run
    return at


class Encoder:
    """Frame encoder with buffers allocated once.

    Put the payload into `payload` (a memoryview), call `finish`, send `out[:length]`.
    """

    def __init__(self, max_payload: int = MAX_PAYLOAD) -> None:
        self.max_payload = max_payload
        self._raw = bytearray(HEAD_BYTES + max_payload + CRC_BYTES)
        self._view = memoryview(self._raw)
        self.payload = self._view[HEAD_BYTES : HEAD_BYTES + max_payload]
        self.out = bytearray(wire_bytes(max_payload))

    def finish(self, kind: int, sequence: int, length: int, version: int = PROTOCOL_VERSION) -> int:
        """Close a frame whose payload is `length` bytes of `payload`. Return the number of bytes of `out` to send."""
        end = HEAD_BYTES + length
        struct.pack_into("<BBH", self._raw, 0, version, kind, sequence)
        struct.pack_into("<I", self._raw, end, crc32(self._view[:end]))
        at = stuff(self._raw, end + CRC_BYTES, self.out, 0)
        self.out[at] = 0
        return at + 1


def encode(
    kind: int, sequence: int, payload: "Buffer" = b"", version: int = PROTOCOL_VERSION
) -> bytes:
    """Return one frame as bytes, closing zero included."""
    encoder = Encoder(len(payload))
    encoder.payload[:] = payload
    length = encoder.finish(kind, sequence, len(payload), version)
    return bytes(encoder.out[:length])


class Decoder:
    """Frame decoder: takes bytes one by one and reports each valid frame.

    Memory is allocated once. The time for a byte does not depend on the bytes before it, except for a zero, which checks at most
    `max_payload`
    bytes. After an invalid frame it continues at the next zero. `dropped` counts dropped frames; `last_bad` gives the reason of the latest.
    """

    def __init__(self, max_payload: int = MAX_PAYLOAD) -> None:
        self._raw = bytearray(HEAD_BYTES + max_payload + CRC_BYTES)
        self._view = memoryview(self._raw)
        self.version = 0
        self.kind = 0
        self.sequence = 0
        self.length = 0
        self.dropped = 0
        self.last_bad = NOTHING
        self._restart()

    def _restart(self) -> None:
        self._count = 0
        self._left = 0
        self._zero_due = False
        self._started = False
        self._bad = NOTHING

    @property
    def payload(self) -> memoryview:
        """Payload of the frame just reported, valid until the next byte is fed."""
        return self._view[HEAD_BYTES : HEAD_BYTES + self.length]

    def put(self, byte: int) -> int:
        """Take one byte. Return FRAME or OTHER_VERSION when it ended a valid frame, else NOTHING."""
        if byte == 0:
            return self._end()
        self._started = True
        if self._left:
            self._left -= 1
            self._store(byte)
        else:
            if self._zero_due:
                self._store(0)
            self._left = byte - 1
            self._zero_due = byte != 255
        return NOTHING

    def _store(self, byte: int) -> None:
        if self._count == len(self._raw):
            self._bad = TOO_LONG
        else:
            self._raw[self._count] = byte
            self._count += 1

    def feed(self, view: "Buffer", start: int, stop: int) -> tuple[int, int]:
        """Take view[start:stop] up to the end of the first valid frame.

        Return (result, next): FRAME or OTHER_VERSION with the index after its zero, or NOTHING with `stop`.
        """
        while start < stop:
            result = self.put(view[start])
            start += 1
            if result:
                return result, start
        return NOTHING, start

    def _end(self) -> int:
        result = self._judge() if self._started else NOTHING
        if result > OTHER_VERSION:
            self.last_bad = result
            self.dropped = (self.dropped + 1) & 0x3FFFFFFF
            result = NOTHING
        self._restart()
        return result

    def _judge(self) -> int:
        """Classify the bytes since the last zero."""
        if self._bad:
            return self._bad
        if self._left:
            return BAD_STUFFING
        length = self._count - HEAD_BYTES - CRC_BYTES
        if length < 0:
            return TOO_SHORT
        end = HEAD_BYTES + length
        if crc32(self._view[:end]) != struct.unpack_from("<I", self._raw, end)[0]:
            return BAD_CRC
        self.version = self._raw[0]
        self.kind = self._raw[1]
        self.sequence = self._raw[2] | self._raw[3] << 8
        self.length = length
        return FRAME if self.version == PROTOCOL_VERSION else OTHER_VERSION
