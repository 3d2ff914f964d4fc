"""Why a proof bench stopped: its run control was released, or the host's beat did not come in time.

The bench's firmware gives both the same cause. The full-rate record of its last seconds keeps the run contact and the lease apart.
"""

from rimward_fw.bench.app import BEAT, HELD, RUN
from rimward_protocol import causes, kernel_words

from rimward.sessions.log import SessionLog

BEAT_LOST = "beat-lost"
NEXT = "keep the page or command that leads the test open and the cable in; the specimen was loaded, so test a new one"
SWITCHES = kernel_words.GUARD_INPUT.index("sw")


def beat_lost(log: SessionLog) -> bool | None:
    """True: the lease ran out with the run contact still closed. False: the contact opened first. None: the record does not say."""
    for span in reversed(log.spans):
        word = span.x[:, SWITCHES]
        lasts = [i for i in range(1, span.ticks) if word[i - 1] & RUN and not word[i] & RUN]
        if lasts:
            return bool(word[lasts[-1]] & HELD and not word[lasts[-1]] & BEAT)
    return None


def stop_word(log: SessionLog) -> str:
    """The word of what ended the session; of a bench with `beat-lost` told apart from `released`."""
    if log.end is None:
        return "not closed"
    word = str(causes.row_of(log.end["cause"])[1])
    return BEAT_LOST if log.bench and word == "released" and beat_lost(log) else word
