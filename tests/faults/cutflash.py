"""Flash in memory whose power can be cut at, inside, before and after every erase and program. Runs on MicroPython.

From the cut on every access gives EIO, as littlefs expects of a block device that is gone; nothing is raised through
its C code. Programming clears bits only, as NOR flash does.
"""

BLOCK_BYTES = 4096
PROGRAM_BYTES = 256
EIO = -5
BLANK = b"\xff" * BLOCK_BYTES

# how an operation ends when the power goes in it
CUTS = ("before", "first half", "second half", "noise", "after")
# what a device may do with operations it has acknowledged: names of the other ways to fail
REORDERED = "reordered"
LOST = "lost"
FORGOTTEN = "forgotten"


class CutFlash:
    """`load` an image, then `cut(op, how)`, `lose(op)` or `forget(op, ops)`, then use it as a block device."""

    def __init__(self, blocks):
        self.blocks = blocks
        self.data = bytearray(blocks * BLOCK_BYTES)
        self.image = bytes(blocks * BLOCK_BYTES)
        self.locked = None
        self.load(BLANK * blocks)

    def load(self, image):
        """Power on with these contents; all plans are forgotten."""
        self.image = image
        self.data[:] = image
        self.again()

    def again(self):
        """Power on with what is there; all plans are forgotten. `without` needs a `load`."""
        self.ops = []  # (True for an erase, block, offset, bytes)
        self.syncs = [0]  # number of operations done when each sync came
        self.erases = 0
        self.bytes = 0
        self.dead = False
        self.dirty_programs = 0
        self._at = -1
        self._how = ""
        self._lose = -1
        self._seed = 1

    def cut(self, op, how):
        """The power goes in operation `op`."""
        self._at = op
        self._how = how
        self._seed = op * 7919 + 13

    def lose(self, op):
        """Operation `op` is acknowledged and never done. May be joined with a later `cut`."""
        self._lose = op

    def without(self, skipped):
        """Power off: what flash holds when all operations so far were kept but the skipped ones."""
        self.data[:] = self.image
        for number in range(len(self.ops)):
            if number not in skipped:
                erase, block, offset, buf = self.ops[number]
                self._do(erase, block, offset, buf)

    # block protocol

    def readblocks(self, block, buf, offset=0):
        """Read; EIO without power."""
        if self.dead:
            return EIO
        at = block * BLOCK_BYTES + offset
        buf[:] = memoryview(self.data)[at : at + len(buf)]
        return 0

    def writeblocks(self, block, buf, offset=0):
        """Program; EIO without power."""
        return self._operate(False, block, offset, bytes(buf))

    def ioctl(self, op, arg):
        """The block protocol's questions and orders."""
        if op == 4:
            return self.blocks
        if op == 5:
            return BLOCK_BYTES
        if op == 6:
            return self._operate(True, arg, 0, BLANK)
        if op == 3 and not self.dead:
            self.syncs.append(len(self.ops))
        return 0

    def _operate(self, erase, block, offset, buf):
        if self.locked and self.locked():
            raise RuntimeError("flash written while the pump is enabled")
        if self.dead:
            return EIO
        number = len(self.ops)
        self.ops.append((erase, block, offset, buf))
        if number == self._lose:
            return 0
        if number == self._at:
            self._die(erase, block, offset, buf)
            return EIO
        if erase:
            self.erases += 1
        else:
            self.bytes += len(buf)
        self._do(erase, block, offset, buf)
        return 0

    def _do(self, erase, block, offset, buf):
        at = block * BLOCK_BYTES + offset
        if erase or self.data[at : at + len(buf)] == BLANK[: len(buf)]:
            self.data[at : at + len(buf)] = buf
            return
        self.dirty_programs += 1
        for i in range(len(buf)):
            self.data[at + i] &= buf[i]

    def _die(self, erase, block, offset, buf):
        self.dead = True
        half = len(buf) // 2
        if self._how == "after":
            self._do(erase, block, offset, buf)
        elif self._how == "first half":
            self._do(erase, block, offset, buf[:half])
        elif self._how == "second half":
            self._do(erase, block, offset + half, buf[half:])
        elif self._how == "noise":
            self._noise(erase, block * BLOCK_BYTES + offset, buf)

    def _noise(self, erase, at, buf):
        """Some bits have changed already, some have not."""
        seed = self._seed
        for i in range(len(buf)):
            seed = (seed * 1103515245 + 12345) & 0x3FFFFFFF
            some = seed >> 13 & 255
            old = self.data[at + i]
            self.data[at + i] = old | some if erase else old & (buf[i] | some)
