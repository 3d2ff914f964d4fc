"""Longest path and deepest stack of a kernel's machine code: `python -m tests.machine.cycles PATH [FUNCTION]`.

PATH is a source (compiled as the install does) or a .mpy file. `--callee 0=PATH:FUNCTION` names the function that parameter 0 stands for,
`--callee _fill=PATH:FUNCTION` the one that a global does;
`--loop FUNCTION=N`, once for each loop by address, says how often it repeats at most. Exit code 1 where something happens that a tick may not do.
"""

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from tests.machine import mpyfile, paths, runtime, thumb

VIPER = ("-X", "emit=viper")


def machine_code(path: Path) -> mpyfile.Module:
    """The module at a path: a .mpy file, or a source, compiled whole as viper unless its functions are decorated."""
    if path.suffix == ".mpy":
        return paths.load(path.read_bytes())
    decorated = "@micropython.viper" in path.read_text(encoding="utf-8")
    return paths.load(mpyfile.compiled(path, *(() if decorated else VIPER)))


def parsed_callee(text: str) -> tuple[int | str, paths.Function]:
    """`0=PATH:FUNCTION` or `_fill=PATH:FUNCTION`. ValueError for another form."""
    meant, _, place = text.partition("=")
    path, _, name = place.rpartition(":")
    module = machine_code(Path(path))
    return int(meant) if meant.isdigit() else meant, paths.Function(
        module, paths.function(module, name)
    )


def parsed_loops(texts: list[str]) -> dict[str, tuple[int, ...]]:
    """`step=4` each: bounds by function. ValueError for another form."""
    found: dict[str, tuple[int, ...]] = {}
    for text in texts:
        name, _, times = text.partition("=")
        found[name] = (*found.get(name, ()), int(times))
    return found


def measured(
    module: mpyfile.Module,
    name: str,
    callees: dict[int | str, paths.Function],
    loops: dict[str, tuple[int, ...]],
) -> dict[str, Any]:
    """The figures of one function."""
    found = paths.bound(paths.Function(module, paths.function(module, name), callees, loops))
    return {
        "function": name, "cycles": found.cycles, "us": runtime.microseconds(found.cycles), "stack_bytes": found.stack_bytes, "instructions": found.steps,
        "runtime_calls": dict(found.calls), "problems": sorted(set(found.problems)),
    }  # fmt: skip


def shown(row: dict[str, Any]) -> str:
    """One function for people."""
    calls = ", ".join(f"{count} {name}" for name, count in row["runtime_calls"].items()) or "none"
    lines = [
        f"{row['function']}: longest path {row['cycles']} cycles, {row['us']} us at 125 MHz; {row['instructions']} instructions; stack {row['stack_bytes']} bytes",
        f"  runtime calls on it: {calls}",
    ]
    return "\n".join(lines + [f"  PROBLEM: {problem}" for problem in row["problems"]])


def listing(
    module: mpyfile.Module,
    name: str,
    callees: dict[int | str, paths.Function],
    loops: dict[str, tuple[int, ...]],
) -> str:
    """The longest path's own instructions with the cycles up to each, calls left out."""
    code = paths.function(module, name)
    steps, total, lines = thumb.steps(code.data), 0, []
    for _, at in paths.bound(paths.Function(module, code, callees, loops)).path:
        total += steps[at].cycles
        lines.append(f"{total:6} {at:5x}  {steps[at].text}")
    return "\n".join(lines)


def main(arguments: list[str] | None = None) -> int:
    """0: figures printed; 1: with something that a tick may not do; 2: wrong usage."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.machine.cycles",
        description="Longest path and deepest stack of machine code.",
    )
    parser.add_argument("path", type=Path)
    parser.add_argument("function", nargs="?", help="all functions of the module, if none is named")
    parser.add_argument("--callee", action="append", default=[], metavar="PARAMETER=PATH:FUNCTION")
    parser.add_argument("--loop", action="append", default=[], metavar="FUNCTION=N")
    parser.add_argument(
        "--listing", action="store_true", help="print the longest path instruction by instruction"
    )
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args(arguments)
    try:
        module = machine_code(asked.path)
        callees = dict(parsed_callee(text) for text in asked.callee)
        loops = parsed_loops(asked.loop)
        names = (
            [asked.function]
            if asked.function
            else [code.name for code in module.body.children if code.kind == mpyfile.VIPER]
        )
        rows = [measured(module, name, callees, loops) for name in names]
        if asked.listing:
            print("\n".join(listing(module, name, callees, loops) for name in names))
    except (ValueError, KeyError, RuntimeError, OSError) as wrong:
        print(f"cycles: {wrong}", file=sys.stderr)
        return 1
    print(json.dumps(rows) if asked.json else "\n".join(map(shown, rows)))
    return 1 if any(row["problems"] for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
