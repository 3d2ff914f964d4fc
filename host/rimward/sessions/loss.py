"""Loss between fills: pressure lost by a wheel from one visit's end to the next one's beginning, and its growth.

Both pressures are converted to 20 degrees C by the gas law, so that cold or weather does not count as loss. Every figure has its
uncertainty
after JCGM 100:2008: instrument, temperature, barometer, and the quality of the record. Stated intervals are twice the standard uncertainty.
Only intervals that the records support are counted.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot, sqrt

from rimward.base.units import show_minimum
from rimward.sessions.visit import SHORT_TERM, Visit

REFERENCE_K = 293.15
U_BAROMETER_PA = 100.0  # the barometer's class, from memory
DAY_S = 86_400.0
LEAST_DAYS, MOST_DAYS = (
    0.5,
    120.0,
)  # shorter: below the uncertainty; longer: a person no longer remembers what was done meanwhile
COVERAGE = 2.0
GREW_RATIO = 1.5  # smaller growth is not reported, however certain
EARLIER_LEAST = 2  # intervals used as the baseline of a growth
FAST_SHARE_DAY = (
    0.12  # of the gauge pressure: thin latex tubes lose up to about a tenth a day, common practice
)


@dataclass(frozen=True)
class Interval:
    """From one visit's end to the next one's beginning. `added`: whether air was added or released by hand; None: not answered.

    `lost_pa` at 20 degrees C. `u_free_pa` is independent between intervals; `u_method_pa` is common to all intervals of a wheel.
    """

    left: Visit
    found: Visit
    days: float
    lost_pa: float
    u_free_pa: float
    u_method_pa: float
    added: bool | None

    @property
    def u_pa(self) -> float:
        """Standard uncertainty of `lost_pa`."""
        return hypot(self.u_free_pa, self.u_method_pa)

    @property
    def counts(self) -> bool:
        """True if it is evidence of the loss: no air by hand, by a person's answer or the figures."""
        return self.added is not True and self.lost_pa > -COVERAGE * self.u_pa


@dataclass(frozen=True)
class Loss:
    """Loss of a wheel in pascal a day at 20 degrees C, with its standard uncertainty, from `intervals` that count."""

    pa_day: float
    u_pa_day: float
    intervals: tuple[Interval, ...]
    days: float
    latest_pa_day: float
    earlier_pa_day: float | None
    grew: bool
    fast: bool
    left_out: int
    not_asked: int

    @property
    def slow_leak(self) -> bool:
        """True if it is to be reported as a slow leak."""
        return self.grew or self.fast

    def days_to(self, least_pa: float) -> float | None:
        """Days from the last visit's end until the tyre is at `least_pa` (gauge) at the latest rate; None where it does not fall."""
        left = self.intervals[-1].found.left_pa
        rate = max(self.latest_pa_day, self.pa_day)
        return None if left is None or rate <= 0 else max(0.0, (left - least_pa) / rate)


def at_reference(pa: float, ambient_pa: float, temp_k: float) -> float:
    """Absolute pressure at 20 degrees C of a reading `pa` (gauge) at `ambient_pa` and `temp_k`, in the same volume."""
    return (pa + ambient_pa) * REFERENCE_K / temp_k


def interval(left: Visit, found: Visit, added: bool | None = None) -> Interval | None:
    """Interval between two visits; None where the records do not support one."""
    days = (found.start_s - left.end_s) / DAY_S
    if (
        left.left_pa is None
        or found.found_pa is None
        or left.wheel_id != found.wheel_id
        or not LEAST_DAYS <= days <= MOST_DAYS
    ):
        return None
    before = at_reference(left.left_pa, left.ambient_pa, left.temp_k)
    after = at_reference(found.found_pa, found.ambient_pa, found.temp_k)
    same = left.device == found.device and left.calibration == found.calibration
    share = SHORT_TERM if same else 1.0
    scale_left, scale_found = REFERENCE_K / left.temp_k, REFERENCE_K / found.temp_k
    parts = (
        scale_left * left.u_left_pa,
        scale_left * share * left.u_instrument_pa,
        scale_found * share * found.u_instrument_pa,
        scale_left * U_BAROMETER_PA,
        scale_found * U_BAROMETER_PA,
        before / left.temp_k * left.u_temp_k,
        after / found.temp_k * found.u_temp_k,
    )
    return Interval(
        left,
        found,
        days,
        before - after,
        sqrt(sum(part * part for part in parts)),
        scale_found * found.u_found_pa,
        added,
    )


def intervals_of(
    visits: Sequence[Visit], answers: Mapping[str, bool] | None = None
) -> list[Interval]:
    """Intervals between consecutive visits. `answers`: by the name of the later session, whether air was added by hand before."""
    ordered = sorted(visits, key=lambda visit: visit.start_s)
    found = (interval(a, b, (answers or {}).get(b.name)) for a, b in zip(ordered, ordered[1:]))
    return [one for one in found if one is not None]


def loss_of(intervals: Sequence[Interval]) -> Loss | None:
    """Loss determined from a wheel's intervals, oldest first; None where none counts."""
    counted = tuple(one for one in intervals if one.counts)
    if not counted:
        return None
    rate, u_rate = _rate(counted)
    latest, earlier = counted[-1], counted[:-1]
    now = latest.lost_pa / latest.days
    before = _rate(earlier)[0] if len(earlier) >= EARLIER_LEAST else None
    start = latest.left.left_pa or 0.0
    return Loss(
        pa_day=rate,
        u_pa_day=u_rate,
        intervals=counted,
        days=sum(one.days for one in counted),
        latest_pa_day=now,
        earlier_pa_day=before,
        grew=before is not None
        and now > GREW_RATIO * max(before, 0.0)
        and now - before > COVERAGE * _u_difference(latest, earlier),
        fast=now - COVERAGE * latest.u_pa / latest.days > FAST_SHARE_DAY * start,
        left_out=len(intervals) - len(counted),
        not_asked=sum(one.added is None for one in counted),
    )


def _rate(intervals: Sequence[Interval]) -> tuple[float, float]:
    """Loss a day over several intervals, and its standard uncertainty: the method's part adds up, the rest averages out."""
    days = sum(one.days for one in intervals)
    free = sqrt(sum(one.u_free_pa**2 for one in intervals))
    return sum(one.lost_pa for one in intervals) / days, hypot(
        free, sum(one.u_method_pa for one in intervals)
    ) / days


def _u_difference(latest: Interval, earlier: Sequence[Interval]) -> float:
    """Return the standard uncertainty of the latest loss a day minus the earlier one; the part common to all intervals cancels partly."""
    days = sum(one.days for one in earlier)
    free = hypot(
        latest.u_free_pa / latest.days, sqrt(sum(one.u_free_pa**2 for one in earlier)) / days
    )
    return hypot(
        free, latest.u_method_pa / latest.days - sum(one.u_method_pa for one in earlier) / days
    )


def loss_line(loss: Loss) -> str:
    """Return the loss in one line."""
    many = f"{len(loss.intervals)} interval{'' if len(loss.intervals) == 1 else 's'} over {loss.days:.0f} days"
    if loss.pa_day < COVERAGE * loss.u_pa_day:
        return f"loss at most {show_minimum(round(max(0.0, loss.pa_day) + COVERAGE * loss.u_pa_day))} a day at 20 °C, from {many}"
    return (
        f"loss {_fine(loss.pa_day)} a day ± {_fine(COVERAGE * loss.u_pa_day)} at 20 °C, from {many}"
    )


def leak_line(loss: Loss, least_pa: float | None = None) -> str:
    """Instruction for a loss that grew or is large; empty otherwise."""
    if not loss.slow_leak:
        return ""
    was = (
        f", {_fine(loss.earlier_pa_day)} before"
        if loss.grew and loss.earlier_pa_day is not None
        else ""
    )
    days = loss.days_to(least_pa) if least_pa is not None else None
    least = f" It falls below its tyre's minimum {_within(days)}." if days is not None else ""
    return f"SLOW LEAK: {_fine(loss.latest_pa_day)} a day lately{was}. Check valve, rim tape, casing and bead before riding.{least}"


def _within(days: float) -> str:
    return "at once" if days < 1 else f"within {days:.0f} day{'' if days < 1.5 else 's'}"


def _fine(pa: float) -> str:
    """Format a small difference of pressure in both units."""
    return f"{pa / 1e5:.3f} bar ({pa / 6894.757:.1f} psi)"
