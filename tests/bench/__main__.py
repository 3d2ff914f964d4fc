"""`python -m tests.bench [--json] [--quick] [--part NAME]`: every figure of the simulated world with what it must reach.

Exit 0 if all that must be reached is reached. `--results FILE` takes the campaign's row from results of `rimward campaign`.
`--track WHY` writes the machine-code sizes into the tracked file, with the reason.
"""

import argparse
import importlib
import json
import sys
import time
from pathlib import Path

# name -> module with `rows(quick) -> list[Row]`; one line a part
PARTS = {
    "campaign": "tests.bench.campaign",
    "fills": "tests.bench.fills",
    "pairs": "tests.bench.pairs",
    "engines": "tests.bench.engines",
    "decoding": "tests.bench.decoding",
    "device": "tests.bench.device",
    "whole": "tests.bench.whole",
}


def main() -> int:
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench", description="Figures of the simulated world, measured now."
    )
    parser.add_argument("--json", action="store_true", help="one JSON document on stdout")
    parser.add_argument(
        "--quick",
        action="store_true",
        help="few sessions: the shape of the figures, not their worth",
    )
    parser.add_argument(
        "--part",
        action="append",
        default=[],
        choices=sorted(PARTS),
        help="this part only; may be repeated",
    )
    parser.add_argument("--results", type=Path, help="campaign results to take the first row from")
    parser.add_argument(
        "--track", metavar="WHY", help="write the machine-code sizes into the tracked file"
    )
    chosen = parser.parse_args()
    if chosen.track:
        from tests.bench import device

        device.track(chosen.track)
        return 0
    if chosen.results:
        from tests.bench import campaign

        campaign.results = chosen.results
    start = time.monotonic()
    found = []
    for name, module in PARTS.items():
        if chosen.part and name not in chosen.part:
            continue
        for row in importlib.import_module(module).rows(chosen.quick):
            found.append(row)
            print(row.line(), file=sys.stderr if chosen.json else sys.stdout, flush=True)
    ok = all(row.ok is not False for row in found)
    if chosen.json:
        print(
            json.dumps(
                {
                    "ok": ok,
                    "quick": chosen.quick,
                    "seconds": round(time.monotonic() - start, 1),
                    "rows": [row.json() for row in found],
                }
            )
        )
    return 0 if ok else 1


if __name__ == "__main__":
    sys.exit(main())
