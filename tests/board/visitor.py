"""A person at the emulated board on its cable: waits for a display, answers it, fills."""

import re

from tests.board.line import Line

LONGEST_S = 60.0
QUESTIONS = "hold RUN|an hour|TEMPERATURE|NEW WHEEL"


def until(line: Line, words: str) -> None:
    """Wait until the display shows a pattern."""
    end = line.now_s + LONGEST_S
    while not re.search(words, line.world.shown()):
        line.advance(0.1)
        assert line.now_s < end, (words, line.world.shown())


def confirmed(line: Line) -> None:
    """Read the display, then press the workshop button."""
    line.advance(1.0)
    line.press("WORKSHOP")


def filled(line: Line) -> None:
    """Answer what is asked, hold RUN to the end of the fill."""
    until(line, QUESTIONS)
    while "hold RUN" not in line.world.shown():
        line.press("ENTER")
        until(line, QUESTIONS)
    line.world.hold("RUN", True)
    until(line, "BEAD|DONE")
    if "BEAD" in line.world.shown():
        line.world.hold("RUN", False)
        line.press("ENTER")
        line.world.hold("RUN", True)
    until(line, "DONE")
    line.world.hold("RUN", False)
    line.advance(3.0)
