"""`python -m tests.board [--fills N] [--heap BYTES] [--json]`: the installed firmware on the emulated board, fill after fill.

Prints heap free at idle, the stack used, and each fill. Ends with 1 where a fill did not end with `DONE`, or the firmware reset.
"""

import argparse
import json
import sys
import tempfile
from pathlib import Path

from tests.board.install import install
from tests.board.interpreter import Missing, build
from tests.board.person import Lost, Seen, fills
from tests.board.world import World

BARE_FREE = 240_000  # bytes free in the bare interpreter on the chip
HEAP = 246_700  # bytes of heap with so many free before anything is imported


def run(count: int, heap: int = HEAP) -> tuple[World, Seen]:
    """Install into an empty flash and run so many fills. Missing, Lost."""
    with tempfile.TemporaryDirectory() as folder:
        install(Path(folder))
        world, seen = World(build(), Path(folder), heap), Seen()
        world.person = fills(world, seen, count)
        world.run()
    return world, seen


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fills", type=int, default=10)
    parser.add_argument("--heap", type=int, default=HEAP)
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    try:
        world, seen = run(args.fills, args.heap)
    except (Missing, Lost) as error:
        print(error, file=sys.stderr)
        return 1
    done = sum(one.end == "DONE" for one in seen.fills)
    answer = {
        "ok": world.ended == 0 and done == args.fills, "fills": args.fills, "done": done,
        "ended": world.ended, "resets": world.resets, "start_s": round(seen.start_s, 2),
        "heap_free_idle": seen.idle[1], "heap_largest_idle": seen.idle[2],
        "heap_free_filling_least": min((one.free_least for one in seen.fills), default=None),
        "stack_used": world.stack_used(), "longest_turn_ms": world.longest_us // 1000,
        "each": [vars(one) for one in seen.fills],
    }  # fmt: skip
    if args.json:
        print(json.dumps(answer))
    else:
        for name, value in answer.items():
            if name != "each":
                print(f"{name.replace('_', ' ')}: {value}")
        for one in seen.fills:
            print(f"  {one}")
        print(world.out.decode("latin1"))
    return 0 if answer["ok"] else 1


if __name__ == "__main__":
    sys.exit(main())
