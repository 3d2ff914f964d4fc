"""Retention: how many specimens held 110 % of their limit. Counted apart from the release margins."""

from collections.abc import Sequence

from rimward.proof import stats
from rimward.proof.load import BAR_PA, Sample
from rimward.proof.units import Specimen

# ISO 4210-2, from memory: 110 % of the lower of rim and tyre maximum, for not less than 5 minutes.
PERCENT = 110
HOLD_S = 300


def held(sample: Sample) -> bool | None:
    """True: 110 % for five minutes. False: released at or under 110 %. None: the row does not decide it."""
    over_pa = _over_pa(sample)
    if sample.released == "yes" and over_pa <= 0:
        return False
    long_enough = float(sample.known.get("hold_s", 0)) >= HOLD_S
    return True if over_pa >= 0 and long_enough else None


def reached(sample: Sample) -> bool | None:
    """The same without the time: True when 110 % was reached, whatever the row says of the hold."""
    over_pa = _over_pa(sample)
    if sample.released == "yes":
        return over_pa > 0
    return True if over_pa >= 0 else None


def summary(lot: Sequence[Specimen], confidence: float) -> dict:
    """x of n with Clopper-Pearson, for the full retention test and for the pressure alone."""
    return {
        "percent_of_limit": PERCENT,
        "hold_s": HOLD_S,
        "source": "ISO 4210-2, from memory",
        **_count(lot, held, confidence),
        "pressure_reached": _count(lot, reached, confidence),
    }


def _count(lot: Sequence[Specimen], judge, confidence: float) -> dict:
    verdicts = [_worst([judge(row) for row in specimen.rows]) for specimen in lot]
    passed, failed = verdicts.count(True), verdicts.count(False)
    n = passed + failed
    return {
        "passed": passed,
        "failed": failed,
        "n": n,
        "undecided": verdicts.count(None),
        "lower": stats.pass_rate_lower(passed, n, confidence) if n else None,
        "upper": stats.pass_rate_upper(passed, n, confidence) if n else None,
        "confidence": confidence,
    }


def _worst(verdicts: list[bool | None]) -> bool | None:
    if False in verdicts:
        return False
    return True if True in verdicts else None


def _over_pa(sample: Sample) -> int:
    """Pascals above 110 % of the limit, both rounded to whole pascals so that 5.5 bar on 5 bar is exactly 110 %."""
    return round((sample.release_bar - sample.limit_bar * PERCENT / 100) * BAR_PA)
