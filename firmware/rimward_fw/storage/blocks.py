"""Session blocks that wait in memory to be written out. Main loop only."""

import gc

LEAST_BYTES = 2 * 1024
RESERVE_BYTES = 24 * 1024  # what the main loop works with between two collections; a record takes no memory from it
MOVE_BYTES = 256


class Blocks:
    """Payloads one behind the other in one piece of memory: kind, length, bytes. `dropping`: the oldest make room for new ones.

    What lies between `begin` and `end` is still to be written out.
    """

    def __init__(self, size, dropping):
        self.size = size
        self.buf = bytearray(0)
        self.begin = 0
        self.end = 0
        self.dropping = dropping
        self.lost = 0

    def open(self):
        """Take the memory; half of it, and half again, where the heap has no piece so large or less than the reserve would be left."""
        self.begin = 0
        self.end = 0
        self.lost = 0
        size = self.size
        while len(self.buf) < size:
            try:
                if size > LEAST_BYTES and free_bytes() < size + RESERVE_BYTES:
                    raise MemoryError("reserve")
                self.buf = bytearray(size)
            except MemoryError as full:
                size = max(size // 2, LEAST_BYTES) if size > LEAST_BYTES else 0
                if not size:
                    raise full

    def close(self):
        """Gives the memory back."""
        self.begin = 0
        self.end = 0
        self.buf = bytearray(0)

    def waiting(self):
        """Bytes to be written out."""
        return self.end - self.begin

    def room(self, length):
        """True if a payload of this length fits, after moving what is left to the front and dropping if that is allowed."""
        need = length + 3
        size = len(self.buf)
        if self.end + need > size and self.begin:
            self._shift(self.begin)
        while self.dropping and need <= size < self.end + need:
            self._drop(need)
        return self.end + need <= size

    def _drop(self, need):
        """Drop the oldest quarter at once, so that bytes are moved seldom."""
        goal = max(need, len(self.buf) // 4)
        at = 0
        while at < goal and at < self.end:
            at += self._step(at)
            self.lost += 1
        self._shift(at)

    def _step(self, at):
        return 3 + (self.buf[at + 1] | self.buf[at + 2] << 8)

    def _shift(self, count):
        """Move what lies behind `count` to the front, in small pieces: a copy of it all would take as much memory again."""
        left = self.end - count
        for i in range(0, left, MOVE_BYTES):
            piece = min(MOVE_BYTES, left - i)
            self.buf[i : i + piece] = self.buf[count + i : count + i + piece]
        self.begin = max(self.begin - count, 0)
        self.end = left

    def put(self, kind, payload, length):
        """Keeps payload[:length]; the caller asked `room` first."""
        at = self.end
        self.buf[at] = kind
        self.buf[at + 1] = length & 255
        self.buf[at + 2] = length >> 8
        self.buf[at + 3 : at + 3 + length] = payload[:length]
        self.end = at + 3 + length

    def oldest(self):
        """(kind, payload) of the next one to be written out."""
        stop = self.begin + self._step(self.begin)
        return self.buf[self.begin], memoryview(self.buf)[self.begin + 3 : stop]

    def written(self):
        """The oldest one stands in the store."""
        self.begin += self._step(self.begin)
        if self.begin == self.end:
            self.begin = 0
            self.end = 0


def free_bytes():
    """Free heap in bytes, more than anyone needs where the interpreter does not say."""
    return gc.mem_free() if hasattr(gc, "mem_free") else 1 << 30
