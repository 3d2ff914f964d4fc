"""Machine code of one viper function as a graph of blocks, and back: ARMv6-M, the instructions that mpy-cross emits.

Source of the encodings: ARMv6-M Architecture Reference Manual, A5.2 (from memory). Jumps have no length here: `code` gives each the
shortest form that reaches. What an instruction reads and writes is a mask: registers r0 to r7, the flags, and the words of the frame.
"""

import struct
from dataclasses import dataclass, field, replace
from functools import cache, cached_property

FLAGS = 1 << 8
FIRST_SLOT = 9  # bit of the frame's first word
LOST_IN_CALL = 0xF | FLAGS
FIXED_BYTES = (
    0x58  # of a frame with an exception handler: its own words, which the handler reads too
)
ALWAYS, LEAVE = None, "leave"


@dataclass(frozen=True)
class Form:
    """One instruction. `fields`: letter -> (shift, width) in its halfword; `scale` of `i`; `pure`: without effect beyond what it writes."""

    base: int
    fields: dict[str, tuple[int, int]]
    reads: str = ""
    writes: str = ""
    flags: bool = False
    scale: int = 1
    pure: bool = True

    @cached_property
    def mask(self) -> int:
        """Bits that are the same in every instruction of this form."""
        return 0xFFFF & ~sum((1 << width) - 1 << shift for shift, width in self.fields.values())


D, N, M, HIGH = {"d": (0, 3)}, {"n": (3, 3)}, {"m": (3, 3)}, {"d": (8, 3)}
M6, I3, I5, I8 = {"m": (6, 3)}, {"i": (6, 3)}, {"i": (6, 5)}, {"i": (0, 8)}
_TWO = {  # d = d with m
    "and": 0x4000, "eor": 0x4040, "lsl": 0x4080, "lsr": 0x40C0, "asr": 0x4100, "orr": 0x4300,
    "mul": 0x4340, "bic": 0x4380,
}  # fmt: skip
FORMS: dict[str, Form] = {
    **{name: Form(base, D | M | I5, "m", "d", True) for name, base in (("lsl#", 0), ("lsr#", 0x800), ("asr#", 0x1000))},
    **{name: Form(base, D | N | M6, "nm", "d", True) for name, base in (("add3", 0x1800), ("sub3", 0x1A00))},
    **{name: Form(base, D | N | I3, "n", "d", True) for name, base in (("add#3", 0x1C00), ("sub#3", 0x1E00))},
    "mov#": Form(0x2000, HIGH | I8, "", "d", True),
    "cmp#": Form(0x2800, HIGH | I8, "d", "", True),
    **{name: Form(base, HIGH | I8, "d", "d", True) for name, base in (("add#", 0x3000), ("sub#", 0x3800))},
    **{name: Form(base, D | M, "dm", "d", True) for name, base in _TWO.items()},
    "tst": Form(0x4200, D | M, "dm", "", True),
    "rsb": Form(0x4240, D | M, "m", "d", True),
    "cmp": Form(0x4280, D | M, "dm", "", True),
    "mvn": Form(0x43C0, D | M, "m", "d", True),
    "mov": Form(0x4600, D | M, "m", "d"),
    "call": Form(0x4780, M, "m", pure=False),
    "ldr_r": Form(0x5800, D | N | M6, "nm", "d", pure=False),
    **{name: Form(base, D | N | M6, "dnm", pure=False) for name, base in (("str_r", 0x5000), ("strh_r", 0x5200), ("strb_r", 0x5400))},
    **{name: Form(base, D | N | M6, "nm", "d", pure=False) for name, base in (("ldrh_r", 0x5A00), ("ldrb_r", 0x5C00))},
    **{name: Form(base, D | N | I5, "dn", "", scale=scale, pure=False) for name, base, scale in (("str", 0x6000, 4), ("strb", 0x7000, 1), ("strh", 0x8000, 2))},
    **{name: Form(base, D | N | I5, "n", "d", scale=scale, pure=False) for name, base, scale in (("ldr", 0x6800, 4), ("ldrb", 0x7800, 1), ("ldrh", 0x8800, 2))},
    "store": Form(0x9000, HIGH | I8, "d", "", scale=4),  # a word of the frame
    "load": Form(0x9800, HIGH | I8, "", "d", scale=4),
    "frame": Form(0xA800, HIGH | I8, "", "d", scale=4, pure=False),  # address in the frame
    "drop": Form(0xB000, {"i": (0, 7)}, scale=4, pure=False),
    "reserve": Form(0xB080, {"i": (0, 7)}, scale=4, pure=False),
    "uxth": Form(0xB280, D | M, "m", "d"),
    "uxtb": Form(0xB2C0, D | M, "m", "d"),
    "push": Form(0xB400, I8, pure=False),
    "pop": Form(0xBC00, I8, pure=False),
    "enter": Form(0xB500, I8, pure=False),  # with the return address
    LEAVE: Form(0xBD00, I8, pure=False),
}  # fmt: skip
KEPT = {"kept_store": FORMS["store"], "kept_load": FORMS["load"]}  # of words that stay as they are
FORMS |= {name: Form(f.base, f.fields, f.reads, f.writes, scale=4, pure=False) for name, f in KEPT.items()}  # fmt: skip


@dataclass(frozen=True)
class Op:
    """One instruction. `literal` is no form: any number into a register, held behind it. `also`: words of the frame that a call reads."""

    name: str
    d: int = 0
    n: int = 0
    m: int = 0
    i: int = 0
    also: int = 0

    @cached_property
    def reads(self) -> int:
        """Everything that the instruction needs."""
        if self.name == "load":
            return slot(self.i)
        if self.name == "call":
            return 0xF | 1 << self.m | self.also
        if self.name == LEAVE:
            return 1  # the result
        if self.name in ("push", "enter"):
            return self.i
        return 0 if self.name == "literal" else _registers(self, FORMS[self.name].reads)

    @cached_property
    def writes(self) -> int:
        """Everything that the instruction changes; registers that a call loses are changed."""
        if self.name == "store":
            return slot(self.i)
        if self.name == "call":
            return LOST_IN_CALL
        if self.name == "pop":
            return self.i
        if self.name == "literal":
            return 1 << self.d
        form = FORMS[self.name]
        return _registers(self, form.writes) | (FLAGS if form.flags else 0)


@dataclass(eq=False)
class Block:
    """Instructions in a row; then `taken` if `condition` holds, else `then`. Without `then` the last instruction returns."""

    ops: list[Op] = field(default_factory=list)
    condition: int | None = ALWAYS
    taken: "Block | None" = None
    then: "Block | None" = None

    def ways(self) -> list["Block"]:
        """Blocks that may follow, the straight way first."""
        return [way for way in (self.then, self.taken) if way is not None]


def slot(offset: int) -> int:
    """Mask of a word of the frame."""
    return 1 << FIRST_SLOT + offset // 4


def pure(op: Op) -> bool:
    """Return whether an instruction whose results nothing reads may go. Never a read of memory: registers of the hardware lie there."""
    return op.name == "literal" or FORMS[op.name].pure


def _registers(op: Op, letters: str) -> int:
    mask = 0
    for letter in letters:
        mask |= 1 << getattr(op, letter)
    return mask


def blocks(code: bytes) -> list[Block]:
    """Blocks of a function in the order of their places. ValueError for anything that mpy-cross does not emit."""
    rows: dict[int, tuple[Op | None, int | None, tuple[int, ...]]] = {}
    heads, open_ways = {0}, [0]
    while open_ways:
        at = open_ways.pop()
        while at not in rows:
            rows[at] = _read(code, at)
            ways = rows[at][2]
            if len(ways) != 1 or ways[0] != at + 2:
                heads.update(ways)
            if not ways:
                break
            open_ways += ways[1:]
            at = ways[0]
    made = {at: Block() for at in sorted(heads)}
    for at, block in made.items():
        place = at
        while True:
            op, block.condition, ways = rows[place]
            block.ops += [op] if op else []
            if not ways or ways[0] in made:
                break
            place = ways[0]
        block.then = made[ways[0]] if ways else None
        block.taken = made[ways[1]] if len(ways) > 1 else None
    _check_frame(list(made.values()))
    return list(made.values())


def _read(code: bytes, at: int) -> tuple[Op | None, int | None, tuple[int, ...]]:
    """Instruction at a place, its condition if it is a jump, and where it goes on: the straight way first."""
    word, ahead = struct.unpack_from("<2H", code + b"\0\0", at)
    if word >> 12 == 0xD and word >> 8 < 0xDE:
        return None, word >> 8 & 15, (at + 2, at + 4 + 2 * _signed(word, 8))
    if word >> 11 == 0x1C:
        return None, ALWAYS, (at + 4 + 2 * _signed(word, 11),)
    if (
        word >> 11 == 0x1E and ahead >> 11 == 0x1F
    ):  # `bl` as a far jump; no viper function calls one
        return None, ALWAYS, (at + 4 + 2 * _signed((word & 0x7FF) << 11 | ahead & 0x7FF, 22),)
    if (word, ahead) == (0x4900, 0x448F):  # ldr r1, [pc]; add pc, r1; the distance
        return None, ALWAYS, (at + 6 + _word(code, at),)
    if word >> 11 == 9:
        return Op("literal", d=word >> 8 & 7, i=_word(code, at)), ALWAYS, (at + 2,)
    if word == 0xBF00:
        return None, ALWAYS, (at + 2,)
    op = _operation(word)
    if op is None:
        raise ValueError(f"no instruction of mpy-cross at {at:#x}: {word:#06x}")
    return op, ALWAYS, () if op.name == LEAVE else (at + 2,)


@cache
def _operation(word: int) -> Op | None:
    """Instruction of a halfword by the table of forms; None for no form."""
    for name, form in FORMS.items():
        if word & form.mask == form.base:
            values = {k: word >> shift & (1 << width) - 1 for k, (shift, width) in form.fields.items()}  # fmt: skip
            values["i"] = values.get("i", 0) * form.scale
            return Op(name, **values)
    return None


def _signed(value: int, bits: int) -> int:
    value &= (1 << bits) - 1
    return value - (value >> bits - 1 << bits)


def _word(code: bytes, at: int) -> int:
    """Word that the instruction at a place loads from beside the code."""
    place = (at + 4 & ~3) + 4 * code[at]
    return int(struct.unpack_from("<i", code, place)[0])


def _check_frame(made: list[Block]) -> None:
    """Mark what must stay: the fixed words below an exception handler, and what a call reads through an address in the frame."""
    ops = [op for block in made for op in block.ops]
    handlers = sum(op.name == "frame" and op.i < FIXED_BYTES for op in ops)
    if handlers > 1:  # `try`: its handler would read what it finds in the frame
        raise ValueError("more than one exception handler")
    fixed = FIXED_BYTES * handlers
    slots = [op.i for op in ops if op.name in ("store", "load")]
    for block in made:
        given, pushed = 0, 0
        for n, op in enumerate(block.ops):
            if op.name in ("load", "store") and op.i < fixed:
                block.ops[n] = replace(op, name=f"kept_{op.name}")
            elif op.name == "frame":
                given |= sum({slot(i) for i in slots if i >= max(op.i, fixed)})
            elif op.name == "call":
                block.ops[n], given = replace(op, also=given), 0
            pushed += (op.name == "push") - (op.name == "pop")
            if pushed and op.name in ("load", "store", "frame", "call"):
                raise ValueError("the frame is used while the stack is deeper")
        if given or pushed:
            raise ValueError("an address in the frame, or a deeper stack, beyond its block")


def code(made: list[Block]) -> bytes:
    """Machine code of blocks in this order, each jump in the shortest form that reaches."""
    jumps = {block: _jumps(block, ahead) for block, ahead in zip(made, [*made[1:], None])}
    sizes = {(block, n): 2 for block in made for n in range(len(jumps[block]))}
    while True:
        places, at = {}, 0
        for block in made:
            places[block] = at
            for op in block.ops:
                at += _size(op, at)
            at += sum(sizes[block, n] for n in range(len(jumps[block])))
        text, grown = _text(made, jumps, sizes, places)
        if not grown:
            return text
        for place, size in grown.items():
            sizes[place] = size


def _jumps(block: Block, ahead: Block | None) -> list[tuple[int | None, Block]]:
    """Jumps at the end of a block: (condition, target)."""
    if block.then is None:
        return []
    if block.condition is ALWAYS or block.taken is None:
        return [] if block.then is ahead else [(ALWAYS, block.then)]
    if block.taken is ahead:
        return [(block.condition ^ 1, block.then)]
    straight = [] if block.then is ahead else [(ALWAYS, block.then)]
    return [(block.condition, block.taken), *straight]


Sizes = dict[tuple[Block, int], int]


def _text(
    made: list[Block],
    jumps: dict[Block, list[tuple[int | None, Block]]],
    sizes: Sizes,
    places: dict[Block, int],
) -> tuple[bytes, Sizes]:
    """Bytes with these sizes, and the sizes of jumps that do not reach with them."""
    text, grown = bytearray(), {}
    for block in made:
        for op in block.ops:
            text += _encoded(op, len(text))
        for n, (condition, target) in enumerate(jumps[block]):
            size = sizes[block, n]
            needed = _needed(condition, places[target] - len(text))
            if needed > size:
                grown[block, n] = needed
            text += _jump(condition, places[target] - len(text), size)
    return bytes(text), grown


def _needed(condition: int | None, distance: int) -> int:
    """Bytes of a jump over a distance from its own place."""
    if condition is ALWAYS:
        return 2 if -2040 <= distance <= 2040 else 4
    return 2 if -248 <= distance <= 248 else 2 + _needed(ALWAYS, distance - 2)


def _jump(condition: int | None, distance: int, size: int) -> bytes:
    offset = (distance - 4) // 2
    if condition is ALWAYS:
        if size == 2:
            return struct.pack("<H", 0xE000 | offset & 0x7FF)
        return struct.pack("<2H", 0xF000 | offset >> 11 & 0x7FF, 0xF800 | offset & 0x7FF)
    if size == 2:
        return struct.pack("<H", 0xD000 | condition << 8 | offset & 0xFF)
    over = struct.pack("<H", 0xD000 | (condition ^ 1) << 8 | (size - 4) // 2)
    return over + _jump(ALWAYS, distance - 2, size - 2)


def _size(op: Op, at: int) -> int:
    return 2 if op.name != "literal" else 10 if at & 2 else 8


def _encoded(op: Op, at: int) -> bytes:
    if op.name == "literal":  # the load, a jump over its word, the word at a multiple of four
        odd = at & 2
        pad = b"\0\0" if odd else b""
        load = 0x4800 | op.d << 8 | odd // 2
        return struct.pack("<2H", load, 0xE001 + odd // 2) + pad + struct.pack("<i", op.i)
    form = FORMS[op.name]
    word = form.base
    for letter, (shift, width) in form.fields.items():
        value = op.i // form.scale if letter == "i" else getattr(op, letter)
        if not 0 <= value < 1 << width or (letter == "i" and op.i % form.scale):
            raise ValueError(f"no room for {letter} in {op}")
        word |= value << shift
    return struct.pack("<H", word)
