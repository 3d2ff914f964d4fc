"""Short instructions for two metres: one for every state, question and cause, none too long, a question where a person is asked."""

import re
from pathlib import Path

import pytest
from rimward import web
from rimward.cli.commands import proof_run
from rimward.web import far
from rimward_protocol import codes, enumerations, reasons

WORDS = {
    "state": (far.STATES, [row[1] for row in enumerations.FILL_STATES]),
    "waiting": (far.WAITINGS, [row[1] for row in enumerations.WAITINGS][1:]),
    "cause": (far.CAUSES, [row[1] for row in reasons.rows()][1:]),
}


@pytest.mark.parametrize("table, words", WORDS.values(), ids=WORDS)
def test_each_has_its_line_and_fits(table, words):
    assert set(table) == set(words)
    for line in table.values():
        parts = line.split("/")
        assert len(parts) <= 2 and all(0 < len(part) <= far.LETTERS for part in parts), line


def test_what_counts_first():
    status = {"state": "filling", "waiting": "nothing", "cause": "none", "latched": False}
    assert far.act(status) == ["Keep hold", "of RUN"]
    paused = {**status, "state": "seat-pause", "waiting": "bead-seated"}
    assert far.act(paused) == ["Bead seated", "all round?"]
    assert far.act({**paused, "cause": "over-pressure", "latched": True}) == [
        "Stand clear",
        "let air out",
    ]
    assert far.act({**status, "state": "stopped", "cause": "leaking"})[0] == "Find leak"
    assert far.act({**status, "cause": "released"}) == ["Keep hold", "of RUN"]  # an older stop
    early = {**status, "state": "asking", "waiting": "hold-to-run"}
    assert far.act(early) == ["Release RUN", "hold again"]
    assert far.act({**early, "state": "ready"}) == ["Hold RUN", "to fill"]
    assert far.act({**status, "state": "ready"}) == ["Wait, see", "its display"]
    assert far.act({**status, "state": "new in a later firmware"}) == ["Read its", "display"]


def test_what_says_not_to_use_it_says_so():
    """Nothing that the long text forbids is missing from the short one."""
    for _number, word, _reason, step in reasons.rows():
        if step.startswith("do not use"):
            assert far.CAUSES[word].startswith("Do not use"), word
        if "stand clear" in step:
            assert far.CAUSES[word].startswith("Stand clear"), word
        if "take the hose off" in step:
            assert far.CAUSES[word].startswith("Hose off"), word


def test_every_text_states_the_length_that_a_label_may_have():
    """A person who follows the hint must not be refused."""
    pages = sorted((Path(web.__file__).parent / "templates").glob("*.html"))
    texts = [page.read_text(encoding="utf-8") for page in (*pages, Path(proof_run.__file__))]
    said = [found for text in texts for found in re.findall(r"(?i)at most (\d+) letters", text)]
    assert len(said) >= 3 and set(said) == {str(codes.LABEL_LETTERS)}
