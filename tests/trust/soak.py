"""Soak: the whole firmware on MicroPython, fill after fill, memory and counters watched, for 24 h of plant time."""

import json
import subprocess
from pathlib import Path
from typing import Any

from rimward.kernels.sources import source_paths
from rimward.simulation.virtual.interpreter import find_interpreter

SCRIPT = Path(__file__).parents[1] / "interpreter" / "soak_script.py"
DAY_FILLS, DAY_HOURS = 6300, 24.0
QUICK_FILLS = 6
TICKS_A_HOUR = 1_800_000


def soak(fills: int, limit_s: float, free: int = 0) -> dict[str, Any]:
    """Figures of a run: fills, done, stopped, ticks, heap, free, least, ok, said. `free`: bytes of heap left at idle, 0 for all. Needs MicroPython."""
    interpreter = find_interpreter()
    assert interpreter.name == "micropython", interpreter.notice
    protocol, firmware, _main = source_paths()
    folders = ":".join(dict.fromkeys((str(protocol), str(firmware))))
    ran = subprocess.run(
        [*interpreter.argv, str(SCRIPT), folders, str(fills), str(free)],
        capture_output=True,
        text=True,
        timeout=limit_s,
    )
    lines = ran.stdout.splitlines()
    figures = next(
        (json.loads(line.split(" ", 1)[1]) for line in lines if line.startswith("figures ")), {}
    )
    last = lines[-1] if lines else ran.stderr.strip()[-300:]
    hours = figures.get("ticks", 0) / TICKS_A_HOUR
    return {
        **figures,
        "virtual_hours": round(hours, 2),
        "ok": ran.returncode == 0 and last.startswith("soak ok"),
        "said": last,
    }


def day(quick: bool) -> dict[str, Any]:
    """24 h of fills, or a few of them; both pass the wrap of the tick counter."""
    if quick:
        return soak(QUICK_FILLS, 300)
    found = soak(DAY_FILLS, 20_000)
    return {**found, "ok": found["ok"] and found["virtual_hours"] >= DAY_HOURS}


CHECKS = {"fills one after the other on MicroPython": day}
