"""Differences planted in the machine code, one instruction each: the comparison must find them.

Only instructions that ran are changed: a condition turned round where both ways were taken, a constant changed in its
last bit, a word of memory read from the neighbouring address. One that changes nothing over the ticks given is listed; it may be equivalent there.
"""

import random
import struct
from collections.abc import Callable
from dataclasses import dataclass, replace

import unicorn
from capstone import arm_const as arm

from tests.machine import chip, mpyfile, thumb

ENTRY = 0x40  # where the number of arguments has been looked at: a change before makes a call that is refused


@dataclass
class Change:
    """One instruction, changed."""

    function: str
    at: int
    was: str
    code: bytes

    def __str__(self) -> str:
        return f"{self.function}+{self.at:#x}: {self.was}"


def changes(code: mpyfile.Code, ran: set[int], count: int, dice: random.Random) -> list[Change]:
    """`count` changes of a function, drawn from what can be changed in what ran."""
    found = []
    steps = thumb.steps(code.data)
    places = sorted(at for at in steps if at in ran)
    dice.shuffle(places)
    for at in places:
        made = _changed(steps[at], code.data) if ran.issuperset(steps[at].after) else None
        if made is not None and len(found) < count:
            found.append(Change(code.name, at, steps[at].text, made))
    return found


def _changed(step: thumb.Step, code: bytes) -> bytes | None:
    """The function with one instruction changed; None for an instruction that is left alone."""
    word = struct.unpack_from("<H", code, step.at)[0]
    if step.taken:
        word ^= 0x100  # the opposite condition
    elif (
        step.name == "movs"
        and word >> 11 == 4
        and step.at >= ENTRY
        and step.operands[0].reg != arm.ARM_REG_R1
    ):
        word ^= 1
    elif step.name in ("ldr", "str") and word >> 12 == 6 and _data(step):
        word ^= 1 << 6  # the next word
    else:
        return None
    return code[: step.at] + struct.pack("<H", word) + code[step.at + 2 :]


def _data(step: thumb.Step) -> bool:
    """True for a load or store through r4, which holds the first array once the entry is past."""
    return step.at >= ENTRY and step.operands[1].mem.base == arm.ARM_REG_R4


def executed(
    machine: chip.Chip, loaded: chip.Loaded, act: Callable[[], None]
) -> dict[str, set[int]]:
    """Function -> places of instructions that ran during `act`."""
    blocks: set[tuple[int, int]] = set()
    handle = machine.uc.hook_add(
        unicorn.UC_HOOK_BLOCK, lambda _uc, address, size, _user: blocks.add((address, size))
    )
    act()
    machine.uc.hook_del(handle)
    found = {}
    for name, (start, code) in loaded.code_at.items():
        inside = [(at - start, size) for at, size in blocks if start <= at < start + len(code.data)]
        found[name] = {at for first, size in inside for at in range(first, first + size, 2)}
    return found


def with_change(module: mpyfile.Module, change: Change) -> mpyfile.Module:
    """The module with one function's code changed."""
    children = [
        replace(code, data=change.code) if code.name == change.function else code
        for code in module.body.children
    ]
    return replace(module, body=replace(module.body, children=children))
