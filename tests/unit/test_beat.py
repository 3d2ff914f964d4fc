"""How a proof bench's session ended, from its record: run control released, heartbeat lost, or not closed."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from rimward.sessions import beat
from rimward_protocol import causes

RUN, HELD, BEAT = beat.RUN, beat.HELD, beat.BEAT
CLOSED = RUN | HELD | BEAT


def log(*spans: list[int], cause: int | None = causes.RELEASED, bench: bool = True) -> Any:
    """A record of spans with these switch words, and this end."""
    made = []
    for words in spans:
        x = np.zeros((len(words), beat.SWITCHES + 1), np.int32)
        x[:, beat.SWITCHES] = words
        made.append(SimpleNamespace(ticks=len(words), x=x))
    end = None if cause is None else {"cause": cause}
    return SimpleNamespace(spans=made, end=end, bench=bench)


@pytest.mark.parametrize(
    ("last", "lost"),
    [(HELD, True), (HELD | BEAT, False), (BEAT, False), (0, False)],
    ids=["lease out, contact closed", "both there", "contact open", "contact open, lease out"],
)
def test_contact_and_lease_of_the_last_stop_tell_why(last: int, lost: bool) -> None:
    assert beat.beat_lost(log([CLOSED, CLOSED, last])) is lost
    assert beat.beat_lost(log([CLOSED, HELD, CLOSED, last, last])) is lost, "the last stop counts"
    assert beat.beat_lost(log([CLOSED, last], [CLOSED, CLOSED])) is lost, (
        "of the last span with one"
    )


def test_a_record_that_shows_no_stop_says_so() -> None:
    for shown in (log(), log([CLOSED]), log([0, 0, 0]), log([CLOSED, CLOSED])):
        assert beat.beat_lost(shown) is None
        word, reason, _step = beat.words_of(shown)
        assert word == "released" and reason.endswith("the record does not show which")


def test_words_of_each_end() -> None:
    lost = log([CLOSED, HELD])
    assert beat.stop_word(lost) == "beat-lost"
    assert beat.words_of(lost) == ("beat-lost", *beat.WORDS_OF["beat-lost"])
    released = log([CLOSED, BEAT])
    assert beat.words_of(released) == ("released", *beat.WORDS_OF["released"])
    assert beat.stop_word(log([CLOSED, HELD], bench=False)) == "released"
    word, reason, step = beat.words_of(log([CLOSED, HELD], cause=causes.SENSOR_A_RANGE))
    row = causes.row_of(causes.SENSOR_A_RANGE)
    assert (word, reason, step) == (row[1], row[2], f"{row[3]}; {beat.WHOLE}")


def test_a_record_without_an_end_was_not_closed() -> None:
    word, reason, step = beat.words_of(log([CLOSED, CLOSED], cause=None))
    assert (word, reason) == ("not closed", "the record ends before the test was closed")
    assert "rimward proof finish" in step
