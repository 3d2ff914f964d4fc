"""A person at the emulated board: fills of an unregistered wheel, one after the other, with what the display says at each step."""

import re
from dataclasses import asdict, dataclass, field

from tests.board.world import Steps, World

SETTLE = 110  # ticks after a press until the display shows what it did
PRESS = 65
PRINTED_BAR, TARGET_BAR = 5.0, 2.5
FILL_TICKS, SCREEN_TICKS = 75_000, 2_500
REST_TICKS, TAKE_OFF = 1500, 500


@dataclass
class Fill:
    """One fill. `end`: what the display said; `free_least`: least heap that was free, before a collection."""

    end: str
    seconds: float
    tyre_pa: int
    free_least: int
    free_after: int


@dataclass
class Seen:
    """What was seen of a run. `idle`: heap after a collection: used, free, largest piece."""

    start_s: float = 0.0
    idle: tuple[int, int, int] = (0, 0, 0)
    filling_free: int = 1 << 30
    fills: list[Fill] = field(default_factory=list)

    def as_json(self) -> dict[str, object]:
        return asdict(self)


class Lost(Exception):
    """The display did not show what a person waits for; the text says what it shows."""


def wait(world: World, ticks: int) -> Steps:
    for _ in range(ticks):
        yield


def wait_for(world: World, words: str, ticks: int = SCREEN_TICKS) -> Steps:
    """Wait until the display shows a pattern. Lost after so many ticks."""
    for _ in range(ticks // 10):
        if re.search(words, world.shown()):
            yield from wait(world, 20)
            return
        yield from wait(world, 10)
    raise Lost(f"{words!r} did not come; shown:\n{world.shown()}")


def press(world: World, name: str) -> Steps:
    world.hold(name, True)
    yield from wait(world, PRESS)
    world.hold(name, False)
    yield from wait(world, SETTLE)


def heap(world: World) -> Steps:
    world.ask_heap = True
    yield from wait(world, 2)


def raise_to(world: World, bar: float) -> Steps:
    """Press UP until the large figure is `bar`."""
    for _ in range(20):
        found = re.search(r"^([0-9.]+) bar", world.shown(), re.MULTILINE)
        if found and float(found[1]) >= bar:
            return
        yield from press(world, "UP")
    raise Lost(f"{bar} bar cannot be entered; shown:\n{world.shown()}")


def choose_and_arm(world: World) -> Steps:
    """Go through the questions about an unregistered wheel, up to `hold RUN`."""
    yield from press(world, "ENTER")
    yield from wait_for(world, "PRINTED")
    yield from raise_to(world, PRINTED_BAR)
    yield from press(world, "ENTER")
    yield from wait_for(world, "ALL THREE")
    yield from press(world, "ENTER")
    yield from wait_for(world, "TARGET")
    yield from raise_to(world, TARGET_BAR)
    yield from press(world, "ENTER")
    for _ in range(10):
        yield from wait_for(world, "an hour|TEMPERATURE|hold RUN")
        if "hold RUN" in world.shown():
            return
        yield from press(world, "ENTER")
    raise Lost(f"no fill was armed; shown:\n{world.shown()}")


def fill(world: World, seen: Seen) -> Steps:
    """Hold RUN to the end, answer the bead question, note what happened, go back to the list."""
    began, least, after = world.us, 1 << 30, 0
    world.hold("RUN", True)
    for n in range(FILL_TICKS // 25):
        shown = world.shown()
        if "BEAD" in shown:
            world.hold("RUN", False)
            yield from press(world, "ENTER")
            world.hold("RUN", True)
        if re.search("DONE|STOPPED|TRIPPED", shown):
            break
        if n % 2 == 0:
            yield from heap(world)
            least = min(least, world.heap_now[1])
        yield from wait(world, 25)
    world.hold("RUN", False)
    yield from wait(world, TAKE_OFF)
    end, seconds, tyre = world.shown().split("\n")[0], (world.us - began) / 1e6, int(world.tyre_pa)
    world.empty()
    for _ in range(REST_TICKS // 100):  # the greatest of these counts follows a collection
        yield from heap(world)
        after = max(after, world.heap_now[1])
        yield from wait(world, 100)
    seen.fills.append(Fill(end, seconds, tyre, least, after))
    for _ in range(4):
        if "CHOOSE" in world.shown():
            return
        yield from press(world, "ENTER" if "ENTER:" in world.shown() else "DOWN")
    yield from wait_for(world, "CHOOSE")


def idle(world: World, seen: Seen) -> Steps:
    """Wait for the list of wheels, then for some collections; the count with most free memory followed one."""
    yield from wait_for(world, "CHOOSE")
    seen.start_s = world.us / 1e6
    for _ in range(100):
        yield from heap(world)
        seen.idle = max(seen.idle, world.heap_now, key=lambda row: row[1])
        yield from wait(world, 20)


def fills(world: World, seen: Seen, count: int) -> Steps:
    """Start, rest, and fill so many times."""
    yield from idle(world, seen)
    for _ in range(count):
        world.empty()
        yield from choose_and_arm(world)
        yield from fill(world, seen)
