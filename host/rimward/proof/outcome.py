"""Outcome of a session: released yes, no, or invalid with its reason. An uncommanded loss never counts as a survivor."""

from dataclasses import dataclass

import numpy as np
from rimward_protocol import causes

from rimward.proof.events import Event
from rimward.proof.loss import CONTENT, Loss
from rimward.sessions import SessionLog
from rimward.sessions.beat import stop_word

GAP_TICKS = 250
LEAST_PA = 40_000
TICK_S = 0.002
LET_GO = "hose-or-tyre"  # the firmware saw half of the pressure lost
LEAKING = "leaking"  # the pressure did not follow the air let in


@dataclass(frozen=True)
class Outcome:
    """`released` as in the CSV file, the highest pressure that counts (gauge pascals), and the reason of the end."""

    released: str
    top_pa: float
    reason: str


def outcome(log: SessionLog, release: Event | None, lost: Loss, top_pa: float) -> Outcome:
    """Combine trace and recorded cause; `top_pa`: the highest pressure where nothing released."""
    word = stop_word(log)
    if unseen := _unseen(log):
        return Outcome("invalid", top_pa, f"{word}: {unseen}")
    if release is not None:
        return Outcome("yes", release.highest_before_pa, word)
    if lost.released:
        return Outcome(
            "yes", lost.top_pa, f"{word}: {lost.share:.0%} of the pressure was lost slowly"
        )
    doubt = _doubt(log, lost, word)
    return Outcome("invalid", top_pa, f"{word}: {doubt}") if doubt else Outcome("no", top_pa, word)


def _unseen(log: SessionLog) -> str:
    """Text for a loss of half the pressure while samples are missing: vent or tyre cannot be distinguished. Empty without one."""
    lower = np.minimum(log.trace["a_pa"], log.trace["b_pa"])
    gaps = np.flatnonzero(np.diff(log.trace["tick"]) > GAP_TICKS)
    for at in gaps.tolist():
        if lower[at] > LEAST_PA and lower[at + 1] < lower[at] / 2:
            seconds = int(log.trace["tick"][at + 1] - log.trace["tick"][at]) * TICK_S
            return (
                f"{seconds:.1f} s of samples are missing while {lower[at] / 1e5:.2f} bar were lost"
            )
    return ""


def _doubt(log: SessionLog, lost: Loss, word: str) -> str:
    """Reason why a session without a release does not show that the tyre held; empty where it does."""
    if log.end is None:
        return "the record was not closed"
    if lost.made_up > CONTENT:
        return f"leak: {lost.made_up:.0%} of its content was pumped in again to hold the pressure"
    if lost.doubtful:
        return f"{lost.share:.0%} of the pressure was gone before it was vented"
    if word == LEAKING:
        return "the pressure did not follow the air let in"
    if word == LET_GO:
        return "the bench detected a loss of pressure that the trace does not show"
    return "a fault stopped it" if causes.is_latched(log.end["cause"]) else ""
