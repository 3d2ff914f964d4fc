"""Runs of the damaged-frame tests, here and on MicroPython. Shared by the quick tests and by `python -m tests.trust`."""

import ast
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from rimward.kernels.sources import source_paths
from rimward.simulation.virtual.interpreter import find_interpreter

FOLDER = Path(__file__).parent
READ_AT_ONCE = 128  # bytes of the line in one turn of the main loop
WRITES = 34  # replies and session pieces in one turn
HEAP_SLACK = 64 * 1024

CALLS = {
    "frames": "from frames import run; print(run({seed}, {count}))",
    "device": "from device import soak; print(soak({seed}, {count}, {held}))",
}


def on_micropython(
    which: str, seed: int, count: int, held: bool = False, limit_s: float = 1200
) -> Any:
    """What `frames.run` or `device.soak` gives on the unix build of MicroPython. AssertionError if anything escapes there."""
    interpreter = find_interpreter()
    assert interpreter.name == "micropython", interpreter.notice
    protocol, firmware, _main = source_paths()
    path = os.pathsep.join((".frozen", str(FOLDER), str(protocol), str(firmware)))
    code = CALLS[which].format(seed=seed, count=count, held=held)
    with tempfile.TemporaryDirectory() as folder:
        done = subprocess.run(
            [*interpreter.argv, "-c", code],
            env={**os.environ, "MICROPYPATH": path},
            cwd=folder,
            capture_output=True,
            text=True,
            timeout=limit_s,
        )
    assert done.returncode == 0, done.stdout + done.stderr
    return ast.literal_eval(done.stdout)


def soak_here(seed: int, count: int, held: bool = False) -> dict[str, Any]:
    """`device.soak` on this interpreter."""
    sys.path.insert(0, str(FOLDER))
    try:
        from device import soak  # type: ignore[import-not-found]

        return soak(seed, count, held)
    finally:
        sys.path.remove(str(FOLDER))


def problems_of(seen: dict[str, Any], pieces: int) -> list[str]:
    """Failures of a soak; empty if there are none."""
    found = []
    if seen["pieces"] != pieces:
        found.append("not every piece was fed")
    if seen["failures"]:
        found.append(f"{seen['failures']} requests ended in an exception")
    if seen["most_read"] > READ_AT_ONCE or seen["most_writes"] > WRITES:
        found.append("a turn of the loop did more than it may")
    if seen["heap_first"] - seen["heap_least"] > HEAP_SLACK:
        found.append("the heap shrank")
    return found
