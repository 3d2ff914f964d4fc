"""Second opinion: every electrical figure computed in two ways, in one table. `python -m hardware.opinion [--write] [--json]`.

Writes hardware/SECOND_OPINION.md and hardware/single_faults.csv. It runs every open and short in ngspice, some three minutes.
"""

import csv
import io
import json
import sys
from collections import Counter
from pathlib import Path
from typing import Any

from hardware import cutoff, draws, gate, gate_faults, rules, single_faults, spice, swaps, thermal
from hardware.circuit import load
from hardware.params import PARAMS, pressure

HERE = Path(__file__).resolve().parent
PAGE, TABLE = HERE / "SECOND_OPINION.md", HERE / "single_faults.csv"
COLUMNS = ("fault", "verdict", "ways to stop that it takes away", "shown by")


def fault_rows(found: tuple[single_faults.Found, ...]) -> list[tuple[str, str, str, str]]:
    """One row for each fault, as in the file."""
    return [
        (
            f.fault.name,
            f.verdict,
            "; ".join(single_faults.WAYS.get(w, w) for w in f.lost),
            "; ".join(f.shown),
        )
        for f in found
    ]


def kept() -> dict[str, tuple[str, str, str]]:
    """Return the rows of the file by fault."""
    with TABLE.open(newline="", encoding="utf-8") as file:
        return {row[0]: (row[1], row[2], row[3]) for row in list(csv.reader(file))[1:]}


def faults_csv() -> str:
    """Return the fault table as CSV."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(fault_rows((*single_faults.survey(), *gate_faults.survey())))
    return buffer.getvalue()


def tolerances() -> list[tuple[str, str, str, str]]:
    """Return (figure, by calculation, by ngspice or draws, remark) of bands and times."""
    runs, band = spice.all_runs(), gate.report()
    rows = []
    for high, name in ((False, "low"), (True, "high")):
        low, nominal, most = cutoff.band(high)
        mc = cutoff.monte_carlo(high)
        rows.append(
            (
                f"cutoff, {name} range, nominal trip",
                f"{nominal / 1e5:.4f} bar",
                f"ngspice {pressure(runs[f'cutoff_{name}_trip']) / 1e5:.4f} bar",
                "",
            )
        )
        rows.append(
            (
                f"cutoff, {name} range, band",
                f"{low / 1e5:.3f} to {most / 1e5:.3f} bar, worst case",
                f"Monte Carlo {mc['min_pa'] / 1e5:.3f} to {mc['max_pa'] / 1e5:.3f} bar",
                draws.text(int(mc["count"])),
            )
        )
    rows.append(
        (
            "gate drop-out",
            f"{band['gate_min_ms']:.2f} to {band['gate_max_ms']:.2f} ms, {len(gate.corners())} corners",
            f"ngspice {runs['gate_low_ms']:.2f}, {runs['gate_nominal_ms']:.2f}, {runs['gate_high_ms']:.2f} ms",
            "fast corner, nominal, slow corner",
        )
    )
    p = PARAMS
    decay = gate.clamp_decay_ms(
        p["v12"].high, p["relay_drop"].low, p["relay_coil"].low, p["relay_inductance"].high, 33.7
    )
    run = spice.relay_run(
        load(),
        p["v12"].high,
        p["relay_coil"].low,
        p["relay_inductance"].high,
        p["relay_drop"].low,
        33.0,
    )
    rows.append(
        (
            "relay coil's current decay, slowest",
            f"{decay:.2f} ms",
            f"ngspice {run:.2f} ms",
            "release of the armature comes on top",
        )
    )
    return rows


def heat() -> list[tuple[str, str, str, str]]:
    """Junction temperature by formula and by ngspice."""
    parts = load()
    m1 = thermal.heats(parts)[0]
    bare = thermal.heats(parts, thermal.NO_SINK_K_W)[0]
    return [
        (
            "M1's junction at 15 A, 50 degC",
            f"{m1.hot_c:.0f} degC, endless",
            f"ngspice {thermal.spice_m1_c():.0f} degC after {PARAMS['duty'].high:.0f} s",
            f"limit {m1.limit_c:.0f} degC",
        ),
        (
            "the same without HS1",
            f"{bare.hot_c:.0f} degC, endless",
            f"ngspice {thermal.spice_m1_c(sink=False):.0f} degC after {PARAMS['duty'].high:.0f} s",
            "not allowed: the board has HS1",
        ),
    ]


def faults() -> list[tuple[str, str, str, str]]:
    """Count opens, shorts and exchanges by the rules and by ngspice."""
    parts = load()
    rows = []
    for name, found in (
        ("stop chain and transducers", single_faults.survey()),
        ("pulse gate", gate_faults.survey()),
    ):
        for what, some in (
            ("opens", [f for f in found if f.fault.pin[0]]),
            ("shorts", [f for f in found if f.fault.nets[0]]),
        ):
            counted = Counter(f.verdict for f in some)
            rows.append(
                (
                    f"{what}, {name}",
                    f"{len(some)} enumerated from the data",
                    "ngspice: " + ", ".join(f"{n} {v}" for v, n in counted.most_common()),
                    "applied in operation",
                )
            )
    wires = rules.off_with_any_wire_broken(parts)
    rows.append(
        (
            "any one wire broken, processor absent or in reset",
            f"switch-level model: {wires.found}",
            "see the opens above",
            "",
        )
    )
    figures = swaps.figures()
    rows.append(
        (
            "exchanged pairs of pins",
            f"rules: {figures['refused']:.0f} of {figures['exchanges']:.0f} refused",
            f"{len(swaps.survivors())} left, each harmless",
            f"without the processor's own pins {figures['share']:.1%}",
        )
    )
    rows.append(
        (
            "parts in neither deck",
            f"{len(gate_faults.by_rule())}, by rule",
            "-",
            "hardware/gate_faults.py, BY_RULE",
        )
    )
    return rows


HEAD = f"""# Second opinion

Made by `python -m hardware.opinion --write`; `python -m tests.rig` works it all out again. Every row was found in two ways: by the formulas or rules over
the circuit data, and by ngspice (or by draws). Each open and short with its verdict: `single_faults.csv`. Verdicts:

- {single_faults.STOPS}: the air stops at the fault. {single_faults.HOLDS}: every way to stop the air still works.
- {single_faults.NEXT_FILL}: a way is lost; what the processor reads at the next fill, or its self-test, shows it. {single_faults.DAILY}: the daily test shows it.
- {single_faults.RESIDUAL}: nothing shows it (none may be left).

The faults are run in the low range (R38's contact open), those of the threshold in the high range too; filter, comparator, supervisor, regulators and transducers as models; a comparator input
that has lost its wire keeps its charge. What the processor compares at a fill is in `hardware/single_faults.py`, LIMITS; a test compares them with the firmware's (`control/cutoff_check.py`).

| figure | by calculation or rule | second opinion | remark |
| --- | --- | --- | --- |
"""


def rows() -> list[tuple[str, str, str, str]]:
    """Return all rows of the table."""
    return [*faults(), *heat(), *tolerances()]


def page() -> str:
    """Return the page as Markdown."""
    return HEAD + "\n".join("| " + " | ".join(row) + " |" for row in rows()) + "\n"


def figures() -> dict[str, Any]:
    """Return the figures by name, for JSON."""
    return {row[0]: {"calculated": row[1], "second": row[2], "remark": row[3]} for row in rows()}


def main(arguments: list[str]) -> int:
    """Print the page, or with --json its figures; --write writes both files."""
    unknown = [a for a in arguments if a not in ("--write", "--json")]
    if unknown:
        print(
            f"unknown: {' '.join(unknown)}; use `python -m hardware.opinion [--write] [--json]`",
            file=sys.stderr,
        )
        return 2
    print("ngspice runs every open and short: some three minutes", file=sys.stderr)
    if "--write" in arguments:
        TABLE.write_text(faults_csv(), encoding="utf-8")
        PAGE.write_text(page(), encoding="utf-8")
    print(json.dumps(figures(), indent=2) if "--json" in arguments else page(), end="")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
