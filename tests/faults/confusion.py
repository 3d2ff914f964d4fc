"""The confusion matrix of all faults: `python -m tests.faults.confusion --write` makes hardware/CONFUSION.md; `--json` prints the figures."""

import json
import sys
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from rimward.simulation.campaign import diagnosis
from rimward.simulation.campaign.draw import draw
from rimward.simulation.campaign.people import PLAIN
from rimward.simulation.campaign.play import play
from rimward.simulation.engines import compiled
from rimward.simulation.plant.faults import FAULTS

from tests.faults.fault_table import SEED, rows_of, sound

SESSIONS = 400
COLUMNS = 6
PAGE = Path(__file__).parents[2] / "hardware" / "CONFUSION.md"
HEAD = f"""# What a fault is called first

Made by `python -m tests.faults.confusion --write`: {SESSIONS} sessions a fault, seed {SEED}, drawn as a campaign draws them (wheel, place, instrument
within its class, person, every effect of the real world, moment and size of the fault); without the fault each of them reaches its target and
reports nothing. A test plays some of the rows again and compares.

"First reported" counts the first cause from the beginning of the fault on. "Reported from": least size from which on 95 % of the sessions
report something, in the unit of the fault's field (`rimward.simulation.plant.faults`); "all" where the fault has one size, "-" where even the largest tenth
is not reported that often. "Right": share of the reported sessions of that size or more with the right cause, or with one of a pair of the
fixed table (`rimward.simulation.campaign.diagnosis`: {len(diagnosis.PAIRS)} pairs, transducers A and B counted as one); "no cause" where the firmware has none for this fault.
"Reported or harmless": reported, or done with the settled tyre where the display says, within a guard band of 10 kPa. Without any fault that is {{healthy:.1%}}:
the instruments are drawn within their class, and so is the air that a person adds or loses.

| fault | set | reported | reported or harmless | reported from | right | first reported (of {SESSIONS}) |
| --- | --- | --- | --- | --- | --- | --- |
"""


@cache
def figures(name: str) -> dict[str, Any]:
    """One row of the matrix."""
    rows = rows_of(name, SESSIONS)
    severity = np.array(
        [draw(SEED, int(number), (name,), PLAIN).severity for number in rows["number"]]
    )
    return diagnosis.figures(rows, name, severity)


def healthy_share() -> float:
    """Share of the same sessions that without their fault are done with the settled tyre where the display says."""
    session = compiled()["session"]
    rows = np.array(
        [play(draw(SEED, number, (), PLAIN), session)[0] for number, _ in sound(SESSIONS)]
    )
    return float(diagnosis.harmless(rows).mean())


def line(one: dict[str, Any]) -> str:
    """One row of the page."""
    words = list(one["words"].items())
    shown = ", ".join(f"{word} {count}" for word, count in words[:COLUMNS])
    rest = sum(count for _, count in words[COLUMNS:])
    right = f"{one['right_of_reported']:.0%}" if one["has_cause"] else "no cause"
    return f"| {one['fault']} | {one['set']} | {one['reported']:.0%} | {one['reported_or_harmless']:.1%} | {one['reported_from']} | {right} | {shown}{f', others {rest}' if rest else ''} |"


def precision_lines(matrix: list[dict[str, Any]]) -> str:
    """The second table: how often each cause is right where it is reported."""
    detectable = diagnosis.precision([row for row in matrix if row["set"] == "D"])
    rows = "\n".join(
        f"| {word} | {share:.0%} | {f'{detectable[word]:.0%}' if word in detectable else '-'} |"
        for word, share in diagnosis.precision(matrix).items()
    )
    return f"\n## How often a cause is right\n\nOver all rows above, and over those of set D alone, every fault equally often.\n\n| cause | right | of set D |\n| --- | --- | --- |\n{rows}\n"


def main(arguments: list[str]) -> int:
    """Print the page or the figures, or write the page."""
    matrix = [figures(name) for name in FAULTS]
    if "--json" in arguments:
        print(
            json.dumps(
                {
                    "sessions": SESSIONS,
                    "seed": SEED,
                    "rows": matrix,
                    "precision": diagnosis.precision(matrix),
                }
            )
        )
        return 0
    text = (
        HEAD.format(healthy=healthy_share())
        + "\n".join(line(one) for one in matrix)
        + "\n"
        + precision_lines(matrix)
    )
    if "--write" in arguments:
        PAGE.write_text(text)
    else:
        print(text, end="")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
