"""ARMv6-M machine code, instruction by instruction: what follows what, and what each costs on a Cortex-M0+.

Cycles from memory of ARM's Cortex-M0+ Technical Reference Manual, table "Instruction set summary" (zero-wait memory, multiplier of one cycle,
as in the RP2040): 1, loads and stores 2, several at once 1 + n, with the program counter 3 + n, taken branches 2, `bl` 3, `bx` and `blx` 2.
"""

import struct
from dataclasses import dataclass, field
from typing import Any

import capstone
from capstone import arm_const as arm

JUMPS_BACK = {"bx", "pop"}
SLOW = {"mrs": 3, "msr": 3, "dmb": 3, "dsb": 3, "isb": 3}
MANY = ("push", "pop", "ldm", "stm")


@dataclass
class Step:
    """One instruction of a function: place, cost in cycles, and where it can go on."""

    at: int
    size: int
    name: str
    text: str
    cycles: int
    condition: int
    operands: list[Any]  # capstone's
    written: tuple[int, ...]  # registers
    after: list[int] = field(default_factory=list)  # the straight way first
    taken: int = 0  # cycles more on the second way

    @property
    def end(self) -> int:
        return self.at + self.size


def decoder() -> capstone.Cs:
    """A disassembler with operands."""
    made = capstone.Cs(capstone.CS_ARCH_ARM, capstone.CS_MODE_THUMB | capstone.CS_MODE_MCLASS)
    made.detail = True
    return made


def steps(code: bytes) -> dict[int, Step]:
    """Every instruction that can be reached from the start of a function, by place. ValueError where the way leads out of it."""
    found: dict[int, Step] = {}
    engine, open_ways = decoder(), [0]
    while open_ways:
        at = open_ways.pop()
        while at not in found:
            step = _step(engine, code, at)
            found[at] = step
            if not step.after:
                break
            open_ways += step.after[1:]
            at = step.after[0]
    return found


def _step(engine: capstone.Cs, code: bytes, at: int) -> Step:
    insn = next(iter(engine.disasm(code[at : at + 4], at)), None) if 0 <= at < len(code) else None
    if insn is None:
        raise ValueError(
            f"The machine code leads to {at:#x}, which is no instruction of the function."
        )
    written = tuple(insn.regs_access()[1])
    step = Step(
        at,
        insn.size,
        insn.mnemonic.split(".")[0],
        f"{insn.mnemonic} {insn.op_str}",
        0,
        insn.cc,
        insn.operands,
        written,
    )
    step.cycles = _cycles(step)
    _ways(step, code)
    return step


def _writes_pc(step: Step) -> bool:
    return arm.ARM_REG_PC in step.written


def _cycles(step: Step) -> int:
    name, operands = step.name, step.operands
    if name in SLOW:
        return SLOW[name]
    if name.startswith(MANY):
        count = len(operands) - (0 if name in ("push", "pop") else 1)
        return (3 if _writes_pc(step) else 1) + count
    if name.startswith(("ldr", "str")):
        return 2
    if name == "bl":
        return 3
    if name in ("b", "bx", "blx"):
        return 2
    return 2 if _writes_pc(step) and not _conditional(step) else 1


def _conditional(step: Step) -> bool:
    return (
        step.name[0] == "b"
        and len(step.name) == 3
        and step.condition not in (arm.ARM_CC_AL, arm.ARM_CC_INVALID)
        and step.name not in ("bic", "blx")
    )


def _ways(step: Step, code: bytes) -> None:
    target = step.operands[0] if step.operands else None
    if step.name in (
        "b",
        "bl",
    ):  # mpy-cross uses `bl` for a jump further than `b` reaches, never for a call
        step.after = [target.imm]
    elif _conditional(step):
        step.after, step.taken = [step.end, target.imm], 1
    elif step.name == "add" and _writes_pc(step):
        step.after = [_far(step, code)]
    elif step.name != "blx" and _writes_pc(step):
        if step.name not in JUMPS_BACK:
            raise ValueError(f"A jump that cannot be followed at {step.at:#x}: {step.text}")
    else:
        step.after = [step.end]


def _far(step: Step, code: bytes) -> int:
    """Target of mpy-cross's far jump: `ldr r1, [pc, #0]`, `add pc, r1`, then the distance as a word."""
    before, distance = struct.unpack("<H2xi", code[step.at - 2 : step.at + 6])
    if step.text != "add pc, r1" or before != 0x4900 or step.at & 3 != 2:
        raise ValueError(f"A jump that cannot be followed at {step.at:#x}: {step.text}")
    return step.at + 4 + int(distance)
