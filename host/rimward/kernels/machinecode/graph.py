"""The graph of blocks, tidied: empty blocks, jumps to the next block, equal ends, values that two ways hand on."""

from rimward.kernels.machinecode import thumb
from rimward.kernels.machinecode.live import after_each
from rimward.kernels.machinecode.thumb import Block, Op

SHARED_LEAST = 3  # instructions at the end of two blocks that are worth a jump


def joined(made: list[Block]) -> list[Block]:
    """Blocks without empty ones, those nothing reaches, and jumps between a block and its only follower."""
    for block in made:
        block.then, block.taken = _end(block.then), _end(block.taken)
        if block.taken is block.then:
            block.condition = block.taken = None
    reached, work = {made[0]}, [made[0]]
    while work:
        for way in work.pop().ways():
            if way not in reached:
                reached.add(way)
                work.append(way)
    entries: dict[Block, int] = dict.fromkeys(reached, 0)
    for block in reached:
        for way in block.ways():
            entries[way] += 1
    gone: set[Block] = set()
    for block in [block for block in made if block in reached]:
        while block not in gone and block.condition is None and block.then is not None:
            follower = block.then
            if entries[follower] > 1 or follower is made[0] or follower is block:
                break
            block.ops += follower.ops
            block.condition, block.taken, block.then = (
                follower.condition,
                follower.taken,
                follower.then,
            )
            gone.add(follower)
    return [block for block in made if block in reached and block not in gone]


def _end(block: Block | None) -> Block | None:
    """Where a jump to a block leads: past empty blocks."""
    seen = set()
    while block and not block.ops and block.condition is None and block.then and block not in seen:
        seen.add(block)
        block = block.then
    return block


def shared_ends(made: list[Block]) -> list[Block]:
    """Blocks that go on at the same place share the instructions that they end with."""
    work = list(made)
    while work:
        last = work.pop()
        ends = [b for b in made if b.then is last and b.condition is None]
        while ends:
            first = ends.pop(0)
            same = [b for b in ends if _common(first, b) >= SHARED_LEAST]
            if not same:
                continue
            count = min(_common(first, b) for b in same)
            tail = Block(first.ops[-count:], None, None, last)
            made.insert(made.index(same[-1]) + 1, tail)  # behind them all: no jump leads back
            work.append(tail)
            for block in (first, *same):
                block.ops, block.then = block.ops[:-count], tail
            ends = [b for b in ends if b.then is last]
    return made


def _common(one: Block, other: Block) -> int:
    """Count the instructions that two blocks end with alike."""
    count = 0
    for a, b in zip(reversed(one.ops), reversed(other.ops)):
        if a != b:
            break
        count += 1
    return count


def carried_choices(made: list[Block], live: dict[Block, int]) -> None:
    """`x if c else y`: both ways end with a `store` of one word that is loaded once, first thing where they meet: a register carries it."""
    before: dict[Block, list[Block]] = {block: [] for block in made}
    for block in made:
        for way in block.ways():
            before[way].append(block)
    for block in made:
        load = block.ops[0] if block.ops else None
        if load is None or load.name != "load" or not before[block] or block is made[0]:
            continue
        if after_each(block, live[block])[0] & thumb.slot(load.i):
            continue
        ends = [other.ops[-1] if other.ops else None for other in before[block]]
        if all(
            end is not None and end.name == "store" and end.i == load.i and other.condition is None
            for end, other in zip(ends, before[block])
        ):
            for other in before[block]:
                other.ops[-1] = Op("mov", d=load.d, m=other.ops[-1].d)
            del block.ops[0]
