"""Interpreter of the firmware: MicroPython's unix build if available, else CPython with a notice."""

import shutil
import subprocess
import sys
import sysconfig
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Interpreter:
    """An interpreter that can run the firmware. `notice` is empty on MicroPython."""

    name: str
    argv: tuple[str, ...]
    notice: str = ""


def find_interpreter(prefer: str = "micropython") -> Interpreter:
    """MicroPython beside this Python or on the path; CPython when it is missing or `prefer` is "cpython"."""
    if prefer == "micropython":
        beside = Path(sysconfig.get_path("scripts")) / "micropython"
        found = str(beside) if beside.exists() else shutil.which("micropython")
        if found and _answers(found):
            return Interpreter("micropython", (found, "-X", "emit=native", "-X", "heapsize=3M"))
        notice = "MicroPython was not found: the firmware runs on CPython. Install the extra `rimward[sim]` for the real interpreter."
        return Interpreter("cpython", (sys.executable, "-B"), notice)
    return Interpreter(
        "cpython", (sys.executable, "-B"), "The firmware runs on CPython, as requested."
    )


def _answers(program: str) -> bool:
    try:
        said = subprocess.run(
            [program, "-c", "import sys; print(sys.implementation.name)"],
            check=False,
            capture_output=True,
            timeout=10,
        )
    except (OSError, subprocess.TimeoutExpired):
        return False
    return said.stdout.strip() == b"micropython"
