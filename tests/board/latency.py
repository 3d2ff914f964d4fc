"""How long the main loop takes to answer a button and a host, estimated: instructions counted on the emulated board, times what one takes.

`python -m tests.board.latency [--json]`. Milliseconds by `counting.US_AN_INSTRUCTION`. Flash reads of a file are counted as copies in memory.
With them the longest turn of the main loop in each activity of a visit (`turns`).
"""

import argparse
import json
import tempfile
from pathlib import Path

from rimward.device.link import Client, LockstepTransport, verbs

from tests.board import turns
from tests.board.__main__ import HEAP
from tests.board.counting import US_AN_INSTRUCTION
from tests.board.install import install
from tests.board.line import Line, board

STEP_S = 0.002


def measure() -> dict[str, float]:
    """Milliseconds for each thing, estimated as the module says."""
    found: dict[str, int] = {}
    with tempfile.TemporaryDirectory() as folder:
        install(Path(folder))
        with board(Path(folder), HEAP, counting=True) as line:
            until_shown(line, "CHOOSE")
            found["start to the list of wheels"] = line.world.instructions
            line.advance(4.5)  # two collections
            before = line.world.instructions
            client = Client(LockstepTransport(line))
            found["first hello"] = line.world.instructions - before
            line.advance(0.5)
            before = line.world.instructions
            verbs.status(client)
            found["status"] = line.world.instructions - before
            line.advance(0.5)
            for name, button in (
                ("ENTER to the next screen", "ENTER"),
                ("UP to the next figure", "UP"),
            ):
                found[name] = pressed(line, button)
    with tempfile.TemporaryDirectory() as folder:
        for activity, longest in turns.measure(Path(folder)).items():
            found["longest turn, " + activity] = longest
    return {name: round(n * US_AN_INSTRUCTION / 1000, 1) for name, n in found.items()}


def pressed(line: Line, button: str) -> int:
    """Instructions from a press until the display shows something else."""
    shown, before = line.world.shown(), line.world.instructions
    line.world.hold(button, True)
    for _ in range(1000):
        line.advance(STEP_S)
        if line.world.shown() != shown:
            break
    taken = line.world.instructions - before
    line.world.hold(button, False)
    line.advance(0.5)
    return taken


def until_shown(line: Line, words: str) -> None:
    while words not in line.world.shown():
        line.advance(0.1)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true")
    args = parser.parse_args()
    found = measure()
    print(json.dumps(found) if args.json else "\n".join(f"{n}: {ms} ms" for n, ms in found.items()))


if __name__ == "__main__":
    main()
