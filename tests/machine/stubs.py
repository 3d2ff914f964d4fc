"""Runtime functions in the emulated memory, as machine code, so that a run need not come back to Python for each of them.

Objects: a small integer is 2 n + 1, anything else the address of (tag, value): an array's value is its address. A function is (tag, context,
children, code); a module's globals are a table by name. What a tick may not do jumps to an address that is not mapped, which ends the run.
"""

import struct
from typing import Any

from tests.machine import runtime

TRAP = 0x0E00_0000  # nothing is mapped here; entry k of the runtime table goes to TRAP + 4 k
WIDE, ZERO, MISSING, NO_CODE, KIND = range(64, 69)
WHY = {
    WIDE: "an integer past 30 bits, which allocates", ZERO: "division by zero", MISSING: "a global that the module does not have",
    NO_CODE: "call of something that is no machine code", KIND: "conversion to or from something that is no integer and no array",
}  # fmt: skip
EQ, NE, CS, CC, GE, LT = 0, 1, 2, 3, 10, 11
WORD = "word"  # the globals in force, one word in front of all code


def branch(condition: int, label: str) -> tuple[str, int, str]:
    """Jump to a label of the same routine."""
    return ("b", condition, label)


def trap(kind: int) -> tuple[str, int]:
    """End the run; `kind` says why. Takes `ldr r3`, `bx r3` and a word."""
    return ("trap", kind)


def assemble(at: int, items: list[Any], globals_at: int) -> bytes:
    """Halfwords, jumps and labels (strings that end with a colon) as code for address `at`, which must be a multiple of 4."""
    places, made = {}, []
    for item in items:
        if isinstance(item, str):
            places[item[:-1]] = 2 * len(made)
        elif isinstance(item, tuple) and item[0] in ("trap", WORD):
            value = TRAP + 4 * item[1] + 1 if item[0] == "trap" else globals_at
            register = 3 if item[0] == "trap" else item[1]
            jump = 0x4700 | 3 << 3 if item[0] == "trap" else 0xE001  # bx r3, or over the word
            if len(made) % 2:
                made.append(0x46C0)
            made += [0x4800 | register << 8, jump, value & 0xFFFF, value >> 16]
        else:
            made.append(item)
    words = [
        0xD000 | item[1] << 8 | (places[item[2]] - 2 * n - 4) // 2 & 0xFF
        if isinstance(item, tuple)
        else item
        for n, item in enumerate(made)
    ]
    code = struct.pack(f"<{len(words)}H", *words)
    return code + b"\0" * (-len(code) % 4)


RETURN = 0x4770
ROUTINES: dict[int, list[Any]] = {
    # r0 object, r1 type: 2 and above are integers and pointers
    runtime.FROM_OBJECT: [
        0x2902, branch(LT, "kind"),  # cmp r1, #2
        0x0842, branch(CC, "boxed"), 0x1040, RETURN,  # lsrs r2, r0, #1; asrs r0, r0, #1
        "boxed:", 0x6840, RETURN,  # ldr r0, [r0, #4]
        "kind:", trap(KIND),
    ],
    runtime.TO_OBJECT: [
        0x2902, branch(LT, "kind"),
        0x0042, 0x1053, 0x4283, branch(NE, "wide"), 0x1C50, RETURN,  # lsls r2, r0, #1; asrs r3, r2, #1; cmp r3, r0; adds r0, r2, #1
        "kind:", trap(KIND), "wide:", trap(WIDE),
    ],
    # r0 globals to set, or none; gives those before, or none where nothing changed
    runtime.SWAP_GLOBALS: [
        0x2800, branch(EQ, "none"), (WORD, 1), 0x680A, 0x4282, branch(EQ, "none"), 0x6008, 0x0010, RETURN,
        "none:", 0x2000, RETURN,  # ldr r2, [r1]; cmp r2, r0; str r0, [r1]; movs r0, r2
    ],
    runtime.LOAD_GLOBAL: [
        (WORD, 1), 0x6809, 0x0080, 0x5840, 0x2800, branch(EQ, "missing"), RETURN,  # ldr r1, [r1]; lsls r0, #2; ldr r0, [r0, r1]; cmp r0, #0
        "missing:", trap(MISSING),
    ],
    # r0 function, r1 number of arguments, r2 arguments
    runtime.CALL: [
        0x07C3, branch(NE, "no"), 0x6803, 0x2B00 | 0xF5, branch(NE, "no"),  # lsls r3, r0, #31; ldr r3, [r0]; cmp r3, #245
        0x68C3, 0x469C, 0x0013, 0x0A0A, 0xB2C9, 0x4760,  # ldr r3, [r0, #12]; mov r12, r3; movs r3, r2; lsrs r2, r1, #8; uxtb r1, r1; bx r12
        "no:", trap(NO_CODE),
    ],
    runtime.PUSH_HANDLER: [0x2000, RETURN],
    runtime.POP_HANDLER: [RETURN],
}  # fmt: skip
FUNCTION = 0xF5  # the tag that the call routine asks for

# r0 = r0 over r1 towards minus infinity, bit by bit; r2 the rest, r4 odd where the signs differ, 2 where r1 is negative
DIVISION: list[Any] = [
    0x2900, branch(EQ, "zero"), 0xB510, 0x2400,  # cmp r1, #0; push {r4, lr}; movs r4, #0
    0x2800, branch(GE, "first"), 0x4240, 0x3401, "first:",  # negs r0, r0; adds r4, #1
    0x2900, branch(GE, "second"), 0x4249, 0x3403, "second:",  # negs r1, r1; adds r4, #3
    0x2200, 0x2320, "bit:", 0x0040, 0x4152, 0x428A, branch(CC, "less"), 0x1A52, 0x3001, "less:",  # lsls r0, #1; adcs r2, r2; cmp r2, r1; subs r2, r1
    0x3B01, branch(NE, "bit"),
]  # fmt: skip
ROUTINES[runtime.DIVIDE] = [
    *DIVISION, 0x07E3, branch(EQ, "done"), 0x4240, 0x2A00, branch(EQ, "done"), 0x3801,  # lsls r3, r4, #31; negs r0, r0; cmp r2, #0; subs r0, #1
    "done:", 0xBD10, "zero:", trap(ZERO),
]  # fmt: skip
ROUTINES[runtime.MODULO] = [
    *DIVISION, 0x07E3, branch(EQ, "same"), 0x2A00, branch(EQ, "same"), 0x1A8A, "same:",  # subs r2, r1, r2: the rest from the other side
    0x2C02, branch(LT, "done"), 0x4252, "done:", 0x0010, 0xBD10, "zero:", trap(ZERO),  # cmp r4, #2; negs r2, r2; movs r0, r2
]  # fmt: skip


def place(at: int) -> tuple[bytes, list[int]]:
    """All routines for address `at`, and the runtime table: an address for each entry, odd as jumps to Thumb code are."""
    code, table = bytes(4), [TRAP + 4 * kind + 1 for kind in range(len(runtime.TABLE))]
    for kind, items in ROUTINES.items():
        table[kind] = at + len(code) + 1
        code += assemble(at + len(code), items, at)
    return code, table


def reason(address: int) -> str:
    """Why a run ended at an address that is not mapped."""
    kind = (address - TRAP) // 4
    if 0 <= kind < len(runtime.TABLE):
        return runtime.TABLE[kind].name
    return WHY.get(kind, f"a jump to {address:#x}")
