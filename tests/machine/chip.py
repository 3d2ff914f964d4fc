"""An emulated ARMv6-M processor with modules from .mpy files in its memory.

Memory is shared with numpy: what is written into an array's `words` is what the machine code reads, without a copy.
"""

import ctypes
import mmap
import struct
from dataclasses import dataclass, field

import numpy as np
import unicorn
from unicorn import arm_const

from tests.machine import mpyfile, runtime, stubs

CODE, HEAP, STACK = 0x2000_0000, 0x2010_0000, 0x2020_0000
SIZE, STACK_SIZE = 0x4_0000, 0x4000
NAMES = 2048  # entries of a module's table of globals
PAINT = 0x5A5A_5A5A
# ldr r5 (the block), ldm r5 to r0 ... r4 (function, number of arguments, of keywords, arguments, code), blx r4, ldr r5, str r0; then the stop
ENTER = (0x4D02, 0xCD1F, 0x47A0, 0x4D01, 0x6168, 0x46C0)
STOP = 2 * len(ENTER) - 2
INTEGER, ARRAY = 0xF1, 0xF3


class Violation(Exception):
    """The machine code did what a tick may not do."""


@dataclass
class Memory:
    """A piece of the emulated memory and the object that represents it. `view` gives the same words to plain Python, with faster access to single items."""

    words: np.ndarray
    address: int
    object: int

    @property
    def view(self) -> memoryview:
        """The words as a memoryview of signed integers."""
        return self.words.data


@dataclass
class Prepared:
    """A call of a function with its arguments in place."""

    chip: "Chip"
    registers: np.ndarray

    def run(self) -> int:
        """One run to the function's return; the integer that it returns, 0 for None. Violation with the reason if it cannot end."""
        block = self.chip.block
        block[:5] = self.registers
        try:
            self.chip.uc.emu_start(self.chip.start | 1, self.chip.start + STOP)
        except unicorn.UcError as wrong:
            self.chip.reset_stack()
            raise Violation(
                f"{stubs.reason(self.chip.uc.reg_read(arm_const.UC_ARM_REG_PC))} ({wrong})"
            ) from wrong
        result = int(block[5])
        if not result & 1:
            if result == self.chip.none:
                return 0
            raise Violation("The function returned something that is no small integer.")
        return result >> 1


@dataclass
class Loaded:
    """A module in memory: its functions as objects, its table of globals as words."""

    module: mpyfile.Module
    functions: dict[str, int]
    globals: np.ndarray
    code_at: dict[str, tuple[int, mpyfile.Code]] = field(default_factory=dict)


class Chip:
    """Processor, memory, runtime functions. `call` runs a function to its return."""

    def __init__(self) -> None:
        self.uc = unicorn.Uc(unicorn.UC_ARCH_ARM, unicorn.UC_MODE_THUMB | unicorn.UC_MODE_MCLASS)
        self.uc.ctl_set_cpu_model(arm_const.UC_CPU_ARM_CORTEX_M0)
        self.held: list[mmap.mmap] = []
        self.code = self._map(CODE, SIZE)
        self.heap = self._map(HEAP, SIZE)
        self.stack = self._map(STACK - STACK_SIZE, STACK_SIZE)
        self.next_code, self.next_heap = CODE, HEAP
        self.names: dict[str, int] = {}
        self.routines, table = stubs.place(CODE)
        self.table_entries = table
        self._put_code(self.routines)
        self.table = self.words(len(table))
        self.table.words[:] = np.array(table, np.uint32).view(np.int32)
        self.none = self.box(0, 0)
        block = self.words(6)
        self.block = block.words
        self.start = self._put_code(struct.pack(f"<{len(ENTER)}HI", *ENTER, block.address))
        self.reset_stack()

    def reset_stack(self) -> None:
        """Set the stack pointer to the top, where every run that ends leaves it."""
        self.uc.reg_write(arm_const.UC_ARM_REG_SP, STACK)

    def _map(self, address: int, size: int) -> np.ndarray:
        memory = mmap.mmap(-1, size)
        self.held.append(memory)
        pointer = ctypes.addressof(ctypes.c_char.from_buffer(memory))
        self.uc.mem_map_ptr(address, size, unicorn.UC_PROT_ALL, pointer)
        return np.frombuffer(memory, np.int32)

    def _put_code(self, code: bytes) -> int:
        at = self.next_code
        padded = code + bytes(-len(code) % 4)
        start = (at - CODE) // 4
        self.code[start : start + len(padded) // 4] = np.frombuffer(padded, np.int32)
        self.next_code += len(padded)
        return at

    def words(self, count: int) -> Memory:
        """Fresh words in the heap, zero."""
        at = self.next_heap
        self.next_heap += 4 * count
        if self.next_heap > HEAP + SIZE:
            raise ValueError("The emulated heap is full.")
        start = (at - HEAP) // 4
        return Memory(self.heap[start : start + count], at, 0)

    def box(self, tag: int, value: int) -> int:
        """An object of two words."""
        made = self.words(2)
        made.words[:] = np.array([tag, value & 0xFFFF_FFFF], np.uint32).view(np.int32)
        return made.address

    def array(self, count: int) -> Memory:
        """An array of 32-bit words and its object."""
        made = self.words(count)
        made.object = self.box(ARRAY, made.address)
        return made

    def registers(self, address: int, count: int) -> Memory:
        """A block of peripheral registers as plain memory, and the integer that is its address."""
        page = address & ~0xFFF
        size = -(-(address - page + 4 * count) // 0x1000) * 0x1000
        words = self._map(page, size)[(address - page) // 4 :][:count]
        return Memory(words, address, self.integer(address))

    def integer(self, value: int) -> int:
        """An integer object."""
        return (
            2 * value + 1 & 0xFFFF_FFFF
            if -(1 << 30) <= value < 1 << 30
            else self.box(INTEGER, value)
        )

    def name(self, text: str) -> int:
        """The number of a name, the same in all modules."""
        return self.names.setdefault(text, len(self.names) + 1)

    def load(self, module: mpyfile.Module) -> Loaded:
        """Place a module's functions. Its body is not run: globals that it imports are set with `define`."""
        names = self.words(-(-len(module.names) // 2))
        names.words.view(np.uint16)[: len(module.names)] = [
            self.name(text) for text in module.names
        ]
        constants = self.words(max(1, len(module.constants)))
        for i, value in enumerate(module.constants):
            constants.words[i] = (
                self.table.address
                if value is mpyfile.FUN_TABLE
                else self.integer(value)
                if isinstance(value, int)
                else self.none
            )
        table = self.words(NAMES)
        context = self.words(4)
        context.words[:] = (0, table.address, names.address, constants.address)
        loaded = Loaded(module, {}, table.words)
        for code in module.body.children:
            if code.kind == mpyfile.VIPER:
                at = self._put_code(code.data)
                made = self.words(4)
                made.words[:] = (stubs.FUNCTION, context.address, 0, at | 1)
                loaded.functions[code.name] = made.address
                loaded.code_at[code.name] = (at, code)
                self.define(loaded, mpyfile.known_as(code.name), made.address)
            else:
                self.define(loaded, mpyfile.known_as(code.name), self.none)
        return loaded

    def define(self, loaded: Loaded, name: str, value: int) -> None:
        """Set a global of a module."""
        loaded.globals[self.name(name)] = np.array(value, np.uint32).astype(np.int32)

    def function(self, loaded: Loaded, name: str) -> int:
        """The object of a function. KeyError if the module has none of that name."""
        if name not in loaded.functions:
            raise KeyError(f"The module has no machine code for {name}.")
        return loaded.functions[name]

    def prepare(self, function: int, arguments: list[int]) -> "Prepared":
        """A call that can be made again and again."""
        given = self.words(max(1, len(arguments)))
        given.words[: len(arguments)] = np.array(arguments, np.uint32).view(np.int32)
        return Prepared(
            self,
            np.array(
                [function, len(arguments), 0, given.address, self.heap[(function - HEAP) // 4 + 3]],
                np.uint32,
            ).view(np.int32),
        )

    def call(self, function: int, arguments: list[int]) -> int:
        """Run a function with objects as arguments; the integer that it returns. Violation with the reason if it cannot end."""
        return self.prepare(function, arguments).run()

    def paint_stack(self) -> None:
        """Fill the stack with a pattern, to see later how deep it went."""
        self.stack[:] = PAINT

    def stack_used(self) -> int:
        """Bytes of stack that were written since it was painted."""
        used = np.nonzero(self.stack != PAINT)[0]
        return STACK_SIZE - 4 * int(used[0]) if len(used) else 0


def runtime_charges(chip: Chip) -> dict[int, int]:
    """Address of each routine -> cycles that it is charged."""
    return {
        address & ~1: entry.cycles
        for address, entry in zip(chip.table_entries, runtime.TABLE)
        if CODE <= address < CODE + SIZE
    }
