"""Longest turn of the main loop in each activity of a visit: instructions from one sleep (`machine.idle`) to the next, with the ticks that interrupt them."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from rimward.device.link import Client, LockstepTransport, verbs
from rimward.simulation.scenario import KEY

from tests.board.__main__ import HEAP
from tests.board.counting import US_AN_INSTRUCTION
from tests.board.install import install
from tests.board.line import Line, board
from tests.board.visitor import confirmed, filled, until
from tests.board.world import World
from tests.unit.linkbench import profile
from tests.unit.test_preset_send import pair_record

BUZZER = 8
AIM_MS = 50.0
MOST_MS = dict.fromkeys(
    (
        "start",
        "list",
        "unregistered wheel entered",
        "hello and status",
        "key enrolled",
        "profile received",
        "setting stored",
        "wheel chosen, armed and filled",
        "session written",
        "session fetched",
        "preset received and opened",
    ),
    AIM_MS,
)
WRITTEN_S = 4.0
PART_PA = 300_000.0  # what the tyre begins with: a shorter run


class Turns:
    """Instructions of the longest turn of each activity: `longest`, by its name. What runs before the main loop is no turn."""

    def __init__(self, world: World) -> None:
        self.longest: dict[str, int] = {}
        self._world, self._now = world, "start"
        self._last = -1
        world.at("machine_idle", self._slept)

    def _slept(self) -> None:
        count = self._world.instructions
        if self._last >= 0:
            self.longest[self._now] = max(self.longest.get(self._now, 0), count - self._last)
        self._last = count

    @contextmanager
    def during(self, activity: str) -> Iterator[None]:
        """Count turns that end in this block for an activity."""
        before, self._now = self._now, activity
        yield
        self._now = before


def measure(flash: Path) -> dict[str, int]:
    """Instructions of the longest turn of each activity, from an empty flash under `flash` on."""
    install(flash)
    with board(flash, HEAP, counting=True) as line:
        turns = Turns(line.world)
        visit(line, turns)
        return turns.longest


def over(longest: dict[str, int]) -> list[str]:
    """Activities whose longest turn is longer than `MOST_MS` allows; one without a bound is over."""
    return [name for name, count in longest.items() if ms(count) > MOST_MS.get(name, 0.0)]


def ms(instructions: int) -> float:
    """Estimated milliseconds."""
    return round(instructions * US_AN_INSTRUCTION / 1000, 1)


def lines(longest: dict[str, int]) -> list[str]:
    """One line for each activity."""
    return [
        f"longest turn, {name}: {ms(count)} ms of {AIM_MS:.0f} ({'met' if ms(count) <= AIM_MS else 'not met'})"
        for name, count in longest.items()
    ]


def visit(line: Line, turns: Turns) -> None:
    """Go through everything once: list, host, key, profile, preset, setting, fill, its record."""
    until(line, "CHOOSE")
    with turns.during("list"):
        line.advance(4.5)  # two collections
    with turns.during("unregistered wheel entered"):
        entered(line)
    client = Client(LockstepTransport(line))
    with turns.during("hello and status"):
        verbs.status(client)
    with turns.during("key enrolled"):
        verbs.enrol_key(client, KEY, lambda _text: confirmed(line))
    with turns.during("profile received"):
        verbs.send_profile(client, profile())
        line.advance(0.5)
    with turns.during("setting stored"):
        verbs.put_setting(client, BUZZER, b"\0")
        line.advance(3.0)
    with turns.during("wheel chosen, armed and filled"):
        line.world.part_full(PART_PA)
        line.press("ENTER")
        filled(line)
        line.world.empty()
        line.advance(1.0)
    with turns.during("session written"):
        line.press("ENTER")
        until(line, "CHOOSE")
        line.advance(WRITTEN_S)
    with turns.during("session fetched"):
        row = verbs.list_sessions(client)[0]
        verbs.client_bytes(client, row["session"], row["bytes"])
    with turns.during("preset received and opened"):
        verbs.send_preset(client, pair_record())
        line.advance(0.5)
        line.press("DOWN")  # the wheel just filled comes first
        line.press("ENTER")
        until(line, "PRESET")


def entered(line: Line) -> None:
    """Choose the unregistered wheel, enter a printed maximum, decline the next question."""
    line.press("ENTER")
    until(line, "PRINTED")
    line.press("UP")
    line.press("ENTER")
    until(line, "ALL THREE")
    line.press("DOWN")
    until(line, "CHOOSE")
