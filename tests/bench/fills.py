"""Fills of healthy inflators with the instruments' errors off: time against the ideal fill, error after cooling, baselines beside.

`python -m tests.bench.fills` plays feasible healthy fills with every effect drawn and prints, for each source and chuck, stops by cause,
settled error, time against the ideal, and the same in the lowest and highest tenth of each effect.
"""

import argparse
import json
import sys
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

import numpy as np
from rimward.base.atmosphere import ambient_pa
from rimward.simulation import baselines, faulted
from rimward.simulation.campaign import fills as drawn
from rimward.simulation.campaign.draw import Draw
from rimward.simulation.campaign.firstgo import CHUCKS, CLASSES, SOURCES
from rimward.simulation.campaign.play import Refused, play
from rimward.simulation.engines import compiled
from rimward.simulation.ideal import LONGEST, ideal_ticks
from rimward.simulation.loop import Job, plant_of
from rimward.simulation.plant import layout
from rimward.simulation.plant.arrays import healthy, parameters
from rimward_protocol import codes

from tests.bench.row import Row, percentiles

WIDTHS = (23, 25, 28, 32, 35, 40, 47, 54, 60)
EDGE = 0.92  # of the ceiling: up to there the figures must hold
NEAR_STALL = 0.12  # volumetric efficiency under which a target is left out: no one fills there
FILL_DONE = 13
SEED = 20


@dataclass(frozen=True)
class Fill:
    """One fill: over the ideal, seconds left out; `error_pa` when cold."""

    line: bool
    high: bool  # target above EDGE of the ceiling
    done: bool
    ratio: float
    verified: float
    error_pa: float
    peak_over_ceiling: float
    cutoff: float  # baselines' last pump-off over the ideal
    cutoff_peak: float  # and their highest pressure over the ceiling
    pulses: float
    pulses_peak: float


def job_of(number: int, line: bool) -> Job:
    """Wheel, target, place and inflator of one fill."""
    r = np.random.Generator(np.random.Philox(key=SEED << 64 | number << 1 | line))
    while True:
        target = int(r.uniform(150, 800)) * 1000
        ceiling = int(target / r.uniform(0.5, 0.98) / 1000) * 1000
        ambient = ambient_pa(r.uniform(0, 2500))
        pin = bool(r.random() < 0.5)
        weak = 1.188 - 0.188 * ((target + ambient) / ambient) ** (1 / 1.3) < NEAR_STALL
        if (
            ceiling > codes.RIG_HIGH_CEILING_PA
            or not line
            and weak
            or target > ceiling - (12_000 if pin else 36_000)
        ):
            continue
        over = {"b_e11_lsb": 0.0, "a_inl_words": 0.0}
        return Job(
            tyre_mm=float(r.choice(WIDTHS)), target_pa=target, ceiling_pa=ceiling, limit_pa=ceiling, start_pa=r.uniform(0, 0.9) * target, pin_open=pin,
            kind=int(line), rim_class=codes.RIM_TC, ambient_abs_pa=ambient, room_k=273.15 + r.uniform(5, 35), delivery=r.uniform(0.85, 1.15),
            volume=r.uniform(0.95, 1.05), skin=r.uniform(0.9, 1.1), casing=r.uniform(0.8, 1.2), seed=number, over=over,
        )  # fmt: skip


def fill(number: int, line: bool) -> Fill | None:
    """Play fill `number` and both baselines from the same moment; None if arming refuses the job."""
    job = job_of(number, line)
    high = job.ceiling_pa > codes.RIG_LOW_CEILING_PA
    d = Draw(number, job, "patient", 0, 50, 0, 500, "", -1, 0.0, job.ceiling_pa, high=high)
    try:
        row, words, plant = play(d, compiled()["session"])
    except Refused:
        return None
    if words is None or plant is None or row["refused"] or row["first_on"] < 0:
        return None
    start = words.r[faulted.R_START :]
    best = ideal_ticks(plant, start, float(row["target_pa"]), float(job.ceiling_pa))
    if best >= LONGEST:
        return None
    others = [
        baseline(kind, job, start, int(row["target_pa"]), high)
        for kind in (baselines.CUTOFF, baselines.PULSES)
    ]
    return Fill(
        line, row["target_pa"] > EDGE * job.ceiling_pa, row["state"] == FILL_DONE, (row["last_off"] - row["first_on"] + 1) / best,
        (row["done"] - row["first_on"]) / best, row["settled_pa"] - row["target_pa"], row["ratio"],
        others[0][0] / best, others[0][1] / job.ceiling_pa, others[1][0] / best, others[1][1] / job.ceiling_pa,
    )  # fmt: skip


def baseline(
    kind: int, job: Job, start: np.ndarray, target_pa: int, high: bool
) -> tuple[float, float]:
    """(ticks to the last pump-off, highest true tyre pressure) of a baseline from plant state `start`."""
    plant = replace(plant_of(job), blow_off_pa=1e9)
    r = np.zeros(4)
    words = np.zeros(layout.X_SIZE, np.int32), np.zeros(layout.W_SIZE, np.int32)
    compiled()["baseline"](
        kind, np.array(start), parameters(plant), healthy(), *words, target_pa, int(high), r, 60_000
    )
    return float(r[baselines.B_LAST_OFF]), float(r[baselines.B_PEAK])


@cache
def fills(count: int, line: bool) -> list[Fill]:
    """The fills 0 .. count - 1 that arming took."""
    found = (fill(number, line) for number in range(count))
    return [one for one in found if one is not None]


def rows(quick: bool) -> list[Row]:
    """Rows of the table for fills."""
    count = 60 if quick else 600
    made: list[Row] = []
    errors: list[float] = []
    for line, name, most in (
        (False, "compressor", (1.10, 1.40)),
        (True, "workshop line", (1.5, 2.5)),
    ):
        found = fills(count, line)
        for high, where in ((False, "target <= 0.92 ceiling"), (True, "target above 0.92 ceiling")):
            mine = [one for one in found if one.high == high]
            done = [one for one in mine if one.done]
            errors += [abs(one.error_pa) / 1e5 for one in done]
            made += _split(name, where, mine, done, None if high else most)
    median, p99 = percentiles(errors)
    made.append(
        Row(
            "settled - target after cooling, instruments exact, bar: median, p99",
            [median, p99],
            [0.01, 0.03],
            {"fills": len(errors)},
        )
    )
    return made


def _split(
    name: str, where: str, mine: list[Fill], done: list[Fill], most: tuple[float, float] | None
) -> list[Row]:
    """The rows of one source and one share of the ceiling."""
    about: dict[str, Any] = {
        "fills": len(mine),
        "done": len(done),
        "highest_over_ceiling": max((one.peak_over_ceiling for one in mine), default=0.0),
    }
    made = [
        Row(
            f"last pump-off / ideal, {name}, {where}: median, p99",
            percentiles([one.ratio for one in done]),
            list(most) if most else None,
            about,
        )
    ]
    made.append(
        Row(
            f"settled and verified / ideal, {name}, {where}: median, p99",
            percentiles([one.verified for one in done]),
        )
    )
    for label, at, peak in (
        ("plain cutoff", "cutoff", "cutoff_peak"),
        ("fixed pulses", "pulses", "pulses_peak"),
    ):
        over = sum(getattr(one, peak) >= 1.0 for one in mine)
        shown = {"fills": len(mine), "over_the_ceiling": over}
        made.append(
            Row(
                f"baseline {label} / ideal, {name}, {where}: median, p99",
                percentiles([getattr(one, at) for one in mine]),
                None,
                shown,
            )
        )
    return made


def main(arguments: list[str]) -> int:
    """Play the fills, print their figures."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.fills",
        description="Healthy feasible fills with every effect drawn, instruments exact.",
    )
    parser.add_argument("--fills", type=int, default=400, help="feasible fills of each class")
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--source", choices=SOURCES, help="this source only")
    parser.add_argument("--chuck", choices=CHUCKS, help="this chuck only")
    parser.add_argument(
        "--errors", action="store_true", help="with the instruments' errors, within their class"
    )
    parser.add_argument(
        "--tenths", action="store_true", help="also by the lowest and highest tenth of each effect"
    )
    parser.add_argument(
        "--failures",
        action="store_true",
        help="number and cause of every fill that was not done at the first go",
    )
    parser.add_argument("--json", action="store_true", help="one JSON document on stdout")
    chosen = parser.parse_args(arguments)
    found = []
    for line, pin in CLASSES:
        if chosen.source not in (None, SOURCES[line]) or chosen.chuck not in (None, CHUCKS[pin]):
            continue
        played = drawn.fills(chosen.seed, chosen.fills, line, pin, not chosen.errors)
        one = drawn.report(played, line, pin) | (
            {"failures": drawn.failures(played)} if chosen.failures else {}
        )
        found.append(one)
        if not chosen.json:
            print("\n".join(drawn.lines(one, chosen.tenths)), flush=True)
            print(
                "".join(f"  {number} {cause}\n" for number, cause in one.get("failures", [])),
                end="",
            )
    if chosen.json:
        print(
            json.dumps(
                {
                    "seed": chosen.seed,
                    "fills": chosen.fills,
                    "exact": not chosen.errors,
                    "classes": found,
                }
            )
        )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
