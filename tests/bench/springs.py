"""Fills behind a closed core from part full, with the core's spring stored at an earlier fill from empty and without: what storing is worth.

`python -m tests.bench.springs [--wheels N] [--seed S] [--json] [--write]`: exact instruments, every other effect drawn. Each wheel is filled once from
empty; where that ends done and the kernel learnt the spring it is filled again from part full, three times alike but for the word `spring`:
unknown, as learnt, and the plant's own. Errors are settled ones (`rimward.simulation.campaign.fills`). `--write` keeps the figures and
makes WORLD.md again.
"""

import argparse
import json
import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from rimward.simulation.campaign import fills
from rimward.simulation.campaign.draw import Draw
from rimward.simulation.campaign.firstgo import SOURCES
from rimward.simulation.campaign.play import Words
from rimward.simulation.coupling import DONE
from rimward.simulation.engines import KERNELS, compiled
from rimward.simulation.loop import plant_of
from rimward.simulation.plant.kept import digest
from rimward_fw.control.losses import EMPTY_PA
from rimward_protocol import kernel_slots as slots

from tests.bench import world

SEED, WHEELS = 41, 300
MOST_TRIED = 4  # draws for each wheel wanted, at most
AGAIN = (0.3, 0.9)  # share of the target that the second fill begins at
Y, YS = Words._fields.index("y"), Words._fields.index("ys")


@dataclass(frozen=True)
class Pair:
    """Two fills of one wheel. Pa; errors are true settled pressure less target: first fill, then the second with each spring."""

    number: int
    spring_pa: float  # the plant's
    learnt_pa: int
    first_pa: float
    unknown_pa: float
    stored_pa: float
    known_pa: float


def learnt(f: Any) -> int:
    """Spring that a fill from empty has taught, from the fill controller's words, Pa; 0 where it began otherwise."""
    return int(f[slots.F_SPRING]) if f[slots.F_START] + f[slots.F_SPRING] < EMPTY_PA else 0


def begun(d: Draw, share: float, seed: int) -> Draw:
    """Return the same wheel begun at a share of its target, with noise of its own."""
    return replace(d, job=replace(d.job, start_pa=share * d.job.target_pa, seed=seed))


def with_spring(pa: int, session: Callable[..., Any]) -> Callable[..., Any]:
    """Return a session that is armed with a stored spring of `pa`."""

    def run(*words: Any) -> Any:
        words[Y][slots.Y_SPRING] = words[YS][slots.Y_SPRING - slots.FILL_SLOW] = pa
        return session(*words)

    return run


def pair_of(seed: int, number: int, line: int, session: Callable[..., Any]) -> Pair | None:
    """Both fills of one drawn wheel; None where one of them is not to be done or the first teaches no spring."""
    dice = random.Random(seed << 40 | number << 1 | line)
    d = fills.healthy_draw(seed, number, line, 0)
    fill, words = fills.measured(begun(d, 0.0, d.job.seed), session)
    if words is None or fill["row"]["state"] != DONE or not learnt(words.f):
        return None
    plant = plant_of(d.job)
    spring = plant.crack_pa - plant.core_hysteresis_pa
    again = begun(d, dice.uniform(*AGAIN), d.job.seed ^ 1)
    if again.job.start_pa < EMPTY_PA:
        return None
    errors = [
        float(fills.measured(again, with_spring(pa, session))[0]["error_pa"])
        for pa in (0, learnt(words.f), round(spring))
    ]
    found = Pair(number, spring, learnt(words.f), float(fill["error_pa"]), *errors)
    return found if np.isfinite([found.first_pa, *errors]).all() else None


def pairs(seed: int, count: int, line: int) -> list[Pair]:
    """Return `count` wheels of one source, or those of MOST_TRIED draws for each."""
    session = compiled()["session"]
    found: list[Pair] = []
    for number in range(MOST_TRIED * count):
        if len(found) == count:
            break
        one = pair_of(seed, number, line, session)
        if one:
            found.append(one)
    return found


def figures(found: list[Pair]) -> dict[str, Any]:
    """Quantiles of the absolute settled errors, and of the signed ones with the spring unknown and stored."""
    made: dict[str, Any] = {"wheels": len(found)}
    for name in ("first_pa", "unknown_pa", "stored_pa", "known_pa"):
        errors = np.array([getattr(one, name) for one in found])
        made[name] = {
            **{f"p{q}": float(np.percentile(np.abs(errors), q)) for q in (50, 90, 99, 100)},
            "least": float(errors.min()),
            "most": float(errors.max()),
        }
    off = np.array([one.learnt_pa - one.spring_pa for one in found])
    made["learnt_off_pa"] = {f"p{q}": float(np.percentile(off, q)) for q in (1, 50, 99)}
    return made


def lines(source: str, made: dict[str, Any]) -> list[str]:
    """Return the figures of one source for people, kPa."""
    words = {
        "first_pa": "first, from empty", "unknown_pa": "again, spring unknown", "stored_pa": "again, spring as learnt",
        "known_pa": "again, the plant's spring",
    }  # fmt: skip
    off = made["learnt_off_pa"]
    text = [
        f"{source}, pressure-open: {made['wheels']} wheels; learnt less true spring, p1, p50, p99: "
        + ", ".join(f"{off[q] / 1e3:+.1f}" for q in ("p1", "p50", "p99"))
        + " kPa"
    ]
    for name, word in words.items():
        row = made[name]
        text.append(
            f"  {word}: p50 {row['p50'] / 1e3:.1f}, p90 {row['p90'] / 1e3:.1f}, p99 {row['p99'] / 1e3:.1f}, from {row['least'] / 1e3:+.1f} to {row['most'] / 1e3:+.1f} kPa"
        )
    return text


def main() -> None:
    """Print the figures of both sources, or keep them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--wheels", type=int, default=WHEELS)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--json", action="store_true")
    parser.add_argument(
        "--write", action="store_true", help="of the standing number and seed: keep them"
    )
    asked = parser.parse_args()
    if asked.write and (asked.wheels, asked.seed) != (WHEELS, SEED):
        parser.error("--write keeps the standing number and seed alone: leave --wheels and --seed")
    made = {
        source: figures(pairs(asked.seed, asked.wheels, line))
        for line, source in enumerate(SOURCES)
    }
    if asked.write:
        kept = {"kernels": digest(KERNELS), "seed": SEED, "sources": made}
        world.SPRINGS.write_text(json.dumps(kept, indent=1) + "\n")
        world.main(["--page"])
    if asked.json:
        print(json.dumps(made, indent=1))
    else:
        print("\n".join(line for source, one in made.items() for line in lines(source, one)))


if __name__ == "__main__":
    main()
