"""The order in which a tick reads and writes registers, on CPython and as machine code."""

from typing import Any

import unicorn

from tests.machine import whole

Access = tuple[int, int, str, int]  # block, word, "read" or "write", value written

BLOCKS = tuple(whole.REGISTERS)


class Watched:
    """A register block that keeps a list of its accesses."""

    def __init__(self, which: int, words: Any, kept: list[Access]) -> None:
        self.which, self.words, self.kept = which, words, kept

    def __getitem__(self, word: int) -> int:
        self.kept.append((self.which, word, "read", 0))
        return int(self.words[word])

    def __setitem__(self, word: int, value: int) -> None:
        self.kept.append((self.which, word, "write", value & 0xFFFF_FFFF))
        self.words[word] = value


def watched(blocks: list[Any], kept: list[Access]) -> list[Any]:
    """The blocks of a tick's context, registers watched."""
    return [
        Watched(which, block, kept) if which in BLOCKS else block
        for which, block in enumerate(blocks)
    ]


def watch(machine: whole.Machine) -> list[Access]:
    """The same list from the emulated processor, from now on."""
    kept: list[Access] = []

    def seen(_uc: Any, access: int, address: int, _size: int, value: int, which: int) -> None:
        word = (address - whole.REGISTERS[which][0]) // 4
        wrote = access == unicorn.UC_MEM_WRITE
        kept.append(
            (which, word, "write" if wrote else "read", value & 0xFFFF_FFFF if wrote else 0)
        )

    for which, (address, count) in whole.REGISTERS.items():
        machine.chip.uc.hook_add(
            unicorn.UC_HOOK_MEM_READ | unicorn.UC_HOOK_MEM_WRITE,
            seen,
            which,
            address,
            address + 4 * count - 1,
        )
    return kept
