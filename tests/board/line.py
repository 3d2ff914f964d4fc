"""The emulated board at the end of a cable: its time passes only while somebody waits for it (`rimward.device.link.LockstepTransport`)."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.board.interpreter import build
from tests.board.world import PERIOD_US, Steps, World

GIVE_UP_S = 60  # of the host's time, for a second of the board's


class Ended(Exception):
    """The board's program ended; the text is what it printed last."""


class Line:
    """A board that runs in a thread of its own, so many ticks at a time as `advance` asks for."""

    owes = False

    def __init__(self, world: World) -> None:
        self.world = world
        self._turn, self._done = threading.Semaphore(0), threading.Semaphore(0)
        self._closed = False
        self._ticks = 0
        world.person = self._steps()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        try:
            self.world.run()
        finally:
            self._closed = True
            self._done.release()

    def _steps(self) -> Steps:
        while not self._closed:
            self._turn.acquire()
            for _ in range(self._ticks):
                yield
            self._done.release()

    @property
    def now_s(self) -> float:
        return self.world.us / 1e6

    def write(self, data: bytes) -> None:
        self.world.received += data

    def read(self) -> bytes:
        data = bytes(self.world.out)
        del self.world.out[: len(data)]
        return data

    def advance(self, seconds: float) -> None:
        """Let so much of the board's time pass. Ended where its program ends."""
        self._ticks = max(1, round(seconds * 1e6 / PERIOD_US))
        self._turn.release()
        if not self._done.acquire(timeout=GIVE_UP_S * (1 + seconds)) or self._closed:
            raise Ended(bytes(self.world.out[-500:]).decode("latin1"))

    def press(self, name: str) -> None:
        """Press a button as a person does, and wait for what it does."""
        self.world.hold(name, True)
        self.advance(0.13)
        self.world.hold(name, False)
        self.advance(0.22)

    def close(self) -> None:
        """End the run."""
        self._closed = True
        self._ticks = 0
        self._turn.release()
        self._thread.join(GIVE_UP_S)


@contextmanager
def board(root: Path, heap: int, counting: bool = False) -> Iterator[Line]:
    """A board with the files under `root`. `counting`: its instructions are counted."""
    world = World(build(), root, heap)
    if counting:
        world.count_instructions()
    line = Line(world)
    try:
        yield line
    finally:
        line.close()
