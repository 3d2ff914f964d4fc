"""First-go rates: feasible healthy fills by a patient person done at once, done with one more try, and the reasons otherwise."""

from collections import Counter
from typing import Any

import numpy as np
from rimward_protocol import causes

from rimward.simulation.campaign import effects, people
from rimward.simulation.campaign.feasible import FEASIBLE, REASONS, TIGHT
from rimward.simulation.coupling import DONE

CLASSES = tuple((line, pin) for line in (0, 1) for pin in (1, 0))
SOURCES = ("compressor", "line")
CHUCKS = ("pressure-open", "pin-open")
TENTHS = 10
QUESTION, NO_END = "question", "no end"


def healthy(rows: np.ndarray) -> np.ndarray:
    """Sessions without a fault by a patient person, as far as arming took them."""
    return np.asarray(
        rows[
            (rows["fault"] == 0)
            & (rows["refused"] < 2)
            & (rows["person"] == people.NAMES.index("patient"))
        ]
    )


def done_first(rows: np.ndarray) -> np.ndarray:
    """Mask of those done without a stop, a second try or a question other than the bead's."""
    return np.asarray((rows["state"] == DONE) & (rows["tries"] == 0) & (rows["other"] == 0))


def cause_words(rows: np.ndarray) -> list[str]:
    """Word of the first cause reported in each row."""
    found = []
    for row in rows:
        times = [
            (int(row[at]), int(row[name]))
            for name, at in (("cause", "cause_at"), ("stop", "stop_at"), ("why", "why_at"))
            if row[name] > (name == "stop")
        ]
        if times:
            found.append(str(causes.row_of(min(times)[1])[1]))
        else:
            found.append(QUESTION if row["other"] else NO_END)
    return found


def counted(rows: np.ndarray) -> dict[str, Any]:
    """{done_first, done_retry, causes} of these fills."""
    first = done_first(rows)
    return {
        "done_first": int(first.sum()),
        "done_retry": int(((rows["state"] == DONE) & (rows["tries"] <= 1)).sum()),
        "causes": dict(Counter(cause_words(rows[~first])).most_common()),
    }


def first_go(rows: np.ndarray) -> list[dict[str, Any]]:
    """One row a class: {source, chuck, feasible, done_first, done_retry, causes, excluded, tight}; `tight`, {fills, done_first,
    done_retry, causes}, are those of the excluded ones in which the tyre has room for the smallest burst, and the hose has not."""
    found = []
    for line, pin in CLASSES:
        mine = healthy(rows)
        mine = mine[(mine["line"] == line) & (mine["pin"] == pin)]
        feasible = mine[mine["infeasible"] == FEASIBLE]
        tight = mine[mine["infeasible"] == TIGHT]
        excluded = Counter(REASONS[int(i)] for i in mine["infeasible"] if i != FEASIBLE)
        found.append({
            "source": SOURCES[line], "chuck": CHUCKS[pin], "feasible": len(feasible), **counted(feasible),
            "excluded": dict(excluded.most_common()), "tight": {"fills": len(tight), **counted(tight)},
        })  # fmt: skip
    return found


def by_tenth(rows: np.ndarray, good: np.ndarray) -> list[dict[str, Any]]:
    """Share of `good` in the lowest and the highest tenth of every effect's range, over the rows to which it applies."""
    found = []
    for i, effect in enumerate(effects.EFFECTS):
        mask = np.ones(len(rows), bool)
        if effect.where in SOURCES:
            mask = rows["line"] == SOURCES.index(effect.where)
        elif effect.where:
            mask = rows["pin"] == 0
        place = rows["places"][:, i].astype(float) / effects.STEPS
        low, high = mask & (place < 1 / TENTHS), mask & (place >= 1 - 1 / TENTHS)
        shares = [float(good[which].mean()) if which.any() else None for which in (low, high)]
        found.append(
            {
                "effect": effect.name,
                "lowest_tenth": shares[0],
                "highest_tenth": shares[1],
                "n": [int(low.sum()), int(high.sum())],
            }
        )
    return found
