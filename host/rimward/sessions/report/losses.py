"""Loss between fills of a wheel of the register, from the sessions on this computer."""

from dataclasses import dataclass
from typing import Any

from rimward.base.errors import Refusal
from rimward.limits.ceiling.markings import read_marking
from rimward.sessions.facts import when_text
from rimward.sessions.log import read_session
from rimward.sessions.loss import Interval, Loss, intervals_of, leak_line, loss_line, loss_of
from rimward.sessions.report.archive import Archive, Query
from rimward.sessions.visit import visit_of
from rimward.wheels.register.store import Register, Wheel

NEWEST = 16  # number of sessions of a wheel that are read
FIELD = "air_by_hand"


@dataclass(frozen=True)
class WheelLoss:
    """Intervals between the fills of one wheel, their loss (None: none determined), and the tyre's printed minimum."""

    intervals: tuple[Interval, ...]
    loss: Loss | None
    least_pa: int | None

    @property
    def lines(self) -> list[str]:
        """Lines for people, none without a result."""
        if self.loss is None:
            return []
        lines = [leak_line(self.loss, self.least_pa), loss_line(self.loss)]
        if self.loss.not_asked:
            many = "1 interval" if self.loss.not_asked == 1 else f"{self.loss.not_asked} intervals"
            lines.append(f"{many} counted as if no air was added or released by hand")
        return [line for line in lines if line]

    def to_json(self) -> dict[str, Any]:
        """Return every figure by name; pressures in pascal, at 20 degrees C."""
        loss = self.loss
        shown = loss and {
            "pa_day": round(loss.pa_day, 1), "u_pa_day": round(loss.u_pa_day, 1), "days": round(loss.days, 2), "intervals": len(loss.intervals),
            "latest_pa_day": round(loss.latest_pa_day, 1), "slow_leak": loss.slow_leak, "not_asked": loss.not_asked,
        }  # fmt: skip
        rows = [
            {
                "left": one.left.name, "found": one.found.name, "from_s": one.left.end_s, "to_s": one.found.start_s, "days": round(one.days, 2),
                "lost_pa": round(one.lost_pa), "u_pa": round(one.u_pa), "air_by_hand": one.added, "counts": one.counts,
            }
            for one in self.intervals
        ]  # fmt: skip
        return {"loss": shown, "intervals": rows, "lines": self.lines}


def wheel_loss(wheel: Wheel, archive: Archive | None = None) -> WheelLoss:
    """Compute a wheel's loss between fills from its stored sessions."""
    archive = archive or Archive()
    visits = []
    for row in archive.find(Query(wheel_id=wheel.wheel_id), NEWEST):
        try:
            visit = visit_of(read_session(archive.read(row["name"])), row["name"])
        except Refusal:
            continue  # a file that is gone or unreadable is skipped
        if visit is not None:
            visits.append(visit)
    between = intervals_of(visits, wheel.values.get(FIELD, {}))
    return WheelLoss(tuple(between), loss_of(between), least_of(wheel))


def least_of(wheel: Wheel) -> int | None:
    """Return the printed minimum of the tyre in the register, Pa gauge."""

    for name in ("tyre_min", "tyre_range"):
        if name in wheel.values:
            try:
                return read_marking(
                    wheel.values[name], **({"minimum_only": True} if name == "tyre_min" else {})
                ).min_pa
            except Refusal:
                continue
    return None


def unanswered(wheel: Wheel, session: str) -> Interval | None:
    """Interval before a session whose question, whether air was added by hand, has no answer yet; None without one."""
    return next(
        (
            one
            for one in wheel_loss(wheel).intervals
            if one.found.name == session and one.added is None
        ),
        None,
    )


def answer(register: Register, wheel: Wheel, session: str, added: bool, who: str = "") -> Wheel:
    """Store a person's answer whether air was added or released by hand before the visit that `session` records."""
    return register.record(
        wheel.wheel_id,
        lambda now: {FIELD: {**now.values.get(FIELD, {}), session: added}},
        who,
        "asked",
    )


def interval_text(one: Interval) -> str:
    """Format one interval."""
    state = {
        True: "air by hand: not counted",
        False: "no air by hand",
        None: "air by hand: not answered",
    }[one.added]
    if one.added is not True and not one.counts:
        state = "found higher than left: air was added, not counted"
    lost = f"{one.lost_pa / 1e5:+.3f} bar ± {2 * one.u_pa / 1e5:.3f}"
    return f"{when_text(one.left.end_s)} to {when_text(one.found.start_s)}, {one.days:.1f} days: lost {lost} at 20 °C; {state}"
