"""The emulated processor and its requests to the host: files, check codes, time. The wires are `world.py`."""

import ctypes
import hashlib
import os
import random
import re
import struct
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import unicorn
from unicorn import arm_const

from tests.board import counting

HEAP, HOST = 0x2000_0000, 0x6000_0000
MAPPED = (  # start, bytes
    (0x1000_0000, 4 << 20),
    (0x2100_0000, 1 << 20),
    (HEAP, 1 << 20),
    *((base, 4096) for base in (0x4003_C000, 0x4004_0000, 0x4004_C000, 0x4005_4000)),
    *((base, 4096) for base in (0x4005_8000, 0x5000_0000, 0xD000_0000)),
)
UNUSED = b"\xa5"  # content of the stack before any push
_HEADER = (Path(__file__).parent / "port" / "host.h").read_text()
NAMES = re.findall(r"[A-Z][A-Z0-9_]+", _HEADER.split("enum request {")[1].split("}")[0])
BY_NUMBER = dict(enumerate(NAMES, start=1))
NOTHING, FOLDER, FILE = 0, 1, 2
BLOCKS_FREE = 300
BETWEEN_READS_US = 3  # what a look at the clock takes


class Cpu:
    """One processor with its memory. `answers`: request -> what answers it; `ended`: exit code once it has ended.

    `root`: folder of the flash's files. `heap`: bytes of heap.
    """

    def __init__(self, image: Path, root: Path, heap: int) -> None:
        self.root, self.ended = root, None
        self.us = 0
        self._counted = ctypes.c_uint64()
        self.out = bytearray()
        self._files: dict[int, Any] = {}
        self._hashes: list[Any] = []
        self._words = [0] * 8
        self.uc = unicorn.Uc(unicorn.UC_ARCH_ARM, unicorn.UC_MODE_THUMB | unicorn.UC_MODE_MCLASS)
        self.uc.ctl_set_cpu_model(arm_const.UC_CPU_ARM_CORTEX_M0)
        for base, size in MAPPED:
            self.uc.mem_map(base, size)
        self.uc.mmio_map(HOST, 4096, self._read, None, self._write, None)
        self.symbols = self._load(image.read_bytes())
        self.stack = self.symbols["stack_low"], self.symbols["stack_top"]
        self.uc.mem_write(self.stack[0], UNUSED * (self.stack[1] - self.stack[0]))
        self.uc.reg_write(arm_const.UC_ARM_REG_SP, self.stack[1])
        self.uc.reg_write(arm_const.UC_ARM_REG_R0, HEAP)
        self.uc.reg_write(arm_const.UC_ARM_REG_R1, HEAP + heap)
        self.answers: dict[str, Callable[..., int | None]] = {
            "WRITE_OUT": self._write_out, "END": self.end, "KIND": self._kind, "OPEN": self._open,
            "READ": self._read_file, "WRITE": self._write_file, "CLOSE": self._close, "SEEK": self._seek,
            "REMOVE": self._remove, "RENAME": lambda a, b, *_: self.path(a).replace(self.path(b)) and 0,
            "MAKE_FOLDER": lambda a, *_: self.path(a).mkdir(), "ENTRY": self._entry,
            "SIZE": lambda a, *_: self.path(a).stat().st_size, "BLOCKS_FREE": lambda *_: BLOCKS_FREE,
            "CRC32": lambda a, size, crc, *_: zlib.crc32(self.bytes(a, size), crc),
            "HASH_NEW": self._hash_new, "HASH_UPDATE": self._hash_update,
            "HASH_DIGEST": lambda n, a, *_: self.put(a, self._hashes[n].digest()),
            "RANDOM": lambda a, size, *_: self.put(a, random.Random(self.us).randbytes(size)),
            "NOW_US": self._now,
        }  # fmt: skip

    def run(self) -> int:
        """Run to the end. Return the exit code. RuntimeError where the processor faults."""
        try:
            self.uc.emu_start(self.symbols["main"] | 1, 0xFFFF_FFFF)
        except unicorn.UcError as error:
            at = self.uc.reg_read(arm_const.UC_ARM_REG_PC)
            raise RuntimeError(f"processor fault at {at:#x}: {error}") from error
        assert self.ended is not None
        return self.ended

    def end(self, code: int, *_: int) -> None:
        """Stop the processor."""
        self.ended = code
        self.uc.emu_stop()

    def count_instructions(self) -> None:
        """Count from now on, before the first `run`."""
        self._counted = counting.count(self.uc)

    def at(self, symbol: str, call: Callable[[], None]) -> None:
        """Call whenever the processor comes to a function, before the first `run`."""
        place = self.symbols[symbol] & ~1
        self.uc.hook_add(unicorn.UC_HOOK_CODE, lambda *_: call(), begin=place, end=place)

    @property
    def instructions(self) -> int:
        """Instructions counted so far."""
        return self._counted.value

    def stack_used(self) -> int:
        """Bytes of the stack that were ever written."""
        low, top = self.stack
        return len(self.bytes(low, top - low).lstrip(UNUSED))

    def bytes(self, address: int, size: int) -> bytes:
        return bytes(self.uc.mem_read(address, size))

    def put(self, address: int, data: bytes) -> None:
        self.uc.mem_write(address, data)

    def word(self, address: int) -> int:
        return int(struct.unpack("<I", self.bytes(address, 4))[0])

    def set_words(self, address: int, *words: int) -> None:
        self.put(address, struct.pack(f"<{len(words)}I", *(word & 0xFFFF_FFFF for word in words)))

    def text(self, address: int) -> str:
        whole = b""
        while b"\0" not in whole:
            whole += self.bytes(address + len(whole), 16)
        return whole.split(b"\0")[0].decode()

    def path(self, address: int) -> Path:
        """File of the flash that a text in memory names."""
        return self.root / self.text(address).lstrip("/")

    def _load(self, image: bytes) -> dict[str, int]:
        """Write the image's segments into memory. Return its symbols (ELF32 as of the System V ABI, chapter 4)."""
        headers, sections = struct.unpack_from("<II", image, 28)
        size, count, section_size, section_count = struct.unpack_from("<4H", image, 42)
        for n in range(count):
            kind, at, address, _, length = struct.unpack_from("<5I", image, headers + n * size)
            if kind == 1 and length:
                self.put(address, image[at : at + length])
        rows = [
            struct.unpack_from("<10I", image, sections + n * section_size)
            for n in range(section_count)
        ]
        table = next(row for row in rows if row[1] == 2)
        names = rows[table[6]][4]
        found = {}
        for at in range(table[4], table[4] + table[5], 16):
            name, value = struct.unpack_from("<II", image, at)
            found[image[names + name : image.index(b"\0", names + name)].decode()] = value
        return found

    def _read(self, _uc: Any, offset: int, _size: int, _data: Any) -> int:
        return self._words[offset // 4] & 0xFFFF_FFFF

    def _write(self, _uc: Any, offset: int, _size: int, value: int, _data: Any) -> None:
        if offset:
            self._words[offset // 4] = value
            return
        try:
            self._words[6] = int(self.answers[BY_NUMBER[value]](*self._words[1:6]) or 0)
        except OSError as error:
            self._words[6] = -(error.errno or 5)

    def _write_out(self, address: int, size: int, *_: int) -> int:
        self.out += self.bytes(address, size)
        return size

    def _now(self, *_: int) -> int:
        self.us += BETWEEN_READS_US
        return self.us

    def _kind(self, address: int, *_: int) -> int:
        path = self.path(address)
        return FOLDER if path.is_dir() else FILE if path.is_file() else NOTHING

    def _open(self, address: int, mode: int, *_: int) -> int:
        letters = self.text(mode).replace("t", "").replace("b", "")
        number = max(self._files, default=2) + 1
        self._files[number] = self.path(address).open(letters + "b", buffering=0)
        return number

    def _read_file(self, number: int, address: int, size: int, *_: int) -> int:
        data = self._files[number].read(size)
        self.put(address, data)
        return len(data)

    def _write_file(self, number: int, address: int, size: int, *_: int) -> int:
        return int(self._files[number].write(self.bytes(address, size)))

    def _close(self, number: int, *_: int) -> None:
        self._files.pop(number).close()

    def _seek(self, number: int, offset: int, whence: int, *_: int) -> int:
        return int(self._files[number].seek(offset - (offset >> 31 << 32), whence))

    def _remove(self, address: int, *_: int) -> None:
        path = self.path(address)
        path.rmdir() if path.is_dir() else path.unlink()

    def _entry(self, folder: int, address: int, number: int, *_: int) -> int:
        names = sorted(os.listdir(self.path(folder)))
        if number >= len(names):
            return 0
        name = names[number].encode()
        self.put(address, name + b"\0")
        return len(name)

    def _hash_new(self, *_: int) -> int:
        self._hashes.append(hashlib.sha256())
        return len(self._hashes) - 1

    def _hash_update(self, number: int, address: int, size: int, *_: int) -> None:
        self._hashes[number].update(self.bytes(address, size))
