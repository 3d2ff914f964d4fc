"""Rewrites by what registers and words of the frame are known to hold: copies, small numbers, jumps that are decided."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, cast

from rimward.kernels.machinecode.live import after_each, before_all
from rimward.kernels.machinecode.thumb import FLAGS, FORMS, Block, Op

Place = str | int  # a register, or a word of the frame as text
Value = tuple[str, int]
State = dict[Place, Value]  # equal values have equal numbers; the place written first comes first


@dataclass
class Known:
    """Values at one place of a block; `fresh` gives each unknown result a number of its own."""

    state: State
    fresh: Iterator[int]

    def value(self, place: Place) -> Value:
        """Value of a place, numbered now if it has none yet."""
        if place not in self.state:
            self.state[place] = ("value", next(self.fresh))
        return self.state[place]

    def number(self, register: int) -> int | None:
        """Constant in a register, signed, or None."""
        kind, value = self.state.get(register, ("", 0))
        return value if kind == "number" else None

    def first_with(self, value: Value, frame: bool) -> Place | None:
        """Oldest register, or word of the frame, that holds a value."""
        for place, held in self.state.items():
            if held == value and isinstance(place, str) == frame:
                return place
        return None

    def apply(self, op: Op) -> None:
        """Values after an instruction."""
        value = self.result(op)
        changed: list[Place] = [r for r in range(8) if op.writes >> r & 1]
        for place in [f"{op.i}"] if op.name == "store" else changed:
            self.state.pop(place, None)
            self.state[place] = value or ("value", next(self.fresh))

    def result(self, op: Op) -> Value | None:
        """Value that an instruction makes, if it is a copy or a known number."""
        if op.name in ("mov", "store"):
            return self.value(op.m if op.name == "mov" else op.d)
        if op.name == "load":
            return self.value(f"{op.i}")
        if op.name in ("mov#", "literal"):
            return "number", op.i
        number = self.number(op.d if op.name == "add#" else op.m)
        if number is None or op.name not in ("lsl#", "add#", "rsb"):
            return None
        whole = {"lsl#": number << op.i, "add#": number + op.i, "rsb": -number}[op.name]
        return "number", (whole + (1 << 31) & 0xFFFF_FFFF) - (1 << 31)


def known_values(made: list[Block], live: dict[Block, int]) -> None:
    """Rewrite every instruction by what is known before it, along all ways to it; then decide jumps whose comparison is known."""
    fresh, ends = iter(range(1 << 30)), cast(dict[Block, State], {})
    before: dict[Block, list[Block]] = {block: [] for block in made}
    for block in made:
        for way in block.ways():
            before[way].append(block)
    for block in made:
        states = [ends.get(other, {}) for other in before[block]] or [{}]
        state = {p: v for p, v in states[0].items() if all(s.get(p) == v for s in states[1:])}
        known = Known(state, fresh)
        _rewrite(block, known, live[block])
        ends[block] = known.state
    for block in made:
        for side in ("then", "taken"):
            _decided(block, side, ends[block], live)


def _rewrite(block: Block, known: Known, last: int) -> None:
    place, masks = 0, after_each(block, last)
    while place < len(block.ops):
        for rule in WINDOWS:
            found = rule(block.ops[place : place + 4], known, masks[place : place + 4])
            if found is not None:
                count, new = found
                block.ops[place : place + count] = new
                masks = after_each(block, last)
                break
        else:
            known.apply(block.ops[place])
            place += 1


def _decided(block: Block, way: str, state: State, live: dict[Block, int]) -> None:
    """Jump to `cmp r, #k` and a jump on equality, with `r` known: jump to where that leads, unless the flags are read there."""
    target = getattr(block, way)
    if target is None or target.condition not in (0, 1) or len(target.ops) != 1:
        return
    op = target.ops[0]
    kind, value = state.get(op.d, ("", 0))
    if op.name != "cmp#" or kind != "number" or target.then is None:
        return
    leads = target.taken if (value == op.i) == (target.condition == 0) else target.then
    if not before_all(leads, live[leads]) & FLAGS:
        setattr(block, way, leads)


Window = Callable[[list[Op], Known, list[int]], tuple[int, list[Op]] | None]


def _same_again(ops: list[Op], known: Known, masks: list[int]) -> tuple[int, list[Op]] | None:
    """Leave out what gives a register the value that it holds. Flags, if set, are not read."""
    op = ops[0]
    value = known.result(op)
    if value and op.name != "store" and known.state.get(op.d) == value and not _flags(op, masks[0]):
        return 1, []
    return None


def _flags(op: Op, mask: int) -> bool:
    return bool(op.writes & mask & FLAGS)


def _from_elsewhere(ops: list[Op], known: Known, masks: list[int]) -> tuple[int, list[Op]] | None:
    """`load` of a word whose value a register, an older word, or an instruction gives: that."""
    op = ops[0]
    if op.name != "load":
        return None
    value = known.value(f"{op.i}")
    register = known.first_with(value, False)
    if register is not None:
        return 1, [Op("mov", d=op.d, m=cast(int, register))]
    if value[0] == "number" and 0 <= value[1] < 256 and not masks[0] & FLAGS:
        return 1, [Op("mov#", d=op.d, i=value[1])]
    older = known.first_with(value, True)
    return None if older == f"{op.i}" else (1, [replace(op, i=int(cast(str, older)))])


def _older_register(ops: list[Op], known: Known, _masks: list[int]) -> tuple[int, list[Op]] | None:
    """Read the register that has held an operand's value longest, so that its copies are needed no more."""
    op = ops[0]
    if op.name not in FORMS or op.name == "call":
        return None
    form = FORMS[op.name]
    change: dict[str, Any] = {}
    for letter in form.reads:
        if letter not in form.writes:
            older = known.first_with(known.value(getattr(op, letter)), False)
            if older != getattr(op, letter):
                change[letter] = cast(int, older)
    return (1, [replace(op, **change)]) if change else None


def _small_number(ops: list[Op], known: Known, masks: list[int]) -> tuple[int, list[Op]] | None:
    """Use the form of an instruction that holds a small number, where an operand is one. Flags that differ are not read."""
    op = ops[0]
    number = known.number(op.m)
    if op.name == "add3" and number is None and known.number(op.n) is not None:
        return 1, [replace(op, n=op.m, m=op.n)]
    if number is None or op.name not in WITH_NUMBER or (op.name != "cmp" and masks[0] & FLAGS):
        return None
    new = WITH_NUMBER[op.name](op, number)
    return (1, [new]) if new else None


def _sum(op: Op, number: int) -> Op | None:
    sign = "add" if (op.name == "add3") == (number >= 0) else "sub"
    if abs(number) < 8:
        return Op(f"{sign}#3", d=op.d, n=op.n, i=abs(number))
    return Op(f"{sign}#", d=op.d, i=abs(number)) if op.d == op.n and abs(number) < 256 else None


def _shift(op: Op, number: int) -> Op | None:
    return Op(f"{op.name}#", d=op.d, m=op.d, i=number) if 0 < number < 32 else None


def _byte(name: str, op: Op, number: int) -> Op | None:
    return Op(name, d=op.d, i=number) if 0 <= number < 256 else None


def _part(op: Op, number: int) -> Op | None:
    name = {0xFF: "uxtb", 0xFFFF: "uxth"}.get(number)
    return Op(name, d=op.d, m=op.d) if name else None


WITH_NUMBER: dict[str, Callable[[Op, int], Op | None]] = {
    "mov": partial(_byte, "mov#"),
    "cmp": partial(_byte, "cmp#"),
    "add3": _sum,
    "sub3": _sum,
    "lsl": _shift,
    "asr": _shift,
    "and": _part,
}


def _far_load(ops: list[Op], known: Known, masks: list[int]) -> tuple[int, list[Op]] | None:
    """`add d, #n; ldr d, [d, #k]` with the base in another register too: `mov d, #n + k; ldr d, [base, d]`."""
    if len(ops) < 2 or (ops[0].name, ops[1].name) != ("add#", "ldr"):
        return None
    add, load = ops[:2]
    base = known.first_with(known.value(add.d), False)
    if not add.d == load.n == load.d or base == add.d or add.i + load.i > 255 or masks[1] & FLAGS:
        return None
    new = Op("ldr_r", d=load.d, n=cast(int, base), m=load.d)
    return 2, [Op("mov#", d=load.d, i=add.i + load.i), new]


def _far_store(ops: list[Op], known: Known, masks: list[int]) -> tuple[int, list[Op]] | None:
    """`push {r}; add r, #n; str x, [r, #k]; pop {r}` with a free register: `mov free, #n + k; str x, [r, free]`. The same for `lsl r, #2`."""
    if len(ops) < 4 or (ops[0].name, ops[3].name) != ("push", "pop") or ops[0].i != ops[3].i:
        return None
    sum_, store = ops[1:3]
    r, busy = ops[0].i.bit_length() - 1, masks[3] | store.reads | ops[0].i
    free = next((n for n in range(8) if not busy >> n & 1), None)
    if free is None or 1 << r != ops[0].i or masks[3] & FLAGS:
        return None
    offset = sum_.i + store.i
    if (sum_.name, sum_.d, store.name, store.n) == ("add#", r, "str", r) and store.d != r:
        new = [Op("mov#", d=free, i=offset), Op("str_r", store.d, r, free)]
        return (4, new) if offset < 256 else None
    if sum_ == Op("lsl#", d=r, m=r, i=2) and (store.name, store.m) == ("str_r", r):
        new = [replace(sum_, d=free), replace(store, m=free)]
        return (4, new) if r not in (store.d, store.n) else None
    return None


WINDOWS: tuple[Window, ...] = (
    _same_again,
    _from_elsewhere,
    _far_store,
    _far_load,
    _small_number,
    _older_register,
)
