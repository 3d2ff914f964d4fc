"""Queue of session blocks in memory until they are written. Main loop only."""

import gc

from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from typing import Any


LEAST_BYTES = 2 * 1024
RESERVE_BYTES = (
    20 * 1024
)  # kept free: 8 KB for the recorder's own buffers, the rest for the main loop between two collections


class Blocks:
    """Payloads one after the other in one buffer: kind, length, bytes. `dropping`: the oldest are dropped to make room, once
    `thin(blocks)`, if there is one, frees nothing more.

    The bytes between `begin` and `end` are still to be written.
    """

    def __init__(self, size: int, dropping: bool, thin: "Any" = None) -> None:
        self.size = size
        self.buf = bytearray(0)
        self.begin = 0
        self.end = 0
        self.dropping = dropping
        self._thin = thin
        self.next_thin = 0  # place of the block to be thinned next
        self.lost = 0

    def open(self, free: int = -1) -> int:
        """Allocate the buffer: half the size, and half again, where the heap has no such free block or, of `free` bytes, would keep less
        than the reserve; -1: counted here. Return the size.
        """
        free = free_bytes() if free < 0 else free
        self.begin = 0
        self.end = 0
        self.next_thin = 0
        self.lost = 0
        size = self.size
        while len(self.buf) < size:
            try:
                if size > LEAST_BYTES and free < size + RESERVE_BYTES:
                    raise MemoryError("reserve")
                self.buf = bytearray(size)
            except MemoryError as full:
                size = max(size // 2, LEAST_BYTES) if size > LEAST_BYTES else 0
                if not size:
                    raise full
        return size

    def close(self) -> None:
        """Release the buffer."""
        self.begin = 0
        self.end = 0
        self.buf = bytearray(0)

    def waiting(self) -> int:
        """Bytes still to be written."""
        return self.end - self.begin

    def room(self, length: int) -> bool:
        """Return True if a payload of this length fits, after moving pending blocks to the front and dropping old ones if allowed."""
        need = length + 3
        size = len(self.buf)
        if self.end + need > size and self.begin:
            self._shift(self.begin)
        while self.dropping and need <= size < self.end + need:
            if not (self._thin and self._thin(self)):
                self._drop(need)
        return self.end + need <= size

    def _drop(self, need: int) -> None:
        """Drop the oldest eighth at once, so that bytes are moved rarely."""
        goal = max(need, len(self.buf) // 8)
        at = 0
        while at < goal and at < self.end:
            at += self.step(at)
            self.lost += 1
        self._shift(at)

    def step(self, at: int) -> int:
        """Bytes from the block at a place to the next."""
        return 3 + (self.buf[at + 1] | self.buf[at + 2] << 8)

    def _shift(self, count: int) -> None:
        """Move everything after `count` to the front."""
        left = self.end - count
        copy(self.buf, 0, self.buf, count, left)
        self.begin = max(self.begin - count, 0)
        self.next_thin = max(self.next_thin - count, 0)
        self.end = left

    def cut(self, at: int, count: int) -> None:
        """Take bytes out from a place on."""
        self.end -= count
        copy(self.buf, at, self.buf, at + count, self.end - at)

    def put(self, kind: int, payload: bytearray, length: int) -> None:
        """Append payload[:length]; the caller has asked `room` first."""
        at = self.end
        self.buf[at] = kind
        self.buf[at + 1] = length & 255
        self.buf[at + 2] = length >> 8
        copy(self.buf, at + 3, payload, 0, length)
        self.end = at + 3 + length

    def oldest(self) -> tuple[int, memoryview]:
        """Return (kind, payload) of the next block to be written."""
        stop = self.begin + self.step(self.begin)
        return self.buf[self.begin], memoryview(self.buf)[self.begin + 3 : stop]

    def written(self) -> None:
        """Remove the oldest block after it is stored."""
        self.begin += self.step(self.begin)
        self.next_thin = max(self.next_thin, self.begin)
        if self.begin == self.end:
            self.begin = self.end = self.next_thin = 0


def copy(to: bytearray, at: int, source: bytearray, first: int, count: int) -> None:
    """Copy `count` bytes, to a lower place or into another array. Without the inner view MicroPython moves all that lies after them as well."""
    memoryview(to)[at : at + count][:] = memoryview(source)[first : first + count]


def free_bytes() -> int:
    """Free heap in bytes; a huge number where the interpreter does not report it."""
    return heap_free() or 1 << 30


def heap_free() -> int:
    """Free heap in bytes; 0 where the interpreter does not report it. Walks the whole heap."""
    return gc.mem_free() if hasattr(gc, "mem_free") else 0
