"""A virtual inflator in real time behind a pseudo-terminal that any serial program can open."""

import os
import time
from collections.abc import Callable
from pathlib import Path

from rimward.errors import Refusal
from rimward.link.ports import virtual_folder
from rimward.plant import PlantParams
from rimward.virtual.inflator import BUTTONS, VirtualInflator, Where
from rimward.virtual.interpreter import Interpreter
from rimward.virtual.process import require_posix

try:
    import pty
    import tty
except ModuleNotFoundError:  # Windows has neither; `require_posix` says so
    pass

PACE_TICKS = 5
MOST_BEHIND_S = 0.5
STARTS_TRIED = 3

# what a person types at a virtual inflator -> what their hands do
WORDS = {
    "hold": "hold the run control",
    "let-go": "let go of it",
    "enter / up / down": "press that button",
    "workshop": "hold the workshop button for ten seconds",
    "key-low / key-high": "turn the range key",
    "attach / detach": "put the hose on, take it off",
    "seen": "what a person would see",
    "end": "switch it off",
}


class Server:
    """Runs a virtual inflator at the pace of the wall clock. `port` is the name to open."""

    def __init__(self, params: PlantParams, interpreter: Interpreter, where: Where, seed: int = 1) -> None:
        require_posix()
        self.master, self._slave = pty.openpty()
        tty.setraw(self._slave)  # before anyone opens it, so that no byte is echoed or translated
        self.port = os.ttyname(self._slave)
        self.inflator = VirtualInflator(params, seed=seed, interpreter=interpreter, where=where, link_fd=self.master)
        self._queue: list[tuple[float, Callable[[], None]]] = []
        self._link: Path | None = None
        self.behind_s = 0.0
        self.more: Callable[[str], bool] | None = None  # takes words of its own first

    def announce(self) -> Path:
        """Leaves a link to the port where `rimward inflators` looks."""
        folder = Path(virtual_folder())
        folder.mkdir(parents=True, exist_ok=True)
        self._link = folder / f"inflator-{os.getpid()}"
        self._link.unlink(missing_ok=True)
        self._link.symlink_to(self.port)
        return self._link

    def close(self) -> None:
        """Ends it and takes the link away."""
        if self._link is not None:
            self._link.unlink(missing_ok=True)
        self.inflator.close()
        os.close(self.master)
        os.close(self._slave)

    def run(self, stop: Callable[[], bool]) -> None:
        """Keeps plant time level with the wall until `stop()` says so. Refusal if the firmware never starts."""
        begin = time.monotonic() - self.inflator.now_s
        while not stop():
            if self.inflator.restarts >= STARTS_TRIED and not self.inflator.started:
                why = self.inflator.last_words or "no message"
                raise Refusal(f"The inflator does not start ({why}).", "If --state names its flash, give another file or take that one away.")
            self._due()
            lead = self.inflator.now_s - (time.monotonic() - begin)
            if lead > 0:
                time.sleep(min(lead, 0.01))
                continue
            if lead < -MOST_BEHIND_S:
                self.behind_s -= lead
                begin -= lead  # a machine that slept does not make up for it
            for _ in range(PACE_TICKS):
                self.inflator.tick()

    def _due(self) -> None:
        now = self.inflator.now_s
        for row in [row for row in self._queue if row[0] <= now]:
            self._queue.remove(row)
            row[1]()

    def later(self, seconds: float, act: Callable[[], None]) -> None:
        """Does something after so much plant time."""
        self._queue.append((self.inflator.now_s + seconds, act))

    def order(self, word: str) -> str:
        """What a person's word does; gives what to print. Refusal for a word that is none."""
        hands = self.inflator.hands
        if self.more is not None and self.more(word):
            return self.seen()
        if word in BUTTONS:
            hands.held.add(word)
            self.later(10.0 if word == "workshop" else 0.2, lambda: hands.held.discard(word))
        elif word in ("hold", "let-go"):
            hands.run = word == "hold"
        elif word in ("key-low", "key-high"):
            hands.range_high = word == "key-high"
        elif word in ("attach", "detach"):
            hands.attached = word == "attach"
        elif word != "seen":
            raise Refusal(f"`{word}` is nothing a person can do here.", f"Say one of: {', '.join(WORDS)}.")
        return self.seen()

    def seen(self) -> str:
        """The world in one line."""
        plant, hands = self.inflator.plant, self.inflator.hands
        return (
            f"true tyre {plant.tyre_pa / 1e5:.2f} bar, hose {plant.manifold_pa / 1e5:.2f} bar, air {'on' if self.inflator.powered else 'off'}, "
            f"run {'held' if hands.run else 'open'}, key {'high' if hands.range_high else 'low'}, hose {'on' if hands.attached else 'off'}"
        )
