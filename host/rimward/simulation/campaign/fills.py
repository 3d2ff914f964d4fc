"""Feasible healthy fills with exact instruments, in equal numbers of each class: stops by cause, settled error, time against the ideal.

Settled error: true tyre pressure less the target with the gas within 0.5 K of the casing, 120 s or more after the last air,
without the creep
since the end of the fill. Hold to done: from the first hold of the run control to `done`, without the wait for the bead question;
ideal: the
same source without a pause.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from rimward_fw.control import configuration
from rimward_protocol import interval
from rimward_protocol import kernel_slots as slots

from rimward.simulation.campaign.draw import Draw, draw
from rimward.simulation.campaign.feasible import FEASIBLE, FILLABLE
from rimward.simulation.campaign.firstgo import (
    CHUCKS,
    SOURCES,
    by_tenth,
    cause_words,
    done_first,
    first_go,
)
from rimward.simulation.campaign.play import RECORD, Words, play
from rimward.simulation.cool import cooled
from rimward.simulation.coupling import DONE
from rimward.simulation.engines import compiled
from rimward.simulation.faulted import R_START
from rimward.simulation.ideal import LONGEST, ideal_ticks
from rimward.simulation.plant import PlantParams

TICK_S = 0.002
EXACT = {
    name: 0.0
    for side in "ab"
    for name in (f"{side}_offset_pa", f"{side}_span_error", f"{side}_thermal_pa_k", f"{side}_play")
} | {"baro_error_pa": 0.0, "air_error_k": 0.0, "b_e11_lsb": 0.0, "a_inl_words": 0.0}  # fmt: skip
FILL = np.dtype(
    [("row", RECORD), ("error_pa", "f4"), ("over_pa", "f4"), ("hold_s", "f4"), ("ideal_s", "f4")]
)  # over_pa: true settled pressure less the shown one
LIMITS_PA = {0: 3_000.0, 1: 6_000.0}  # p99 of the settled error, compressor and line
MOST_TRIED = 40  # draws for each fill wanted, at most


@dataclass(frozen=True)
class Class:
    """Source and chuck."""

    line: int
    pin: int

    @property
    def name(self) -> str:
        """Name of the class."""
        return f"{SOURCES[self.line]}, {CHUCKS[self.pin]}"


def healthy_draw(seed: int, number: int, line: int, pin: int, exact: bool = True) -> Draw:
    """Draw session `number` of `seed` as a healthy fill by a patient person, with this source and chuck."""
    d = draw(seed, number, (), ("patient",))
    over = d.job.over | (EXACT if exact else {})
    return replace(
        d,
        job=replace(
            d.job,
            kind=(configuration.COMPRESSOR, configuration.LINE)[line],
            pin_open=bool(pin),
            over=over,
        ),
    )


def measured(d: Draw, session: Any) -> tuple[np.void, Words | None]:
    """One fill: its record with settled error and times (NaN unless done), and its final arrays. None where arming refused it."""
    fill = np.zeros(1, FILL)[0]
    fill["error_pa"] = fill["over_pa"] = fill["hold_s"] = fill["ideal_s"] = np.nan
    row, words, plant = play(d, session)
    if (
        words is not None
        and plant is not None
        and row["state"] == DONE
        and row["infeasible"] in FILLABLE
    ):
        error, hold, ideal = figures(row, d, words, plant)
        fill["error_pa"], fill["hold_s"], fill["ideal_s"] = error, hold, ideal
        fill["over_pa"] = error + float(row["target_pa"]) - float(words.f[slots.F_COLD])
    fill["row"] = row
    return fill, words


def figures(row: Any, d: Draw, words: Words, plant: PlantParams) -> tuple[float, float, float]:
    """Return (settled error Pa, hold to done s, ideal s); the ideal is NaN where the source cannot reach the target."""
    after = max(int(row["ticks"]) - int(row["last_in"]), 0)
    settled = cooled(words.s, words.p, after) - float(row["target_pa"])
    hold = (int(row["done"]) - int(row["warm"]) - int(row["asked"])) * TICK_S
    ideal = np.nan
    if row["first_on"] >= 0:
        ticks = ideal_ticks(
            plant, words.r[R_START:], float(row["target_pa"]), float(d.job.ceiling_pa), exact=False
        )
        ideal = max(ticks, 1) * TICK_S if ticks < LONGEST else np.nan
    return settled, hold, ideal


def fills(
    seed: int,
    count: int,
    line: int,
    pin: int,
    exact: bool = True,
    tell: Callable[[int], None] | None = None,
) -> np.ndarray:
    """Return `count` fills of one class that the tyre has room for, or those of `MOST_TRIED` draws for each, with the others among them."""
    session = compiled()["session"]
    found: list[np.void] = []
    fit = number = 0
    while fit < count and number < MOST_TRIED * count:
        fill, _ = measured(healthy_draw(seed, number, line, pin, exact), session)
        found.append(fill)
        fit += fill["row"]["refused"] < 2 and fill["row"]["infeasible"] in FILLABLE
        number += 1
        if tell is not None and number % 100 == 0:
            tell(fit)
    return np.array(found, FILL)


def report(found: np.ndarray, line: int, pin: int) -> dict[str, Any]:
    """Figures of one class."""
    rows = found["row"]
    mine = found[(rows["refused"] < 2) & np.isin(rows["infeasible"], FILLABLE)]
    row = mine["row"]
    feasible = row[row["infeasible"] == FEASIBLE]
    done = mine[row["state"] == DONE]
    error = np.abs(done["error_pa"])
    ratio = done["hold_s"] / done["ideal_s"]
    ratio = ratio[np.isfinite(ratio)]
    over = {q: _over(done, q) for q in (50, 95)}
    return {
        "class": Class(line, pin).name,
        **next(
            r for r in first_go(rows) if (r["source"], r["chuck"]) == (SOURCES[line], CHUCKS[pin])
        ),
        "settled_error_pa": _quantiles(done["error_pa"], (0, 1, 5, 50, 95, 99, 100)),
        "settled_error_absolute_pa": _quantiles(error, (50, 90, 99, 100)),
        "within_shown_range": None if pin else float(within(done["over_pa"]).mean()),
        "hold_over_ideal": _quantiles(ratio, (5, 50, 95, 100)),
        "hold_s": _quantiles(done["hold_s"], (50, 95)),
        "ideal_s": _quantiles(done["ideal_s"][np.isfinite(done["ideal_s"])], (50, 95)),
        "seconds_over_the_time_limit": over,
        "bead_questions": int((row["asked"] > 0).sum()),
        "other_questions": int((row["other"] > 0).sum()),
        "first_go_by_tenth": by_tenth(feasible, done_first(feasible)),
        "settled_by_tenth": by_tenth(done["row"], error <= LIMITS_PA[line]),
    }


def within(over_pa: np.ndarray) -> np.ndarray:
    """Mask of fills behind a closed core whose tyre lies in the range that is shown. `over_pa`: true pressure less the shown one."""
    return np.asarray((over_pa >= -interval.BELOW_PA) & (over_pa <= interval.ABOVE_PA))


def _over(done: np.ndarray, q: int) -> float | None:
    """Quantile `q` of hold to done less its limit (compressor 1.35 and 2 times the ideal, line 3 and 6 times, and 4 and 8 s), s."""
    if not len(done):
        return None
    times, more = ((1.35, 3.0), 4.0) if q == 50 else ((2.0, 6.0), 8.0)
    limit = np.where(done["row"]["line"] == 0, times[0], times[1]) * done["ideal_s"] + more
    left = (done["hold_s"] - limit)[np.isfinite(done["ideal_s"])]
    return float(np.percentile(left, q)) if len(left) else None


def _quantiles(values: np.ndarray, wanted: tuple[int, ...]) -> dict[str, float]:
    return {f"p{q}": float(np.percentile(values, q)) for q in wanted} if len(values) else {}


def lines(one: dict[str, Any], tenths: bool = True) -> Iterator[str]:
    """One class for people."""
    n = max(one["feasible"], 1)
    yield f"{one['class']}: {one['feasible']} feasible, first go {one['done_first']} ({one['done_first'] / n:.1%}), one more try {one['done_retry']} ({one['done_retry'] / n:.1%})"
    yield "  stops: " + (
        ", ".join(f"{word} {count} ({count / n:.1%})" for word, count in one["causes"].items())
        or "none"
    )
    yield "  not counted: " + (
        ", ".join(f"{word} {count}" for word, count in one["excluded"].items()) or "none"
    )
    if one["tight"]["fills"]:
        yield f"  of those without room in the hose, {one['tight']['fills']}, {one['tight']['done_first']} at the first go; settled error and times below are with them"
    for name, scale, unit in (
        ("settled_error_pa", 1e-3, "kPa"),
        ("settled_error_absolute_pa", 1e-3, "kPa"),
        ("hold_over_ideal", 1, ""),
        ("hold_s", 1, "s"),
        ("ideal_s", 1, "s"),
    ):
        yield (
            f"  {name.removesuffix('_pa').removesuffix('_s')}: "
            + "  ".join(f"{q} {value * scale:.2f}" for q, value in one[name].items())
            + f" {unit}"
        )
    if one["within_shown_range"] is not None:
        yield f"  within the range that is shown: {one['within_shown_range']:.1%}"
    over = one["seconds_over_the_time_limit"]
    if over[50] is not None:
        yield f"  over the time limit: median {over[50]:+.1f} s, p95 {over[95]:+.1f} s; questions: bead {one['bead_questions']}, other {one['other_questions']}"
    if tenths:
        yield f"  {'effect':18s} first go in its lowest / highest tenth; settled error within its p99 limit in them"
        for a, b in zip(one["first_go_by_tenth"], one["settled_by_tenth"], strict=True):
            shares = [a["lowest_tenth"], a["highest_tenth"], b["lowest_tenth"], b["highest_tenth"]]
            yield (
                f"  {a['effect']:18s} "
                + "  ".join("   -  " if share is None else f"{share:6.1%}" for share in shares)
                + f"   n {a['n'][0]}, {a['n'][1]}"
            )


def failures(found: np.ndarray) -> list[tuple[int, str]]:
    """Return (number, cause) of the feasible fills that were not done at the first go, for inspection one by one."""
    rows = found["row"]
    mine = rows[(rows["refused"] < 2) & np.isin(rows["infeasible"], FILLABLE)]
    mine = mine[~done_first(mine)]
    return list(zip(mine["number"].tolist(), cause_words(mine), strict=True))
