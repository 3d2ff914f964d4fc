"""Events of a session as one line each: answers and figures in words, every event of the protocol has its line."""

import pytest
from rimward.sessions.eventtext import MORE, event_text
from rimward_protocol import causes, codes, enumerations, replies

ROW = {"tick": 0, "cause": 0, "state": 1, "value": 0, "value2": 0}


def test_every_event_of_the_protocol_has_a_line_and_no_other_is_named():
    words = {word for _number, word, _meaning in enumerations.EVENTS}
    assert set(MORE) <= words
    for word in words:
        assert event_text({**ROW, "event": word}).startswith(word.replace("-", " "))


@pytest.mark.parametrize(
    ("event", "value", "value2", "says"),
    [
        ("answer", codes.WAIT_STOOD, 1, "answer: stood an hour: yes"),
        ("answer", codes.WAIT_STOOD, 2, "answer: stood an hour: air was added by hand"),
        ("answer", codes.WAIT_STOOD, 28_915, "answer: stood an hour: no, the tyre is at 16 °C"),
        ("answer", codes.WAIT_NEW_WHEEL, 0, "answer: new wheel: no"),
        (
            "answer",
            codes.WAIT_PRINTED_MAXIMUM,
            500_000,
            "answer: printed maximum: 5.00 bar (72.5 psi)",
        ),
        ("answer", 99, 1, "answer: question 99: yes"),
        (
            "armed",
            447_000,
            437_000,
            "armed: ceiling 4.47 bar (64.8 psi), stops at 4.37 bar (63.3 psi)",
        ),
        ("run-released", 250_000, 0, "run released: at 2.50 bar (36.3 psi)"),
        ("setting-stored", 7, 2, "setting stored: name"),
        (
            "refused",
            replies.TARGET_ABOVE_STOP,
            0,
            f"refused: {replies.row_of(replies.TARGET_ABOVE_STOP)[2]}",
        ),
        ("key-enrolled", 1, 0, "key enrolled"),
    ],
)
def test_figures_and_answers_are_in_words(event, value, value2, says):
    assert event_text({**ROW, "event": event, "value": value, "value2": value2}) == says


def test_a_trip_names_its_cause():
    assert "rising while off" in event_text(
        {**ROW, "event": "tripped", "cause": causes.RISING_WHILE_OFF, "value": 300_000}
    )
