"""Retention: number of specimens that held 110 % of their limit, counted separately from the release margins.

A release before the hold's time is over is a failure at any pressure. A hold passes where its reading minus the gauge's expanded
uncertainty
still reaches 110 %: 5.50 bar read with U = 0.16 bar does not show 5.50 bar.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from typing import Any

from rimward.proof import stats
from rimward.proof.load import BAR_PA, Sample
from rimward.proof.standard import HOLD_S, PERCENT
from rimward.proof.units import Specimen

RAMP_STEP_BAR = (
    0.25  # a stop at most this far above the hold was no ramp: the hold's reading is the stop's
)

HELD, FAILED, NOT_SHOWN, UNDECIDED = "held", "failed", "not shown", "not decided"
WORDS = {
    HELD: "held: the tyre stayed on the rim",
    FAILED: "NOT held: the tyre released before the hold's time was over",
    NOT_SHOWN: "not shown: the reading less the gauge's U does not reach 110 %; hold 110 % plus U",
    UNDECIDED: "not decided",
}
PASSES = {HELD: True, FAILED: False, NOT_SHOWN: None, UNDECIDED: None}


def verdict(sample: Sample, u_pa: float | None = None) -> str:
    """HELD, FAILED, NOT_SHOWN or UNDECIDED. `u_pa`: the gauge's U where the row states none; None: unknown."""
    held_s = sample.known.get("hold_s")
    long_enough = held_s is not None and float(held_s) >= HOLD_S
    if sample.released == "yes" and (
        over_pa(sample) <= 0 or held_s is not None and not long_enough
    ):
        return FAILED
    if over_pa(sample) < 0 or not long_enough:
        return UNDECIDED
    own = sample.known.get("gauge_u_bar")
    u_bar = max(float(own or 0.0), (u_pa or 0.0) / BAR_PA)
    return (
        HELD if u_bar == 0 or _over_pa(sample, held_bar(sample, u_bar) - u_bar) >= 0 else NOT_SHOWN
    )


def held(sample: Sample, u_pa: float | None = None) -> bool | None:
    """Verdict as True, False or None."""
    return PASSES[verdict(sample, u_pa)]


def held_bar(sample: Sample, u_bar: float) -> float:
    """Lowest reading during the hold, bar gauge: as stated, else of a stop without a ramp its own, else 110 %."""
    if "hold_bar" in sample.known:
        return float(sample.known["hold_bar"])
    least = sample.limit_bar * PERCENT / 100
    without_ramp = sample.released == "no" and sample.release_bar <= least + u_bar + RAMP_STEP_BAR
    return sample.release_bar if without_ramp else least


def reached(sample: Sample, _u_pa: float | None = None) -> str:
    """Verdict without the time: HELD when 110 % was reached, whatever the hold."""
    over = over_pa(sample)
    if sample.released == "yes":
        return HELD if over > 0 else FAILED
    return HELD if over >= 0 else UNDECIDED


def summary(
    lot: Sequence[Specimen], confidence: float, u_pa: float | None = None, known: bool = True
) -> dict[str, Any]:
    """Return x of n with Clopper-Pearson, for the full retention test and for the pressure alone. `known`: the gauge's U is, for all
    rows.
    """
    return {
        "percent_of_limit": PERCENT,
        "hold_s": HOLD_S,
        "source": "ISO 4210-2, from memory",
        "gauge_known": known,
        **_count(lot, lambda row: verdict(row, u_pa), confidence),
        "pressure_reached": _count(lot, reached, confidence),
    }


def over_pa(sample: Sample) -> int:
    """Pascals by which the highest reading exceeds 110 % of the limit."""
    return _over_pa(sample, sample.release_bar)


def _count(
    lot: Sequence[Specimen], judge: Callable[[Sample], str], confidence: float
) -> dict[str, Any]:
    verdicts = Counter(_worst([judge(row) for row in specimen.rows]) for specimen in lot)
    passed, failed = verdicts[HELD], verdicts[FAILED]
    n = passed + failed
    return {
        "passed": passed,
        "failed": failed,
        "n": n,
        "not_shown": verdicts[NOT_SHOWN],
        "undecided": verdicts[UNDECIDED],
        "lower": stats.pass_rate_lower(passed, n, confidence) if n else None,
        "upper": stats.pass_rate_upper(passed, n, confidence) if n else None,
        "confidence": confidence,
    }


def _worst(verdicts: list[str]) -> str:
    """Return the best result of the specimen's rows; a failure decides."""
    return next(word for word in (FAILED, HELD, NOT_SHOWN, UNDECIDED) if word in verdicts)


def _over_pa(sample: Sample, bar: float) -> int:
    """Difference of both rounded to whole pascals, so that 5.5 bar on 5 bar is exactly 110 %."""
    return round((bar - sample.limit_bar * PERCENT / 100) * BAR_PA)
