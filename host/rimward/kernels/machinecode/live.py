"""What is read later: for each place of a function, a mask of the registers, flags and words of the frame that are read before they are
written.
"""

from rimward.kernels.machinecode.thumb import FLAGS, Block, Op


def before(op: Op, after: int) -> int:
    """Return what is read before an instruction, from what is read after it."""
    return after & ~op.writes | op.reads


def alive(made: list[Block]) -> dict[Block, int]:
    """Mask of what is read after the end of each block before it is written: backwards until nothing changes. A jump reads the flags."""
    first = dict.fromkeys(made, 0)
    last = dict.fromkeys(made, 0)
    changed = True
    while changed:
        changed = False
        for block in reversed(made):
            mask = 0 if block.condition is None else FLAGS
            for way in block.ways():
                mask |= first[way]
            last[block] = mask
            mask = before_all(block, mask)
            changed = changed or mask != first[block]
            first[block] = mask
    return last


def after_each(block: Block, last: int) -> list[int]:
    """Return what is read after each instruction of a block."""
    masks = [last]
    for op in reversed(block.ops[1:]):
        last = last & ~op.writes | op.reads
        masks.append(last)
    return masks[::-1]


def before_all(block: Block, last: int) -> int:
    """Return what is read before the first instruction of a block."""
    for op in reversed(block.ops):
        last = last & ~op.writes | op.reads
    return last
