"""What the firmware does in the simulated world: `python -m tests.bench.world --write` makes WORLD.md beside this file; `--baseline` keeps the
figures as those to compare with. Takes some two minutes of one processor; `--quick` a fiftieth of the sessions, for the shape only.
"""

import argparse
import json
import sys
import tempfile
from pathlib import Path
from typing import Any

from rimward.simulation.campaign import fills, people
from rimward.simulation.campaign.firstgo import CLASSES
from rimward.simulation.campaign.run import plan_of, run
from rimward.simulation.campaign.summary import summary
from rimward.simulation.engines import KERNELS
from rimward.simulation.plant.kept import digest

HERE = Path(__file__).parent
PAGE, NOW, BASE = HERE / "WORLD.md", HERE / "world.json", HERE / "world_baseline.json"
CURVE = HERE / "curve.json"  # of tests.bench.curve
SPRINGS = HERE / "springs.json"  # of tests.bench.springs
LONGER = HERE / "longer.json"  # of tests.bench.longer
FILL_SEED, FILLS = 5, 400
# name -> (sessions, seed, faults, people)
CAMPAIGNS: dict[str, tuple[int, int, tuple[str, ...], tuple[str, ...]]] = {
    "healthy": (3_000, 21, ("none",), ("patient",)),
    "moved": (4_000, 22, ("none",), people.MOVED),
    "set_d": (6_000, 23, ("all",), people.NAMES),
}
KEPT = (
    "sessions",
    "set_d_sessions",
    "exceedances",
    "own_air",
    "peak_over_ceiling_max",
    "first_go",
    "people",
    "faults",
    "effects",
    "fill_over_ideal",
    "final_error",
)


def campaign(name: str, part: int) -> dict[str, Any]:
    """Figures of one campaign, or of a part of it."""
    sessions, seed, faults, who = CAMPAIGNS[name]
    plan = plan_of(sessions // part, seed, faults, who)
    with tempfile.TemporaryDirectory() as folder:
        results = run(plan, Path(folder) / "results.bin", lambda *_: None, workers=1)
    figures = summary(results.rows(), plan.sessions, plan.seed)
    figures["faults"] = [row for row in figures["faults"] if row["exceedances"]]
    return {key: figures[key] for key in KEPT}


def measure(part: int = 1) -> dict[str, Any]:
    """All figures of the present firmware."""
    found: dict[str, Any] = {"kernels": digest(KERNELS), "part": part}
    found["fills"] = []
    for line, pin in CLASSES:
        one = fills.report(fills.fills(FILL_SEED, FILLS // part, line, pin), line, pin)
        found["fills"].append(one)
    return found | {name: campaign(name, part) for name in CAMPAIGNS}


def command(name: str) -> str:
    """The command that gives the figures of a campaign."""
    sessions, seed, faults, who = CAMPAIGNS[name]
    chosen = "" if who == people.NAMES else "".join(f" --people {person}" for person in who)
    return (
        f"rimward campaign --sessions {sessions} --seed {seed}"
        + "".join(f" --faults {fault}" for fault in faults)
        + chosen
    )


def share(count: int, n: int) -> str:
    """A count as a percentage."""
    return f"{count / n:.1%}" if n else "-"


def first_go_rows(found: dict[str, Any]) -> dict[str, str]:
    """Class -> cells of the first-go table."""
    cells = {}
    for row in found["healthy"]["first_go"]:
        n = row["feasible"]
        causes = ", ".join(
            f"{word} {share(count, n)}" for word, count in list(row["causes"].items())[:5]
        )
        tight = row.get("tight", {"fills": 0, "done_first": 0})
        cells[f"{row['source']}, {row['chuck']}"] = (
            f"{n} | {share(row['done_first'], n)} | {share(row['done_retry'], n)} | {causes or '-'} | "
            f"{tight['fills']}, {share(tight['done_first'], tight['fills'])}"
        )
    return cells


def fill_rows(found: dict[str, Any]) -> dict[str, str]:
    """Class -> cells of the table of settled error and time."""
    cells = {}
    for one in found["fills"]:
        e, a, r = one["settled_error_pa"], one["settled_error_absolute_pa"], one["hold_over_ideal"]
        over = one["seconds_over_the_time_limit"]
        median, p95 = (over[q] if q in over else over[str(q)] for q in (50, 95))
        cells[one["class"]] = (
            f"{e['p1'] / 1e3:+.1f} / {e['p50'] / 1e3:+.1f} / {e['p99'] / 1e3:+.1f} | {a['p99'] / 1e3:.1f} | {a['p100'] / 1e3:.1f} | "
            f"{shown(one)} | {r['p50']:.2f} / {r['p95']:.2f} | {median:+.1f} / {p95:+.1f}"
        )
    return cells


def shown(one: dict[str, Any]) -> str:
    """Share of a class that lies within the range that is shown behind a closed core; - for the other core and where none was shown."""
    part = one.get("within_shown_range")
    return "-" if part is None else f"{part:.1%}"


def over_rows(found: dict[str, Any]) -> dict[str, str]:
    """Campaign -> cells of the table of set D."""
    cells = {}
    for name in CAMPAIGNS:
        row = found[name]
        who = (
            ", ".join(
                f"{p['person']} {p['exceedances']}" for p in row["people"] if p["exceedances"]
            )
            or "none"
        )
        faults = (
            ", ".join(f"{f['fault']} {f['exceedances']}" for f in row["faults"] if f["set"] == "D")
            or "none"
        )
        cells[f"`{command(name)}`"] = (
            f"{row['set_d_sessions']} | {row['exceedances']} | {row.get('own_air', '-')} | {row['peak_over_ceiling_max']:.3f} | {who} | {faults}"
        )
    return cells


TABLES = (
    ("Feasible healthy fills by a patient person, instruments within their class", "feasible | at the first go | one more try | not at the first go, most often | no room in the hose, at the first go", first_go_rows),
    ("The same with exact instruments: settled error and time", "settled error, kPa: p1 / median / p99 | p99 of its size | worst | within the range shown | hold to done ÷ ideal: median, p95 | s over the limit: median, p95", fill_rows),
    ("Set D: air admitted at or above the true ceiling", "sessions of set D | over | own air back | highest ÷ ceiling | by person | by fault", over_rows),
)  # fmt: skip


SPRING_ROWS = {
    "first_pa": "from empty", "stored_pa": "from 30 to 90 %, its spring as learnt from empty", "known_pa": "the same, the plant's own spring",
    "unknown_pa": "the same, spring unknown",
}  # fmt: skip


def spring_lines(kept: dict[str, Any], kernels: str) -> list[str]:
    """Section of WORLD.md: closed cores by what is known of their spring."""
    out = [
        "## Closed cores: settled error by what is known of the spring",
        "",
        f"Made by `python -m tests.bench.springs --write`: exact instruments, seed {kept['seed']}. Kernels: {kept['kernels']}"
        + ("." if kept["kernels"] == kernels else ", not those that stand: OUTDATED."),
        "",
        "| source | wheels | fill | settled error, kPa: p50 / p90 / p99 of its size | least to most |",
        "| --- | --- | --- | --- | --- |",
    ]
    for source, made in kept["sources"].items():
        for name, words in SPRING_ROWS.items():
            row = made[name]
            out.append(
                f"| {source} | {made['wheels']} | {words} | {row['p50'] / 1e3:.1f} / {row['p90'] / 1e3:.1f} / {row['p99'] / 1e3:.1f} | "
                f"{row['least'] / 1e3:+.1f} to {row['most'] / 1e3:+.1f} |"
            )
    return [*out, ""]


def curve_lines(kept: dict[str, Any], kernels: str) -> list[str]:
    """Section of WORLD.md; says so where the figures are of other kernels."""
    out = [
        "## Settled error against time to `done`",
        "",
        f"Made by `python -m tests.bench.curve --write`: the bounds of certainty (`_SURE_...` in `kernels/fill_plan.py`) times a factor, {FILLS} feasible fills of each",
        f"class, exact instruments. Seconds over the limit: 1.35 and 2 times the ideal (line 3 and 6 times), and 4 and 8 s. Kernels: {kept['kernels']}"
        + ("." if kept["kernels"] == kernels else ", not those that stand: OUTDATED."),
        "",
        "| class | factor | settled error, kPa: p50 / p99 of its size | hold to done, s: median, p95 | s over the limit: median, p95 |",
        "| --- | --- | --- | --- | --- |",
    ]
    for name in [one["class"] for one in kept["rows"][0]["classes"]]:
        for row in kept["rows"]:
            one = next(c for c in row["classes"] if c["class"] == name)
            error, hold, over = (
                one["settled_error_absolute_pa"],
                one["hold_s"],
                one["seconds_over_the_time_limit"],
            )
            out.append(
                f"| {name} | {row['factor']:g} | {error['p50'] / 1e3:.1f} / {error['p99'] / 1e3:.1f} | {hold['p50']:.0f}, {hold['p95']:.0f} | "
                f"{over['50']:+.1f}, {over['95']:+.1f} |"
            )
    return [*out, ""]


def longer_lines(rows: list[dict[str, Any]], kernels: str) -> list[str]:
    """Section of WORLD.md; names the rows that are of other kernels."""
    out = [
        "## Set D at length",
        "",
        "Made by `python -m tests.bench.longer RESULTS ... --write` from campaigns of their own seeds. A highest value is that of so many sessions, no bound.",
        "Air into a tyre that others fill as well (a cartridge, a person on the wheel) counts from 150 ms on after a reading could show it at its ceiling: once its",
        "core had opened. Until then such a tyre may go over it. Own air back: a tyre at or above its ceiling got air that it had given to the hose itself, which",
        "warmed after a leak or the vent; no source had run in between, and the tyre was not filled by it. These are not among those over.",
        "",
        "| seed | faults | persons | sessions | of set D | over | own air back | highest ÷ ceiling |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for row in rows:
        who = "all" if tuple(row["people"]) == people.NAMES else ", ".join(row["people"])
        old = "" if row["kernels"] == kernels else f" OUTDATED: kernels {row['kernels']}"
        out.append(
            f"| {row['seed']} | {', '.join(row['faults'])} | {who} | {row['sessions']} | {row['set_d']} | {row['over']} | {row.get('own_air', '-')} | {row['highest']:.4f}{old} |"
        )
    return [*out, ""]


def page(now: dict[str, Any], base: dict[str, Any]) -> str:
    """WORLD.md: each table with the baseline's row under the present one where it differs."""
    lines = [
        "# What the firmware does in the simulated world", "",
        "Made by `python -m tests.bench.world --write`. Every effect of `rimward.simulation.campaign.effects` is drawn over its whole range in every session; what is",
        "feasible, first go, settled error and hold to done mean is said in `rimward.simulation.campaign` (`feasible`, `firstgo`, `fills`). First-go and set D figures",
        f"come from the campaigns named below, settled error and times from `python -m tests.bench.fills --fills {FILLS} --seed {FILL_SEED}`. A highest value is the highest",
        "of that many sessions, no bound. Rows marked *before* are the firmware that this world was first run on.", "",
        f"Kernels now: {now['kernels']}; before: {base['kernels']}.", "",
    ]  # fmt: skip
    for title, head, rows_of in TABLES:
        lines += [
            f"## {title}",
            "",
            f"| class | {head} |",
            "| --- |" + " --- |" * (head.count(" | ") + 1),
        ]
        before = rows_of(base)
        for name, cells in rows_of(now).items():
            lines.append(f"| {name} | {cells} |")
            if base["kernels"] != now["kernels"]:
                lines.append(f"| *before* | {before.get(name, '-')} |")
        lines.append("")
    if SPRINGS.exists():
        lines += spring_lines(json.loads(SPRINGS.read_text()), now["kernels"])
    if CURVE.exists():
        lines += curve_lines(json.loads(CURVE.read_text()), now["kernels"])
    if LONGER.exists():
        lines += longer_lines(json.loads(LONGER.read_text()), now["kernels"])
    lines += [
        f"First-go campaign: `{command('healthy')}`.",
        "",
        "## What was drawn",
        "",
        "Of the first of these campaigns: least, one in ten, half, nine in ten, most.",
        "",
    ]
    lines += ["| effect | unit | range | drawn |", "| --- | --- | --- | --- |"]
    lines += [
        f"| {row['effect']} | {row['unit']} | {row['range'][0]:.4g} to {row['range'][1]:.4g} | "
        + ", ".join(f"{value:.3g}" for value in row["drawn"])
        + " |"
        for row in now["healthy"]["effects"]
    ]
    return "\n".join(lines) + "\n"


def main(arguments: list[str]) -> int:
    """Measure; print or write."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.world", description="The firmware in the simulated world."
    )
    parser.add_argument("--write", action="store_true", help="write the figures and the page")
    parser.add_argument(
        "--baseline",
        action="store_true",
        help="keep these figures as the ones to compare with as well",
    )
    parser.add_argument(
        "--page",
        action="store_true",
        help="make the page again from the figures kept, measure nothing",
    )
    parser.add_argument(
        "--quick", action="store_true", help="a fiftieth of the sessions; never written"
    )
    chosen = parser.parse_args(arguments)
    if chosen.page:
        PAGE.write_text(page(json.loads(NOW.read_text()), json.loads(BASE.read_text())))
        return 0
    now = measure(50 if chosen.quick else 1)
    base = now if chosen.baseline or not BASE.exists() else json.loads(BASE.read_text())
    if chosen.quick or not chosen.write:
        print(page(now, base), end="")
        return 0
    if base is now:
        BASE.write_text(json.dumps(now, indent=1) + "\n")
    NOW.write_text(json.dumps(now, indent=1) + "\n")
    PAGE.write_text(page(json.loads(NOW.read_text()), json.loads(BASE.read_text())))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
