"""Plan, analysis and merge as text for the terminal."""

from collections.abc import Callable
from typing import Any

from rich import box
from rich.console import Console
from rich.markup import escape
from rich.table import Table
from rimward_fw.bench import app as firmware

from rimward.base.units import show_limit, show_minimum, show_reading
from rimward.proof import plan as planned
from rimward.proof import retention
from rimward.proof.headline import down, many


def plan(made: dict[str, Any], console: Console) -> None:
    """Print steps, energy, distance, protection."""
    console.print(
        f"Limit {show_limit(made['limit_pa'])} gauge ({made['governing']}); retention at {show_minimum(made['retention_pa'])} for {made['hold_s']} s, "
        f"held where the gauge reads {show_minimum(made['hold_pa'])}: its U of {show_minimum(made['gauge_u_pa'])} on top."
    )
    for rule in made["rules"]:
        console.print(f"  {escape(rule['source'])}: {escape(rule['text'])}")
    if made["us_law_pa"] is not None:
        console.print(f"  110 % of the recommended pressure is {show_minimum(made['us_law_pa'])}.")
    console.print(f"Medium: {made['medium']}. {made['why_medium']}\n")
    for step in made["steps"]:
        hold = f", hold {step['hold_s']} s" if step["hold_s"] else ""
        watch = f" Watch for: {step['watch']}." if step["watch"] else ""
        console.print(
            f"{step['n']:3}. {_gauge(step['gauge_pa'], made)}{hold}: {step['do']}.{watch}"
        )
    console.print(
        f"\nAt most {-(-made['longest_s'] // 60)} minutes without a release. The bench keeps all of them at the full rate in its own record with at least "
        f"{-(-made['bench_heap_bytes'] // 1024)} KB of free memory at idle; with {-(-made['bench_heap_thinned_bytes'] // 1024)} KB thinned "
        "(--thinned): every eighth sample of what this computer has on disk. The run checks that before it begins.\n"
    )
    _energy(made, console)
    _distance(made, console)
    console.print("\nWear: " + "; ".join(made["ppe"]) + ".")
    for line in made["cautions"]:
        console.print(f"CAUTION: {line}")


def analysis(found: dict[str, Any], console: Console) -> None:
    """Print headline, bounds, counts, warnings."""
    from rimward.proof.report import bound_rows, by_reading, count

    console.print(f"[bold]{escape(found['headline'])}[/bold]")
    for row in found["if_law"]:
        console.print(f"  {row['text']}", markup=False)
    console.print()
    counts = found["counts"]
    console.print(
        f"{many(found['n'], 'independent ' + found['unit'])} from {many(counts['rows'], 'row')}: {counts['released']} released, {counts['stopped']} stopped, "
        f"{counts['invalid']} invalid; {counts['verified']} verified."
    )
    table = _table("batch", "n", "method", "margin", "pressure, gauge", "or why not")
    for row in bound_rows(found):
        table.add_row(
            *(
                escape(str(row[key]))
                for key in ("batch", "n", "method", "margin", "pressure", "reason")
            )
        )
    console.print(table)
    console.print(
        f"The smallest of {found['n']} alone bounds {found['coverage'] * 100:.6g} % with {_share(found['achieved_confidence'])} confidence; "
        f"without assuming a law {found['n_needed']} are needed ({found['more_samples']['for_rank_bound']} more)."
    )
    if (more := found["more_samples"]["for_normal_claim"]) is not None:
        console.print(
            f"If the batch is normal and mean and spread stay as they are, a normal bound at the limit needs {more} more."
        )
    console.print(
        f"Retention, {found['retention']['percent_of_limit']} % held {found['retention']['hold_s']} s: {count(found['retention'])}{by_reading(found['retention'])}"
    )
    console.print(
        f"110 % reached, whatever followed: {count(found['retention']['pressure_reached'], 'did')}"
    )
    p = found["normality"]["p"]
    console.print(
        f"Normality: {'not tested' if p is None else f'p = {p:.3f}'}. {found['normality']['note']}"
    )
    for line in _effects(found["effects"]):
        console.print(line, markup=False)
    for warning in found["warnings"]:
        console.print(f"NOTE: {escape(warning['text'])}")


def _effects(found: dict[str, Any]) -> list[str]:
    """Slopes of the margin, or the reason why there are none; empty where nothing varies."""
    if found["terms"]:
        slopes = [
            f"{term['column']} {term['slope']:+.5f} ({term['low']:+.5f} to {term['high']:+.5f})"
            for term in found["terms"]
        ]
        return [
            "Linear effects on the margin, 95 % each, no proof of a cause: "
            + "; ".join(slopes)
            + "."
        ]
    if not found["columns"]:
        return []
    return [
        f"Linear effects of {', '.join(found['columns'])}: none formed ({found['reason'].replace('_', ' ')}; {found['n_needed']} specimens needed)."
    ]


def merged(found: dict[str, Any], console: Console) -> None:
    """Print joined, left out, renamed and suspected rows."""
    console.print(f"{found['rows']} rows joined, {len(found['repeated'])} repeated rows left out.")
    for row in found["repeated"]:
        console.print(f"  repeated: {escape(row['sample'])} ({escape(row['where'])})")
    if found["renamed"]:
        row = found["renamed"][0]
        console.print(
            f"  {len(found['renamed'])} renamed, since two files use the name, such as {escape(row['from'])} to {escape(row['to'])}"
        )
    for pair in found["suspects"]:
        first, second = pair["first"], pair["second"]
        console.print(
            f"  one test under two names? {escape(first['sample'])} ({escape(first['where'])}) and {escape(second['sample'])} ({escape(second['where'])})"
        )


def _energy(made: dict[str, Any], console: Console) -> None:
    table = _table(
        "stored energy, J",
        *(f"{level['at']} {_gauge(level['gauge_pa'], made)}" for level in made["energy"]),
    )
    for index, method in enumerate(made["energy"][0]["air"]):
        table.add_row(
            f"air, {method['name']}",
            *(f"{level['air'][index]['energy_j']:.0f}" for level in made["energy"]),
        )
    table.add_row("water alone", *(f"{level['water_j']:.2f}" for level in made["energy"]))
    console.print(table)


def _distance(made: dict[str, Any], console: Console) -> None:
    off = made["stand_off"]
    console.print(
        f"Stand-off for air at {show_limit(off['gauge_pa'])}: {off['later_editions_m']:.0f} m by the tiers of later PCC-2 editions; scaled form "
        f"{off['scaled_factor_2_m']:.1f} m (factor 2) or {off['scaled_factor_1_m']:.1f} m (2008)."
    )
    for line in [*off["disagreement"], *made["screen"]["advice"]]:
        console.print(f"  - {line}")


def _gauge(pa: int, made: dict[str, Any]) -> str:
    """Format a level of the plan, or `no pressure`."""
    return level(pa, made["hold_pa"]) if pa else "no pressure"


def level(pa: int, hold_pa: int) -> str:
    """Format a level of a test, the same everywhere: the retention pressure rounds up, since less would fall short of the rule; others
    round
    down. `pa` may come from a record, to the nearest hectopascal.
    """
    return show_minimum(hold_pa) if abs(pa - hold_pa) <= RECORDED_PA else show_limit(pa)


def _share(share: float) -> str:
    return f"{down(share * 100, 1)} %"


def _table(*names: str) -> Table:
    table = Table(box=box.SIMPLE, pad_edge=False)
    for name in names:
        table.add_column(name)
    return table


def before_run(test: Any, medium: str) -> list[str]:
    """Print the cautions before a test."""

    lines = [f"CAUTION: {line}" for line in planned.CAUTIONS]
    lines.append(f"Wear: {'; '.join(planned.PPE)}.")
    lines.append(
        f"{'Water' if medium == 'water' else 'AIR'}: {planned.WHY_WATER if medium == 'water' else planned.WHY_NOT_AIR}"
    )
    levels = [
        f"limit {show_limit(test.limit_pa)}",
        f"retention {show_minimum(test.retention_pa)} for {firmware.RETENTION_S} s, held at {show_minimum(test.hold_pa)}: the gauge's U on top",
    ]
    if test.top_pa:
        levels.append(
            f"then steps of {show_limit(firmware.STEP_PA)}, {firmware.STEP_S} s each, up to {show_limit(test.top_pa)}"
        )
    return [*lines, f"{test.label}: {', '.join(levels)} (all gauge)."]


RECORDED_PA = 100
SAID = {
    "compiling": "Compiling the simulated world for this computer: once, about 15 seconds ...",
    "confirm": "Compare the specimen with the bench's display and confirm it there.",
    "hold": "Go behind the screen and hold the run control. Releasing it stops the air, vents and ends the test.",
    "let-go": "Ended: release the run control. The vent is open; see zero on both gauges before you come near.",
}
STATES = {
    "filling": "rising",
    "leak-watch": "holding",
    "seat-pause": "check both beads from behind the screen, then confirm at the bench",
}


def teller(console: Console, test: Any) -> Callable[[str, dict[str, Any]], None]:
    """Return a printer for the progress of a test, one line for each event."""

    def tell(kind: str, facts: dict[str, Any]) -> None:
        if kind == "kept":
            console.print(
                f"Every sample goes to disk as it comes. Should this be interrupted: rimward proof finish {facts['path']}",
                markup=False,
            )
        elif kind in SAID:
            console.print(SAID[kind], markup=False)
        elif kind == "event":
            console.print(
                f"{facts['t_ms'] / 1000:8.1f} s  {facts['kind'].upper()}, highest before it {show_reading(round(facts['highest_before_pa']))}",
                markup=False,
            )
        else:
            state = f"  {STATES.get(facts['state'], facts['state'])}" if kind == "level" else ""
            console.print(
                f"{facts['t_s']:8.1f} s  {show_reading(facts['low_pa'])}, level {level(facts['level_pa'], test.hold_pa)}{state}",
                markup=False,
            )

    return tell


def run(found: dict[str, Any], console: Console) -> None:
    """Print the result of a test."""
    console.print(
        f"Ended: {found['ended']} ({found['cause']}). Retention, 110 % for 5 minutes: {retention.WORDS[found['retention']]}.",
        markup=False,
    )
    console.print(
        f"Highest {show_reading(found['highest_bar'] * 1e5)} gauge on a limit of {show_limit(round(found['limit_bar'] * 1e5))}: margin {found['margin']:.3f}; "
        f"held {found['hold_s']:.0f} s. {len(found['events'])} events.",
        markup=False,
    )
    for name, path in found["files"].items():
        console.print(f"  {name.replace('_', ' ')}: {path}", markup=False)
    console.print("The specimen is scrap: mark rim and tyre as tested.", markup=False)
