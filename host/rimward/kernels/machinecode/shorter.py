"""The kernels' machine code made shorter: mpy-cross writes every value to the frame and every comparison as a number first.

Measured (`python -m tests.rig.heap`): as compiled, the three kernels take a fifth of the chip's heap. Every rule replaces instructions by
others that leave the same in all that is read later: registers, flags and words of the frame, as `alive` works out over the whole
function. Reads and writes of memory, calls, and their order stay. `tests/machine` runs the result against CPython, bit for bit.
"""

from dataclasses import replace
from functools import cache
from typing import Any

from rimward.kernels.machinecode import graph, live, thumb, values
from rimward.kernels.machinecode.thumb import FORMS, Block, Op

ROUNDS = 40  # a function settles within about ten


@cache
def shorter(code: bytes) -> bytes:
    """Machine code of one function with every rule applied until nothing changes. As it is where an instruction is not in the table."""
    try:
        made = thumb.blocks(code)
    except ValueError:
        return code
    before: object = None
    for _ in range(ROUNDS):
        made = graph.joined(made)
        read = live.alive(made)
        for block in made:
            coalesced(block, read[block])
        read = live.alive(made)
        for rule in (values.known_values, graph.carried_choices):
            rule(made, read)
            read = live.alive(made)
        for block in made:
            removed(block, read[block])
        now = [(tuple(block.ops), block.condition) for block in made]
        if now == before:
            break
        before = now
    return thumb.code(graph.joined(graph.shared_ends(made)))


def removed(block: Block, last: int) -> None:
    """Remove instructions whose results nothing reads. `store` of a word that nothing loads, `cmp` without a jump, `mov` of an unused copy."""
    kept, mask = [], last
    for op in reversed(block.ops):
        if thumb.pure(op) and not op.writes & mask or op.name == "mov" and op.d == op.m:
            continue
        kept.append(op)
        mask = live.before(op, mask)
    block.ops = kept[::-1]


def coalesced(block: Block, last: int) -> None:
    """`mov d, m` with `m` read no more: either what made `m` makes `d`, or what reads `d` reads `m`; the rest is a copy of itself."""
    at, masks = 0, live.after_each(block, last)
    while at < len(block.ops):
        op, new = block.ops[at], None
        if op.name == "mov" and op.d != op.m and not masks[at] >> op.m & 1:
            new = _renamed_before(block.ops, at) or _renamed_behind(block.ops, at, masks)
        if new is None:
            at += 1
        else:
            block.ops = new
            masks = live.after_each(block, last)


def _with(op: Op, old: int, new: int) -> Op | None:
    """Put one register in place of another in an instruction. None where a register has its place by convention."""
    if not (op.reads | op.writes) >> old & 1:
        return op
    if op.name not in FORMS or op.name in ("call", "push", "pop", "enter", thumb.LEAVE):
        return replace(op, d=new) if op.name == "literal" else None
    letters = FORMS[op.name].reads + FORMS[op.name].writes
    change: dict[str, Any] = {k: new for k in letters if getattr(op, k) == old}
    return replace(op, **change)


def _renamed_before(ops: list[Op], at: int) -> list[Op] | None:
    """From what made `m` to the `mov`: `d` in place of `m`."""
    old, new, made = ops[at].m, ops[at].d, list(ops)
    for place in range(at - 1, -1, -1):
        op = ops[place]
        changed = _with(op, old, new)
        if changed is None or (op.reads | op.writes) >> new & 1:
            return None
        made[place] = changed
        if op.writes >> old & 1 and not op.reads >> old & 1:
            return made[:at] + made[at + 1 :]
    return None


def _renamed_behind(ops: list[Op], at: int, masks: list[int]) -> list[Op] | None:
    """From the `mov` to the last that reads `d`: `m` in place of `d`."""
    old, new, made = ops[at].d, ops[at].m, list(ops)
    for place in range(at + 1, len(ops)):
        op = ops[place]
        changed = _with(op, old, new)
        over = not masks[place] >> old & 1
        if changed is None or (op.writes >> new & 1 and not over):
            return None
        made[place] = changed
        if over:
            return made[:at] + made[at + 1 :]
    return None
