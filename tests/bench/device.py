"""Size of the kernels' machine code as `rimward install` puts it on a board, in bytes of .mpy. Tracked in `device.json`.

Cycles are counted by `tests.machine`, heap by `tests.rig.heap`.
"""

import json
from pathlib import Path
from typing import Any

from tests.bench.row import Row
from tests.machine import shipped

TRACKED = Path(__file__).parent / "device.json"
RISE = 1.05


def tracked() -> dict[str, Any]:
    """Return the committed figures and the reasons of their changes."""
    return json.loads(TRACKED.read_text()) if TRACKED.exists() else {"figures": {}, "why": []}


def measured() -> dict[str, int]:
    """Return bytes of machine code by kernel."""
    files = shipped.files()
    return {
        f"{name} .mpy bytes": len(files[f"{shipped.plan.KERNELS}{name}.mpy"])
        for name in ("guard", "fill", "tick")
    }


def rows(quick: bool) -> list[Row]:
    """Return one row a figure: at most five per cent over what is tracked."""
    before = tracked()["figures"]
    made = []
    for name, value in measured().items():
        allowed = RISE * before[name] if name in before else float("nan")
        made.append(
            Row(
                f"machine code: {name}",
                [float(value)],
                [allowed],
                {"tracked": before.get(name, "none")},
            )
        )
    return made


def track(why: str) -> None:
    """Write the current figures into the tracked file, with the reason for the change."""
    file = tracked()
    now = measured()
    changed = {
        name: [file["figures"].get(name), value]
        for name, value in now.items()
        if file["figures"].get(name) != value
    }
    file["why"].append({"why": why, "changed": changed})
    file["figures"] = now
    TRACKED.write_text(json.dumps(file, indent=2) + "\n")
