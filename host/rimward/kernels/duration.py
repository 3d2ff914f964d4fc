"""Duration of a tick on the chip: figures that `python -m tests.machine --write` counts on the board's machine code."""

import json
from functools import cache
from pathlib import Path

from rimward_protocol import kernel_slots as slots

FILE = Path(__file__).with_name("tick.json")


@cache
def worst_us() -> float:
    """Longest tick, µs: longest path of the machine code with the interrupt's dispatch, 125 MHz, no flash waits."""
    return float(json.loads(FILE.read_text(encoding="utf-8"))["tick_us_worst"])


def load_units() -> int:
    """Longest tick as the tick measures itself, in units of LOAD, rounded up."""
    return int(-(-worst_us() // slots.LOAD_US))
