"""Longer campaigns of set D: `python -m tests.bench.longer RESULTS ... [--write]` reads what `rimward campaign --out RESULTS` left, whole or ended early.

`--write` keeps a row of each in longer.json and in WORLD.md, above those kept before; one of the same kernels, seed, faults and persons
replaces that. Results of other sources than those that stand are refused.
"""

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from rimward.simulation.campaign.store import Results, fingerprint, plan_in
from rimward.simulation.campaign.summary import summary
from rimward.simulation.engines import KERNELS
from rimward.simulation.plant.kept import digest

from tests.bench import world


def row(path: Path) -> dict[str, Any]:
    """Figures of one result file over the sessions that are in it. ValueError where they were played by other sources."""
    with path.open("rb") as file:
        plan = plan_in(file.readline(), path)
    if plan.code != fingerprint():
        raise ValueError(f"{path}: played by other sources than those that stand")
    found = Results(path, plan).rows()
    figures = summary(found, len(found), plan.seed)
    return {
        "kernels": digest(KERNELS),
        "seed": plan.seed,
        "faults": list(plan.faults),
        "people": list(plan.people),
        "sessions": len(found),
        "set_d": figures["set_d_sessions"],
        "over": figures["exceedances"],
        "own_air": figures["own_air"],
        "highest": figures["peak_over_ceiling_max"],
    }


def joined(kept: list[dict[str, Any]], rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the new rows, then those kept of other campaigns."""

    def campaign(one: dict[str, Any]) -> list[Any]:
        return [one["kernels"], one["seed"], list(one["faults"]), list(one["people"])]

    new = [campaign(one) for one in rows]
    return [*rows, *(one for one in kept if campaign(one) not in new)]


def main(arguments: list[str]) -> int:
    """Print the rows, or keep them; 0 when no session of set D passed its ceiling."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.longer", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("results", nargs="+", type=Path)
    parser.add_argument("--write", action="store_true", help="keep the rows and write WORLD.md")
    chosen = parser.parse_args(arguments)
    rows = [row(path) for path in chosen.results]
    print("\n".join(world.longer_lines(rows, digest(KERNELS))))
    if chosen.write:
        kept = json.loads(world.LONGER.read_text()) if world.LONGER.exists() else []
        world.LONGER.write_text(json.dumps(joined(kept, rows), indent=1) + "\n")
        world.main(["--page"])
    return int(any(one["over"] for one in rows))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
