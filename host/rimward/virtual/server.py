"""A virtual inflator in real time behind a pseudo-terminal that any serial program can open."""

import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from rimward.errors import Refusal
from rimward.link import tuning
from rimward.link.ports import virtual_folder
from rimward.plant import PlantParams
from rimward.plant import layout as k
from rimward.units import parse_reading, show_reading
from rimward.virtual.inflator import VirtualInflator, Where
from rimward.virtual.interpreter import Interpreter
from rimward.virtual.orders import BUTTONS, LONG_S, SHORT_S, WORDS, WORKSHOP_S, Script
from rimward.virtual.process import require_posix
from rimward.virtual.setup import set_up

try:
    import pty
    import tty
except ModuleNotFoundError:  # Windows has neither; `require_posix` says so
    pass

PACE_TICKS = 5
PUMP_MOST_PA = 1_100_000
MOST_BEHIND_S = 0.5
STARTS_TRIED = 3


def hand_pump(inflator: VirtualInflator, pa: int) -> None:
    """Puts a hand pump on the hose in place of the wheel and brings it to `pa` gauge; its hose holds no valve shut. 0: open to the air."""
    if not 0 <= pa <= PUMP_MOST_PA:
        raise Refusal(f"The hand pump goes from 0 to {PUMP_MOST_PA / 1e5:g} bar.", "Give a pressure in that range.")
    inflator.plant.P[k.P_PIN] = 1.0
    inflator.hands.attached = pa > 0
    inflator.plant.set_tyre(float(pa))


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
        self.words = dict(WORDS)
        self.truth = False  # `seen` gives what only the plant knows, too
        self.pumped = False  # a hand pump is on the hose
        self.ended = False  # a person has switched it off
        self.script: Script | None = None
        self.does: Callable[[str], Any] = self.order  # takes a script's words
        self.face: Callable[[bytes], None] | None = None  # gets each new picture of the display
        self._faced = b""

    def take(self, specimen: Any) -> None:
        """Put a specimen on a bench: it takes words of its own and acts as the pressure gets there."""
        self.more = specimen.order
        self.words.update(specimen.words)
        self.inflator.watchers.append(specimen.tick)

    def set_source(self, value: bytes) -> None:
        """Set the inflator to its air source, as its owner does once. Before anyone opens the port."""
        set_up(self.inflator, self._slave, {tuning.SOURCE: value})

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
        """Keep plant time level with the wall until `stop()` says so or a person ends it. Refusal if the firmware never starts."""
        begin = time.monotonic() - self.inflator.now_s
        while not stop() and not self.ended:
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
        if self.script is not None:
            for word in self.script.due(now):
                self.does(word)
        shown = self.picture()
        if self.face is not None and shown and shown is not self._faced:
            self._faced = shown
            self.face(shown)

    def picture(self) -> bytes:
        """The display's 1,024 bytes as the firmware sent them last; none before it did."""
        return self.inflator.firmware.display if self.inflator.firmware is not None else b""

    def later(self, seconds: float, act: Callable[[], None]) -> None:
        """Do something after so much plant time."""
        self._queue.append((self.inflator.now_s + seconds, act))

    def order(self, word: str) -> str:
        """Do what a person's word says; gives what to print. Refusal for a word that is none."""
        hands = self.inflator.hands
        button, _, long = word.partition(" ")
        if self.more is not None and self.more(word):
            return self.seen()
        if button in BUTTONS and long in ("", "long"):
            self._press(button, WORKSHOP_S if button == "workshop" else LONG_S if long else SHORT_S)
        elif word.startswith("pump "):
            hand_pump(self.inflator, parse_reading(word[5:]))
            self.pumped = True
        elif word in ("hold", "let-go"):
            hands.run = word == "hold"
            hands.held.discard("down")
        elif word == "bleed":
            hands.held.add("down")
        elif word in ("key-low", "key-high"):
            hands.range_high = word == "key-high"
        elif word in ("attach", "detach"):
            hands.attached = word == "attach"
        elif word == "help":
            return "\n".join(f"  {name:20} {meaning}" for name, meaning in self.words.items())
        elif word == "end":
            self.ended = True
        elif word != "seen":
            raise Refusal(f"`{word}` is nothing a person can do here.", f"Say one of: {', '.join(self.words)}.")
        return self.seen()

    def _press(self, button: str, seconds: float) -> None:
        self.inflator.hands.held.add(button)
        self.later(seconds, lambda: self.inflator.hands.held.discard(button))

    def seen(self) -> str:
        """What a person sees and hears beside the display, in one line; with `truth` what the plant knows, first."""
        plant, hands = self.inflator.plant, self.inflator.hands
        true = f"true tyre {plant.tyre_pa / 1e5:.2f} bar, hose {abs(plant.manifold_pa) / 1e5:.2f} bar, " if self.truth else ""
        gauge = f"gauge of the hand pump {show_reading(plant.manifold_pa)}, " if self.pumped else ""
        return (
            f"{true}{gauge}air {'on' if self.inflator.powered else 'off'}, "
            f"run {'held' if hands.run else 'open'}, key {'high' if hands.range_high else 'low'}, hose {'on' if hands.attached else 'off'}"
        )
