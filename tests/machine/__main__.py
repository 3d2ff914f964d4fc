"""The files that go on a board, run on an emulated ARMv6-M processor: `python -m tests.machine [--json] [--ticks N] [--sessions N] [--write]`.

Every tick's bits are compared with CPython, its cycles counted; worst times are longest paths of the machine code. Exit code 1 if anything
differs, is not allowed in a tick, or takes longer than a tick may.
"""

import argparse
import json
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
from rimward.kernels import duration

from tests.machine import cycles, measure, runtime, shipped, whole

TICKS = 20_000
KEPT = ("tick_us_worst", "guard_us_worst", "fill_us_worst")


def table(row: dict[str, Any], figures: measure.Figures) -> str:
    """The figures for people."""
    found = figures.found
    share = [
        runtime.microseconds(float(np.percentile(values, 99))) if values else 0.0
        for values in (found.tick, found.guard, found.fill)
    ]
    most = [
        runtime.microseconds(max(values, default=0))
        for values in (found.tick, found.guard, found.fill)
    ]
    lines = [
        f"{row['ticks']} ticks, {row['differences']} differences from CPython; {row['bytecode_calls']} things that a tick may not do",
        "            longest path   counted: 99 %   most, us at 125 MHz",
        f"whole tick  {row['tick_us_worst']:12}   {share[0]:13}   {most[0]:7}   median {row['tick_us_median']}",
        f"            about {figures.with_flash_waits_us()} at the longest with flash waits, by estimate",
        f"guard       {row['guard_us_worst']:12}   {share[1]:13}   {most[1]:7}",
        f"fill        {row['fill_us_worst']:12}   {share[2]:13}   {most[2]:7}",
        f"stack       {row['stack_bytes_worst']} bytes bounded, {found.stack_bytes} seen",
    ]
    if found.from_reset:
        lines.append(
            f"{len(found.from_reset)} recorded spans begin from a reset: their memory has other words than the kernels"
        )
    lines += [f"DIFFERENCE: {text}" for text in found.differences] + [
        f"NOT ALLOWED: {text}" for text in figures.bounds.problems()
    ]
    return "\n".join([*lines, "ok" if row["ok"] else "NOT ok"])


def main() -> int:
    """0 when everything is the same, allowed, and within its time."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.machine",
        description="The board's machine code on an emulated processor.",
    )
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--ticks", type=int, default=TICKS, help="guided ticks")
    parser.add_argument(
        "--sessions",
        type=int,
        default=None,
        help="only so many of the recorded sessions, spread over the list",
    )
    for name in ("tick", "guard", "fill"):
        parser.add_argument(
            f"--{name}", type=Path, help=f"a source or .mpy in place of the shipped {name}"
        )
    parser.add_argument(
        "--write", action="store_true", help="keep the longest tick for the simulation"
    )
    asked = parser.parse_args()
    begun = time.monotonic()

    def tell(what: str, ticks: int) -> None:
        print(
            f"\r{ticks} ticks, {time.monotonic() - begun:.0f} s: {what:40}",
            end="",
            file=sys.stderr,
            flush=True,
        )

    code = whole.Codes(
        *(
            cycles.machine_code(path) if path else shipped.kernel(name)
            for name, path in (("tick", asked.tick), ("guard", asked.guard), ("fill", asked.fill))
        )
    )
    names = measure.sessions()
    if asked.sessions is not None:
        names = names[:: max(1, len(names) // max(1, asked.sessions))][: asked.sessions]
    figures = measure.measure(code, asked.ticks, names, tell)
    print(file=sys.stderr)
    row = figures.row()
    if asked.write and row["ok"]:
        duration.FILE.write_text(
            json.dumps({name: row[name] for name in KEPT}, indent=2) + "\n", encoding="utf-8"
        )
    print(json.dumps(row) if asked.json else table(row, figures))
    return 0 if row["ok"] else 1


if __name__ == "__main__":
    sys.exit(main())
