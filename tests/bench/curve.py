"""Settled error against time to `done`: `python -m tests.bench.curve --write` adds the table to WORLD.md. Some twenty minutes of one processor.

The fill says `done` once its heat is known to `_SURE_...` (`kernels/fill_plan.py`). Each row scales these bounds by a factor in a copy of the
packages and plays the same feasible healthy fills with it. The kernels that stand are the row of factor 1: WORLD.md has the same fills of them,
which are taken where they are of these kernels. `--factor` measures some rows only; rows that were kept of the same kernels stay.
"""

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from rimward.simulation.engines import KERNELS
from rimward.simulation.plant.kept import digest

from tests.bench import world

ROOT = Path(__file__).parents[2]
FACTORS = (0.3, 0.6, 1.0, 2.0)
BOUND = re.compile(r"^(_SURE_\w+ = const\()([\d_]+)\)", re.MULTILINE)
PLAN = Path("firmware/rimward_fw/kernels/fill_plan.py")
BOUNDS = 6  # each source: held-open core, closed core, closed core of a known spring
SEED, FILLS = world.FILL_SEED, world.FILLS
MEASURE = """
import json
from rimward.simulation.campaign import fills
from rimward.simulation.campaign.firstgo import CLASSES
print(json.dumps([fills.report(fills.fills({seed}, {count}, line, pin), line, pin) for line, pin in CLASSES]))
"""


def scaled(text: str, factor: float) -> str:
    """Return the text of `fill_plan` with each bound of certainty times `factor`. ValueError where it has others than are known here."""
    made, count = BOUND.subn(lambda m: f"{m[1]}{round(int(m[2].replace('_', '')) * factor)})", text)
    if count != BOUNDS:
        raise ValueError(f"{count} bounds of certainty in {PLAN}, {BOUNDS} are known")
    return made


def measured(factor: float, count: int = FILLS) -> list[dict[str, Any]]:
    """Figures of each class with the bounds times `factor`, in a process of its own."""
    with tempfile.TemporaryDirectory() as folder:
        top = Path(folder)
        for package in ("host", "firmware", "protocol"):
            shutil.copytree(ROOT / package, top / package)
        (top / PLAN).write_text(scaled((ROOT / PLAN).read_text(), factor))
        path = os.pathsep.join(str(top / name) for name in ("host", "firmware", "protocol"))
        done = subprocess.run(
            [sys.executable, "-c", MEASURE.format(seed=SEED, count=count)],
            env=os.environ | {"PYTHONPATH": path, "XDG_CACHE_HOME": str(top / "cache")},
            cwd=top,
            stdout=subprocess.PIPE,
            text=True,
            check=True,
        )
    found: list[dict[str, Any]] = json.loads(done.stdout)
    return found


def standing() -> list[dict[str, Any]] | None:
    """Figures of the kernels that stand as WORLD.md has them; None where it is of others."""
    found: dict[str, Any] = json.loads(world.NOW.read_text())
    same = found["kernels"] == digest(KERNELS) and found["part"] == 1
    return list(found["fills"]) if same else None


def joined(kept: dict[str, Any] | None, rows: list[dict[str, Any]], kernels: str) -> dict[str, Any]:
    """Rows kept of the same kernels and those just measured, by factor."""
    old = kept["rows"] if kept and kept["kernels"] == kernels else []
    by_factor = {row["factor"]: row for row in [*old, *rows]}
    return {"kernels": kernels, "rows": [by_factor[factor] for factor in sorted(by_factor)]}


def main(arguments: list[str]) -> int:
    """Measure each factor; print or keep."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.curve", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("--write", action="store_true", help="keep the figures and write WORLD.md")
    parser.add_argument("--fills", type=int, default=FILLS, help="of each class, when not written")
    parser.add_argument("--factor", type=float, action="append", help="this row; may be repeated")
    chosen = parser.parse_args(arguments)
    count = FILLS if chosen.write else chosen.fills
    rows = []
    for factor in chosen.factor or FACTORS:
        known = standing() if factor == 1.0 and count == FILLS else None
        rows.append({"factor": factor, "classes": known or measured(factor, count)})
        print(f"factor {factor:g} measured", file=sys.stderr)
    rows = json.loads(json.dumps(rows))  # keys as kept
    kept = json.loads(world.CURVE.read_text()) if chosen.write and world.CURVE.exists() else None
    found = joined(kept, rows, digest(KERNELS))
    if chosen.write:
        world.CURVE.write_text(json.dumps(found, indent=1) + "\n")
        return world.main(["--page"])
    print("\n".join(world.curve_lines(found, found["kernels"])))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
