"""Every measured figure on one page, taken from what the checks keep: `python -m tests.figures --write`."""

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rimward.kernels import duration

from tests.bench import world
from tests.board import turns
from tests.rig import heap
from tests.trust import page as trust

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "tests" / "FIGURES.md"
WORLD = world.NOW
QUIET = ROOT / "tests" / "bench" / "quiet.json"
ORACLE = ROOT / "tests" / "outside" / "oracle.json"

HEAD = """# Figures

Made by `python -m tests.figures --write` from what the checks keep; do not edit. `n` is how many cases a figure rests on, `bound` what it
has to hold. A highest value is the highest of n, not a bound. Commit and date are of the last change of the file that keeps the figure.

| figure | value | bound | n | commit | date | command |
| --- | --- | --- | --- | --- | --- | --- |
"""


@dataclass(frozen=True)
class Figure:
    """One row. `kept_in`: the file that the figure comes from, whose last commit dates it."""

    name: str
    value: str
    bound: str
    n: str
    kept_in: Path
    command: str


def machine_figures() -> Iterator[Figure]:
    bounds = {"tick_us_worst": "300 us", "guard_us_worst": "", "fill_us_worst": "200 us"}
    for name, value in json.loads(duration.FILE.read_text(encoding="utf-8")).items():
        shown = f"{name.split('_')[0]}, longest path of the machine code at 125 MHz, no flash waits"
        yield Figure(
            shown,
            f"{value} us",
            bounds.get(name, ""),
            "all paths",
            duration.FILE,
            "python -m tests.machine --write",
        )


def heap_figures() -> Iterator[Figure]:
    source = Path(heap.__file__)
    rows = (
        ("idle, plain files", heap.IDLE_MOST, heap.FREE_IDLE),
        ("in mid-fill with the record, plain files", heap.FILLING_MOST, heap.FREE_FILLING),
        ("idle, frozen modules", heap.FROZEN_IDLE_MOST, heap.FREE_IDLE),
        (
            "in mid-fill with the record, frozen modules",
            heap.FROZEN_FILLING_MOST,
            heap.FREE_FILLING,
        ),
    )
    for name, most, aim in rows:
        free = heap.HEAP - most
        yield Figure(
            f"heap free {name}, at least",
            f"{free:,} bytes",
            f"{aim:,} bytes (aim)",
            "1",
            source,
            "python -m tests.rig.heap",
        )


def turn_figures() -> Iterator[Figure]:
    for activity, most in turns.MOST_MS.items():
        yield Figure(
            f"longest turn of the main loop, {activity}, at most (estimated of counted instructions)",
            f"{most:.0f} ms",
            f"{turns.AIM_MS:.0f} ms (aim)",
            "1",
            Path(turns.__file__),
            "python -m tests.board.latency",
        )


def world_figures() -> Iterator[Figure]:
    command = "python -m tests.bench.world --write"
    kept = json.loads(WORLD.read_text(encoding="utf-8"))
    for row in kept["fills"]:
        n, name = row["feasible"], row["class"]
        settled = row["settled_error_absolute_pa"]["p99"] / 1e5
        bound = "0.03 bar (aim)" if row["source"] == "compressor" else "0.06 bar (aim)"
        yield Figure(
            f"{name}: done at the first go",
            f"{row['done_first'] / n:.1%}",
            "99 % (aim)",
            str(n),
            WORLD,
            command,
        )
        yield Figure(
            f"{name}: done with one more try",
            f"{row['done_retry'] / n:.1%}",
            "99.8 % (aim)",
            str(n),
            WORLD,
            command,
        )
        yield Figure(
            f"{name}: settled error, 99th percentile",
            f"{settled:.3f} bar",
            bound if row["chuck"] == "pin-open" else "",  # any core: springs below
            str(n + row["tight"]["fills"]),
            WORLD,
            command,
        )
    springs = json.loads(world.SPRINGS.read_text(encoding="utf-8"))
    for source, made in springs["sources"].items():
        for key in ("first_pa", "stored_pa"):
            yield Figure(
                f"{source}, pressure-open, {world.SPRING_ROWS[key]}: settled error, 99th percentile",
                f"{made[key]['p99'] / 1e5:.3f} bar",
                "0.03 bar (aim)" if source == "compressor" else "0.06 bar (aim)",
                str(made["wheels"]),
                world.SPRINGS,
                "python -m tests.bench.springs --write",
            )
    for name, part in (
        ("healthy", "healthy"),
        ("moved chucks", "moved"),
        ("set D, all faults", "set_d"),
    ):
        yield from _set_d(name, kept[part], command)


def _set_d(name: str, row: dict[str, Any], command: str) -> Iterator[Figure]:
    n = str(row["set_d_sessions"])
    yield Figure(
        f"sessions of set D above their ceiling, {name}",
        str(row["exceedances"]),
        "0",
        n,
        WORLD,
        command,
    )
    yield Figure(
        f"highest pressure ÷ ceiling of set D, {name}",
        f"{row['peak_over_ceiling_max']:.3f}",
        "1",
        n,
        WORLD,
        command,
    )


def trust_figures() -> Iterator[Figure]:
    for name, value in trust.figures(trust.kept()).items():
        yield Figure(name, f"{value:,}", "", "whole", trust.KEPT, "python -m tests.trust --write")


def oracle_figures() -> Iterator[Figure]:
    found = json.loads(ORACLE.read_text(encoding="utf-8"))
    yield Figure(
        f"ceilings above an independent oracle, of {found['with_ceiling']:,} ({found['with_ride']:,} with a ride)",
        str(found["above"]),
        "0",
        f"{found['draws']:,} draws",
        ORACLE,
        "python -m tests.outside.oracle --write",
    )


def quiet_figures() -> Iterator[Figure]:
    found = json.loads(QUIET.read_text(encoding="utf-8"))
    yield Figure(
        "false events of the proof bench's analysis in quiet minutes of the simulated plant",
        str(len(found["events"])),
        "0",
        f"{found['quiet_minutes']:,} minutes",
        QUIET,
        "python -m tests.bench.quiet --write",
    )


def dated(path: Path) -> tuple[str, str]:
    """Return (short commit, date) of the last change of a file, or two dashes outside a clone."""
    asked = ["git", "-C", str(ROOT), "log", "-1", "--format=%h %cs", "--", str(path)]
    found = subprocess.run(asked, capture_output=True, text=True, check=False).stdout.split()
    return (found[0], found[1]) if len(found) == 2 else ("-", "-")


def figures() -> list[Figure]:
    """Return every figure that a check keeps."""
    return [
        *machine_figures(),
        *heap_figures(),
        *turn_figures(),
        *world_figures(),
        *oracle_figures(),
        *quiet_figures(),
        *trust_figures(),
    ]


def rows(of: list[Figure]) -> list[str]:
    """Return the rows of the page without their dates: what a test compares."""
    return [f"| {f.name} | {f.value} | {f.bound} | {f.n} |" for f in of]


def text() -> str:
    """Return the whole page as Markdown."""
    dates = {path: dated(path) for path in {f.kept_in for f in figures()}}
    lines = [
        f"{row} {' | '.join(dates[f.kept_in])} | `{f.command}` |"
        for f, row in zip(figures(), rows(figures()), strict=True)
    ]
    return HEAD + "\n".join(lines) + "\n"


if __name__ == "__main__":
    if "--write" in sys.argv:
        PAGE.write_text(text(), encoding="utf-8")
    else:
        print(text())
