"""A tyre behind its closed core, the hose leaking, with the firmware's fill controller in the loop: `python -m tests.trust.closed_fill`.

What the guard alone does when it is asked for air throughout is in `closed_plant`; these are fills, each to the highest target that
arming accepts.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

from rimward.base.errors import Refusal
from rimward.simulation import loop
from rimward.simulation.plant import layout as k

from tests.trust.closed_plant import LINE, SMALL_MM

TICKS = 60_000
TARGET_STEP_PA = 5_000


@dataclass(frozen=True)
class Fill:
    """One fill; the hose cracks at tick `onset`, by `leak_c` m3/(s Pa)."""

    job: loop.Job
    leak_c: float
    onset: int


def highest_target(job: loop.Job) -> loop.Job:
    """The job with the highest target that arming accepts. Refusal if it accepts none."""
    for target in range(job.ceiling_pa - TARGET_STEP_PA, 0, -TARGET_STEP_PA):
        try:
            tried = replace(job, target_pa=target)
            loop.armed(tried)
        except Refusal:
            continue
        return tried
    raise Refusal("No target is accepted.", "Choose a larger tyre.")


def fills() -> Iterator[Fill]:
    """Ceilings, volumes, starts under the target, cracks in dm3/(s bar), moments of the crack."""
    for ceiling, tyre_mm, under, leak, onset in product(
        (300_000, 450_000),
        (28.0, SMALL_MM),
        (100_000.0, 40_000.0, 10_000.0),
        (0.01, 0.03, 0.06, 0.1),
        (400, 3_000, 5_000),
    ):
        job = replace(LINE, pin_open=False, ceiling_pa=ceiling, limit_pa=ceiling, tyre_mm=tyre_mm)
        job = highest_target(job)
        yield Fill(replace(job, start_pa=job.target_pa - under), leak * 1e-8, onset)


def over_pa(fill: Fill, fast: bool = True) -> float:
    """Highest true tyre pressure less the ceiling, Pa. `fast` needs numba."""
    run = loop.compiled()["run"] if fast else loop.run
    words = loop.armed(fill.job)
    if not fast:
        words = loop.Words(*(array.tolist() for array in words))
    run(*words, 0, fill.onset, 0)
    words.fault[k.F_HOSE_C] = fill.leak_c
    run(*words, fill.onset, TICKS, 0)
    return float(words.r[loop.R_PEAK_PA]) - fill.job.ceiling_pa


def highest() -> tuple[int, float]:
    """Number of fills and the highest tyre of all, Pa over its ceiling (negative: under it)."""
    found = [over_pa(fill) for fill in fills()]
    return len(found), max(found)


if __name__ == "__main__":
    print("n = {}, highest {:.0f} Pa over its ceiling".format(*highest()))
