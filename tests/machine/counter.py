"""Cycles of what runs, counted block by block while it runs, and to which module they belong.

The hook is compiled by numba: a Python function called for every block would take a hundred times as long. A block's cost is known before
the run: the sum over its instructions, a taken branch added when the next block is not the one that follows.
"""

import ctypes
from dataclasses import dataclass
from typing import Any

import numpy as np
import unicorn
from numba import carray, cfunc, types
from unicorn.unicorn_py3.unicorn import uclib

from tests.machine import chip as machine
from tests.machine import thumb

OWNERS = 16
PREVIOUS_END, OWNER, BLOCKS, UNKNOWN, BRIDGED = 0, 1, 2, 3, 4
SUMS = 8  # cycles by owner, from here
HEAD = SUMS + OWNERS
PLACES = machine.SIZE // 2  # halfwords of code memory
# then for every halfword: cycles of all code before it, and owner + TAKEN times the cycles that a taken branch adds
COST, FLAGS = HEAD, HEAD + PLACES + 1
TOTAL = HEAD + 2 * PLACES + 1
NOT_READ, TAKEN = 255, 256
BASE = machine.CODE
SIO, SIO_LAST = 0xD000_0000, 0xD000_0FFF
BRIDGE, BRIDGE_LAST = 0x4000_0000, 0x4FFF_FFFF  # the DMA's own registers are on the bus itself


@cfunc(types.void(types.voidptr, types.uint64, types.uint32, types.voidptr))
def on_block(_engine, address, size, user):  # pragma: no cover - compiled
    """Charge one block to the module that it belongs to; runtime functions to the module that calls them."""
    state = carray(user, (TOTAL,), np.int32)
    at = (np.int64(address) - BASE) >> 1
    end = at + (np.int64(size) >> 1)
    owner = state[FLAGS + at] & 255
    if owner == NOT_READ:
        state[UNKNOWN] = at
    elif owner > 0:
        state[OWNER] = owner
    previous = state[PREVIOUS_END]
    cycles = state[COST + end] - state[COST + at]
    if previous > 0 and previous != at:
        cycles += state[FLAGS + previous - 1] // TAKEN
    state[PREVIOUS_END] = end
    state[BLOCKS] += 1
    state[SUMS + state[OWNER]] += cycles


@cfunc(
    types.void(types.voidptr, types.int32, types.uint64, types.int32, types.int64, types.voidptr)
)
def on_register(_engine, access, address, _size, _value, user):  # pragma: no cover - compiled
    """Correct the two cycles of a load or store: one for the single-cycle registers, four or five across the bridge.

    From memory of the RP2040 datasheet, 2.1.4 "APB Bridge": three cycles a read and four a write in place of the bus's one.
    """
    state = carray(user, (TOTAL,), np.int32)
    if address >= SIO:
        state[SUMS + state[OWNER]] -= 1
    else:
        extra = 3 if access == unicorn.UC_MEM_WRITE else 2
        state[SUMS + state[OWNER]] += extra
        state[BRIDGED] += extra


@dataclass
class Counter:
    """Counts on one chip from its making on."""

    state: np.ndarray
    hooks: list[Any]

    def reset(self) -> None:
        """Start from nothing."""
        self.state[:HEAD] = 0

    def bridged(self) -> int:
        """Cycles of them that the peripheral bridge adds, which no longest path knows."""
        return int(self.state[BRIDGED])

    def cycles(self) -> np.ndarray:
        """Cycles since the reset by owner: 0 the call from outside, then modules in the order in which they were given. ValueError after unknown code."""
        if self.state[UNKNOWN]:
            raise ValueError(
                f"Code ran at {BASE + 2 * int(self.state[UNKNOWN]):#x} that was not read before."
            )
        return self.state[SUMS : SUMS + OWNERS].copy()


def count(chip: machine.Chip, modules: list[machine.Loaded], registers: bool = False) -> Counter:
    """Hook a chip; `modules` are distinguished in this order."""
    state = np.zeros(TOTAL, np.int32)
    costs = np.zeros(PLACES, np.int32)
    flags = state[FLAGS : FLAGS + PLACES]
    flags[(chip.start + machine.STOP - BASE) // 2 + 1 :] = NOT_READ
    for address, cycles in machine.runtime_charges(chip).items():
        costs[(address - BASE) // 2] = cycles
    for number, loaded in enumerate(modules, 1):
        for at, code in loaded.code_at.values():
            for step in thumb.steps(code.data).values():
                place = (at + step.at - BASE) // 2
                costs[place] = step.cycles
                flags[place] = number
                flags[place + step.size // 2 - 1] = number + TAKEN * step.taken
    np.cumsum(costs, out=state[COST + 1 : COST + 1 + PLACES])
    made = Counter(state, [])
    _hook(chip, made, unicorn.UC_HOOK_BLOCK, on_block, 1, 0)
    if registers:
        both = unicorn.UC_HOOK_MEM_READ | unicorn.UC_HOOK_MEM_WRITE
        _hook(chip, made, both, on_register, SIO, SIO_LAST)
        _hook(chip, made, both, on_register, BRIDGE, BRIDGE_LAST)
    return made


def _hook(
    chip: machine.Chip, counter: Counter, kind: int, function: Any, begin: int, end: int
) -> None:
    """Hand a compiled function to the emulator: its Python interface takes only Python functions."""
    handle = ctypes.c_size_t()
    pointer, user = ctypes.c_void_p(function.address), ctypes.c_void_p(counter.state.ctypes.data)
    status = uclib.uc_hook_add(
        chip.uc._uch,
        ctypes.byref(handle),
        kind,
        pointer,
        user,
        ctypes.c_uint64(begin),
        ctypes.c_uint64(end),
    )
    if status != unicorn.UC_ERR_OK:
        raise unicorn.UcError(status)
    counter.hooks.append((handle, function))
