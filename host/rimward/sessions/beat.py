"""Cause of a proof bench's stop: run control released, or heartbeat of the host lost.

The bench's firmware reports each as its own cause; for older firmware, which reported `released` for both, the full-rate record of the last
seconds distinguishes them by run contact and lease.
"""

from rimward_fw.bench.app import BEAT, HELD, RUN
from rimward_protocol import causes, kernel_words

from rimward.sessions.log import SessionLog

BEAT_LOST = "beat-lost"
WHOLE = "this specimen was loaded: mark it as tested and take a new one"
# word -> likely reason, next step, for a bench. Other causes keep their reason.
WORDS_OF = {
    BEAT_LOST: (
        "heartbeat of the host lost: a page closed, reloaded or hidden, a command ended, a cable out, a computer too busy",
        f"keep the page or command open, in front and alone; {WHOLE}",
    ),
    "released": ("the run control behind the screen was released", WHOLE),
    "target-reached": ("every level was held", f"see zero on both gauges; {WHOLE}"),
    "hose-or-tyre": (
        "the tyre left the rim, or a hose came off",
        f"see zero on both gauges, then check rim, tyre and hose; {WHOLE}",
    ),
    "leaking": (
        "the pressure did not follow the air let in",
        f"look for the leak at zero pressure; {WHOLE}",
    ),
}
SWITCHES = kernel_words.GUARD_INPUT.index("sw")


def beat_lost(log: SessionLog) -> bool | None:
    """Return True where the lease ran out with the run contact still closed, False where the contact opened first, None where the record does not show it."""
    for span in reversed(log.spans):
        word = span.x[:, SWITCHES]
        lasts = [i for i in range(1, span.ticks) if word[i - 1] & RUN and not word[i] & RUN]
        if lasts:
            return bool(word[lasts[-1]] & HELD and not word[lasts[-1]] & BEAT)
    return None


def words_of(log: SessionLog) -> tuple[str, str, str]:
    """Return (word, likely reason, next step) for the end of a bench's session."""
    word = stop_word(log)
    if log.end is None:
        return (
            word,
            "the record ends before the test was closed",
            "complete it with `rimward proof finish`, or check the bench's power",
        )
    reason, step = WORDS_OF.get(
        word,
        (str(causes.row_of(log.end["cause"])[2]), f"{causes.row_of(log.end['cause'])[3]}; {WHOLE}"),
    )
    if word == "released" and beat_lost(log) is None:
        reason += ", or the heartbeat was lost: the record does not show which"
    return word, reason, step


def stop_word(log: SessionLog) -> str:
    """Word for the end of a session; for a bench, `beat-lost` is distinguished from `released`."""
    if log.end is None:
        return "not closed"
    word = str(causes.row_of(log.end["cause"])[1])
    return BEAT_LOST if log.bench and word == "released" and beat_lost(log) else word
