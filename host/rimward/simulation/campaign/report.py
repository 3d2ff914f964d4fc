"""Results of a campaign on disk: report.json, pictures and the worst sessions as replayable files."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from rimward.simulation.campaign.draw import choices, draw
from rimward.simulation.campaign.keep import keep
from rimward.simulation.campaign.plots import draw_plots
from rimward.simulation.campaign.store import Results
from rimward.simulation.campaign.summary import summary


def write(results: Results, out: Path) -> dict[str, Any]:
    """Write everything into `out`. Return the figures."""
    out.mkdir(parents=True, exist_ok=True)
    rows = results.rows()
    figures = summary(rows, results.plan.sessions, results.plan.seed)
    figures["worst"] = [worst | {"file": save(results, worst, out)} for worst in figures["worst"]]
    played = rows[rows["refused"] < 2]
    figures["pictures"] = (
        [str(path) for path in draw_plots(played, figures, out)] if len(played) else []
    )
    (out / "report.json").write_text(json.dumps(figures, indent=2) + "\n")
    return figures


def save(results: Results, worst: dict[str, Any], out: Path) -> str:
    """Write the session file of one of the worst sessions. Return its name."""

    path = out / f"worst-{worst['set']}-{worst['number']}.rws"
    keep(
        draw(results.plan.seed, worst["number"], choices(results.plan.faults), results.plan.people),
        path,
    )
    return str(path)


def first_go_lines(rows: list[dict[str, Any]]) -> Iterator[str]:
    """Numbers of feasible fills of a patient person done at the first go, by class."""
    for row in rows:
        n = row["feasible"]
        if n:
            share = f"{row['done_first']} ({row['done_first'] / n:.1%}) done at the first go, {row['done_retry']} ({row['done_retry'] / n:.1%}) with one more try"
            yield f"Feasible fills, {row['source']}, {row['chuck']}: {n}; {share}."
            yield "  not at the first go: " + (
                ", ".join(f"{word} {count}" for word, count in row["causes"].items()) or "none"
            )
        if row["excluded"]:
            yield "  not counted: " + ", ".join(
                f"{word} {count}" for word, count in row["excluded"].items()
            )
        if row["tight"]["fills"]:
            n = row["tight"]["fills"]
            yield f"  of those without room in the hose, {n}: {row['tight']['done_first'] / n:.1%} at the first go, {row['tight']['done_retry'] / n:.1%} with one more try"


def lines(figures: dict[str, Any], out: Path) -> Iterator[str]:
    """Report as lines of text."""
    f = figures
    yield f"{f['sessions']} sessions, {f['ticks'] / 1e6:.1f} million ticks, seed {f['seed']}."
    yield f"Set D: {f['set_d_sessions']} sessions, {f['exceedances']} exceedances, highest true pressure / ceiling {f['peak_over_ceiling_max']:.4f}."
    if f["own_air"]:
        yield f"  {f['own_air']} more in which a tyre at or above its ceiling got air back that it had given to the hose, no source having run in between."
    for row in f["residual"]:
        yield f"Set R: {row['fault']}: highest {row['ratio_max']:.3f} of the ceiling ({row['peak_max_pa'] / 1e5:.2f} bar); bounded by {row['bound_by']}."
    error = f["final_error"]
    if error["error_pa"]:
        e = error["error_pa"]
        yield (
            f"Final error of {error['fills']} fills: median {e['median'] / 1e5:+.3f} bar, 1 % to 99 % {e['p1'] / 1e5:+.3f} to {e['p99'] / 1e5:+.3f} bar"
            " (instruments within their class)."
        )
    for kind, row in f["fill_over_ideal"].items():
        if row["target_to_0.92"]:
            q = row["target_to_0.92"]
            yield f"Last air / ideal, {kind}, target to 0.92 of the ceiling: median {q['median']:.2f}, 99 % {q['p99']:.2f} ({q['n']} fills)."
    yield f"{'fault':20s} set sessions over  highest  detected  median s    99 % s  most often recorded"
    for row in f["faults"]:
        t = row["detection_s"]
        times = f"{t['median']:9.3f} {t['p99']:9.3f}" if t else f"{'-':>9s} {'-':>9s}"
        word = next(iter(row["causes"]), "-")
        yield (
            f"{row['fault']:20s}  {row['set']}  {row['sessions']:7d} {row['exceedances']:4d} {row['ratio_max']:8.3f} {row['detected']:9d} {times}  {word}"
        )
    yield from first_go_lines(f["first_go"])
    yield f"{'person':20s} sessions over  highest  done"
    for row in f["people"]:
        yield f"{row['person']:20s} {row['sessions']:8d} {row['exceedances']:4d} {row['ratio_max']:8.3f} {row['done']:5d}"
    yield f"{'effect drawn':20s} {'least':>10s} {'1 in 10':>10s} {'half':>10s} {'9 in 10':>10s} {'most':>10s}  unit"
    for row in f["effects"]:
        yield (
            f"{row['effect']:20s} "
            + " ".join(f"{value:10.4g}" for value in row["drawn"])
            + f"  {row['unit']}"
        )
    yield f"Report, pictures and the worst sessions: {out}"
