"""Flash of the simulated board: littlefs in memory on MicroPython, kept in a host file if one is named.

Sizes are those of the Pico's own file system. On CPython there is no littlefs: a plain folder takes its place.
"""

import os
import sys

TYPE_CHECKING = False  # its own: this file joins any firmware
if TYPE_CHECKING:
    from typing import Any


BLOCK_BYTES = 4096
BLOCKS = 352  # 1,408 KB
PROGRAM_BYTES = 256
READ_BYTES = 256  # a plain read takes any length; longer ones are fewer calls
MOUNT_POINT = "/rw"
ERASE_US = 400_000  # W25Q16JV data sheet: a sector of 4 KB, maximum; 45 ms typical
PAGE_US = 400  # the same, a page of 256 bytes, typical

_SYNC = 3
_COUNT = 4
_SIZE = 5
_ERASE = 6
_BLANK = b"\xff" * BLOCK_BYTES


class Flash:
    """Block device in memory that behaves like NOR flash: erasing sets all bits, programming can only clear bits.

    `locked`: while it returns true, every erase or program raises RuntimeError. `waited(us)`: called with the longest duration of each
    operation by the data sheet of the slowest part.
    """

    def __init__(self, blocks: int = BLOCKS, path: str | None = None) -> None:
        self.blocks = blocks
        self.data = bytearray(BLOCK_BYTES * blocks)
        for block in range(blocks):
            self._blank(block)
        self.path = path
        self.locked: "Any" = None
        self.waited: "Any" = None
        self.erases = 0
        self.programs = 0
        self._dirty: set[int] = set()

    def load(self) -> bool:
        """Load the contents of the host file. False if there is none."""
        if not self.path or not _exists(self.path):
            return False
        with open(self.path, "rb") as file:
            if file.readinto(self.data) != len(self.data):
                raise OSError(
                    "the flash image "
                    + self.path
                    + " has another size; remove it to start with an empty flash"
                )
        return True

    def readblocks(self, block: int, buf: bytearray, offset: int = 0) -> None:
        """Read len(buf) bytes."""
        at = block * BLOCK_BYTES + offset
        buf[:] = memoryview(self.data)[at : at + len(buf)]

    def writeblocks(self, block: int, buf: bytearray, offset: int = 0) -> None:
        """Program len(buf) bytes: bits change from 1 to 0 only."""
        self._may_write()
        at = block * BLOCK_BYTES + offset
        self.programs += 1
        if self.waited:
            self.waited(PAGE_US * ((len(buf) + PROGRAM_BYTES - 1) // PROGRAM_BYTES))
        if self.data[at : at + len(buf)] == _BLANK[: len(buf)]:
            self.data[at : at + len(buf)] = buf
        else:
            for i in range(len(buf)):
                self.data[at + i] &= buf[i]
        self._dirty.add(block)

    def erase(self, block: int) -> None:
        """Set all bits of one block."""
        self._may_write()
        self.erases += 1
        if self.waited:
            self.waited(ERASE_US)
        self._blank(block)
        self._dirty.add(block)

    def _blank(self, block: int) -> None:
        at = block * BLOCK_BYTES
        self.data[at : at + BLOCK_BYTES] = _BLANK

    def _may_write(self) -> None:
        if self.locked and self.locked():
            raise RuntimeError("flash written while the pump is enabled")

    def ioctl(self, op: int, arg: int) -> int | None:
        """Answer the requests of the block device protocol."""
        if op == _COUNT:
            return self.blocks
        if op == _SIZE:
            return BLOCK_BYTES
        if op == _ERASE:
            self.erase(arg)
        elif op == _SYNC:
            self.save()
        return 0

    def save(self) -> None:
        """Write the changed blocks to the host file."""
        if self.path and self._dirty:
            with open(self.path, "r+b" if _exists(self.path) else "wb") as file:
                if file.seek(0, 2) != len(self.data):
                    file.seek(0)
                    file.write(self.data)
                for block in self._dirty:
                    file.seek(block * BLOCK_BYTES)
                    file.write(
                        memoryview(self.data)[block * BLOCK_BYTES : (block + 1) * BLOCK_BYTES]
                    )
        self._dirty.clear()


def mount(path: str | None) -> str:
    """Mount a file system of its own and return its folder. `path`: the host file that keeps it, or None.

    OSError for an image that cannot be mounted: it is never formatted over.
    """
    if sys.implementation.name != "micropython":
        return _plain_folder(path)
    import vfs

    flash = Flash(path=path)
    if not flash.load():
        vfs.VfsLfs2.mkfs(flash, progsize=PROGRAM_BYTES)
    vfs.mount(vfs.VfsLfs2(flash, readsize=READ_BYTES, progsize=PROGRAM_BYTES), MOUNT_POINT)
    return MOUNT_POINT


def _plain_folder(path: str | None) -> str:
    if path:
        folder = str(path) + "-files"
        os.makedirs(folder, exist_ok=True)
        return folder
    import atexit
    import shutil
    import tempfile

    folder = tempfile.mkdtemp()
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


def _exists(path: str) -> bool:
    try:
        os.stat(path)
    except OSError:
        return False
    return True
