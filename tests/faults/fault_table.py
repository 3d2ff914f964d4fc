"""Every fault in simulated sessions, and the table of what came of it: `python -m tests.faults.fault_table --write`.

The sessions are drawn as a campaign draws them, so wheel, instrument, place, person, moment and size of the fault differ from one to the next.
"""

import sys
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from rimward.simulation.campaign.draw import Draw, draw
from rimward.simulation.campaign.people import PLAIN
from rimward.simulation.campaign.play import RECORD, play
from rimward.simulation.campaign.summary import detection
from rimward.simulation.engines import compiled
from rimward.simulation.plant.faults import FAULTS

from hardware import draws

SESSIONS = 40
SEED = 4
FILL_DONE = 13
PAGE = Path(__file__).parents[2] / "hardware" / "FAULTS.md"
HEAD = f"""# What every fault leads to

Made by `python -m tests.faults.fault_table --write` from {SESSIONS} simulated sessions a fault: the firmware's guard and fill, unchanged,
against the simulated plant; a test runs them again and compares. Wheel, place, instrument (within its class), person, moment and size of
the fault are drawn; without the fault each of these fills reaches its target. Pressures are gauge and true, not read. Set D: no air goes in at or above the ceiling. Set R: the ceiling can be passed, and
the last column says what bounds it (`hardware/hazards.csv`); where a fault of set D did pass it, that column says in how many sessions.
Every maximum is the highest of the n sessions beside it: of {draws.text(SESSIONS).removeprefix("highest of ")}.
Every effect of real tyres, cores, sources and transducers is drawn (`rimward.simulation.campaign.effects`), so some sessions stop for another cause.

"Told by" counts the first cause recorded after the fault began; what the person reads on the display is its likely reason and the next step.
The rest of the sessions went on as if nothing had happened: the fault was too small to matter, passed, or lost air only.

| fault | set | told by (of {SESSIONS}) | after, median / longest | highest tyre pressure ÷ ceiling (n) | what the person sees first | bounded by |
| --- | --- | --- | --- | --- | --- | --- |
"""


# Faults that the kernels cannot detect: they do not run, or nothing is wrong with them.
SEEN = {
    "processor_halted": "the air stops and the display stands still; after the watchdog's reset: tyre unknown, choose the wheel again",
    "reset_mid_fill": "the air stops; tyre unknown, choose the wheel again",
    "operator_hammering": "the air stops at every letting go",
}


@cache
def sound(count: int = SESSIONS) -> tuple[tuple[int, int], ...]:
    """(number, last tick with the pump on) of the first `count` sessions that reach their target when nothing is wrong."""
    session = compiled()["session"]
    found = []
    number = 0
    while len(found) < count:
        row = play(draw(SEED, number, (), PLAIN), session)[0]
        if (
            row["refused"] == 0
            and row["state"] == FILL_DONE
            and row["cause"] == row["stop"] == row["why"] == 0
        ):
            found.append((number, int(row["last_off"])))
        number += 1
    return tuple(found)


def drawn(name: str, number: int, last_off: int) -> Draw:
    """A sound session with this fault in it, at a moment before its last air."""
    d = draw(SEED, number, (name,), PLAIN)
    return d if name == "hose_attached" else replace(d, at=d.at * last_off // (d.at + last_off + 1))


@cache
def rows_of(name: str, count: int = SESSIONS) -> np.ndarray:
    """Records of the sessions with this fault."""
    session = compiled()["session"]
    rows = np.zeros(count, RECORD)
    for i, (number, last_off) in enumerate(sound(count)):
        rows[i] = play(drawn(name, number, last_off), session)[0]
    return rows[rows["refused"] < 2]


@cache
def outcome(name: str) -> dict[str, Any]:
    """Figures of one fault."""
    rows = rows_of(name)
    _, seconds, words = detection(rows)
    counted = sorted(
        ((words.count(word), word) for word in set(words)), key=lambda row: (-row[0], row[1])
    )
    return {
        "name": name,
        "count": len(rows),
        "causes": counted,
        "median_s": float(np.median(seconds)) if len(seconds) else None,
        "longest_s": float(seconds.max()) if len(seconds) else None,
        "ratio": float(rows["ratio"].max()),
        "peak_pa": float(rows["peak_pa"].max()),
        "exceed": int((rows["exceed"] > 0).sum()),
    }


def seen_first(word: str) -> str:
    """Reason and next step of a cause, by its word."""
    from rimward_protocol.enumerations import CAUSES

    row = next(row for row in CAUSES if row[1] == word)
    return f"{row[2]}; {row[3]}"


def line(found: dict[str, Any]) -> str:
    """One row of the page."""
    fault = FAULTS[found["name"]]
    told = ", ".join(f"{word} {count}" for count, word in found["causes"][:4]) or "nothing"
    after = (
        "-"
        if found["median_s"] is None
        else f"{found['median_s']:.2f} s / {found['longest_s']:.1f} s"
    )
    sees = SEEN.get(fault.name) or (
        seen_first(found["causes"][0][1]) if found["causes"] else "the fill as usual"
    )
    ratio = (
        f"{found['ratio']:.3f}" if found["ratio"] else "no air admitted"
    ) + f" ({found['count']})"
    bound = fault.bound_by or "guard"
    if fault.set == "D" and found["exceed"]:
        bound += f"; **not held in {found['exceed']} of {SESSIONS}**"
    return f"| {fault.name}: {fault.text} | {fault.set} | {told} | {after} | {ratio} | {sees} | {bound} |"


def page() -> str:
    """The whole page."""
    return HEAD + "\n".join(line(outcome(name)) for name in FAULTS) + "\n"


def main(arguments: list[str]) -> int:
    """Print the page, or write it."""
    text = page()
    if "--write" in arguments:
        PAGE.write_text(text)
    else:
        print(text, end="")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
