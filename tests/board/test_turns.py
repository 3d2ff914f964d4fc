"""The longest turn of the main loop in each activity of a visit, in counted instructions: none grows unnoticed, and a slow one is noticed."""

from pathlib import Path

from tests.board import turns
from tests.board.__main__ import HEAP
from tests.board.line import board

# Turns of so many jumps through a loop, a sleep after each; the first sleep begins the count.
SLEPT = """
import machine
machine.idle()
for jumps in {jumps}:
    for n in range(jumps):
        pass
    machine.idle()
for n in range(1000):
    machine.idle()
"""


def test_no_turn_is_longer_than_what_is_in_force(tmp_path: Path) -> None:
    longest = turns.measure(tmp_path)
    print(*turns.lines(longest), sep="\n")
    assert set(longest) == set(turns.MOST_MS)
    assert turns.over(longest) == []


def slept(folder: Path, *jumps: int) -> dict[str, int]:
    """Longest turn of a program with turns of so many jumps."""
    (folder / "main.py").write_text(SLEPT.format(jumps=jumps))
    with board(folder, HEAP, counting=True) as line:
        counted = turns.Turns(line.world)
        line.advance(1.0)
        return counted.longest


def test_the_longest_turn_is_found_wherever_it_stands(tmp_path: Path) -> None:
    shortest = slept(tmp_path, 100)["start"]
    assert slept(tmp_path, 2000, 100)["start"] > 5 * shortest
    assert slept(tmp_path, 100, 2000)["start"] > 5 * shortest


def test_a_planted_slow_turn_is_over(tmp_path: Path) -> None:
    jumps = 1000
    while turns.ms(slept(tmp_path, jumps)["start"]) < turns.MOST_MS["start"]:
        jumps *= 2
    assert turns.over(slept(tmp_path, 100, jumps, 100)) == ["start"]
    assert turns.over(slept(tmp_path, 100, 100)) == []


def test_what_no_activity_bounds_is_over() -> None:
    assert turns.over({"somewhere else": 100_000}) == ["somewhere else"]
