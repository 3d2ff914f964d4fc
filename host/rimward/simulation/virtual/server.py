"""Virtual inflator in real time behind a pseudo-terminal that any serial program can open."""

import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from rimward.base.errors import Refusal
from rimward.base.units import parse_reading, show_reading
from rimward.device.link import tuning
from rimward.device.link.ports import virtual_folder
from rimward.simulation.plant import PlantParams
from rimward.simulation.plant import layout as k
from rimward.simulation.plant.kept import is_kept
from rimward.simulation.virtual.inflator import VirtualInflator, Where
from rimward.simulation.virtual.interpreter import Interpreter
from rimward.simulation.virtual.orders import BUTTONS, LONG_S, SHORT_S, WORDS, WORKSHOP_S, Script
from rimward.simulation.virtual.process import require_posix
from rimward.simulation.virtual.setup import set_up

try:
    import pty
    import tty
except ModuleNotFoundError:  # Windows has neither; `require_posix` reports it
    pass

PACE_TICKS = 5
PUMP_MOST_PA = 1_100_000
MOST_BEHIND_S = 0.5
STARTS_TRIED = 3
COMPLAINTS_TICKS = 250
START_TICKS = (
    2_500  # 5 s of plant time; a firmware that has not answered by then is named all the same
)
SETTLED_S = 0.3  # after its first answer, until it serves the link
SLOW_S = 5.0
SLOW_SHARE = 0.8  # of real time


def hand_pump(inflator: VirtualInflator, pa: int) -> None:
    """Put a hand pump on the hose instead of the wheel and bring it to `pa` gauge; its hose has no valve core. 0: open to the air."""
    if not 0 <= pa <= PUMP_MOST_PA:
        raise Refusal(
            f"The hand pump goes from 0 to {PUMP_MOST_PA / 1e5:g} bar.",
            "Use a pressure in this range.",
        )
    inflator.plant.P[k.P_PIN] = 1.0
    inflator.hands.attached = pa > 0
    inflator.plant.set_tyre(float(pa))


class Server:
    """Run a virtual inflator at the pace of the wall clock. `port`: name to open."""

    def __init__(
        self, params: PlantParams, interpreter: Interpreter, where: Where, seed: int = 1
    ) -> None:
        require_posix()
        self.master, self._slave = pty.openpty()
        tty.setraw(self._slave)  # before anyone opens it, so that no byte is echoed or translated
        self.port = os.ttyname(self._slave)
        self.inflator = VirtualInflator(
            params, seed=seed, interpreter=interpreter, where=where, link_fd=self.master
        )
        self._queue: list[tuple[float, Callable[[], None]]] = []
        self._link: Path | None = None
        self.behind_s = 0.0
        self.more: Callable[[str], bool] | None = None  # handles its own words first
        self.words = dict(WORDS)
        self.truth = False  # `seen` also shows facts known only to the plant
        self.pumped = False  # a hand pump is on the hose
        self.ended = False  # a person has switched it off
        self.script: Script | None = None
        self.does: Callable[[str], Any] = self.order  # source of a script's words
        self.face: Callable[[bytes], None] | None = None  # gets each new picture of the display
        self._faced = b""
        self.warn: Callable[[str], None] = lambda _line: (
            None
        )  # gets what stops the firmware's work, once
        self._warned = False
        self._late_from: tuple[float, float] | None = None  # wall and plant time
        self._late_said = False

    def take(self, specimen: Any) -> None:
        """Put a specimen on a bench: it handles its own words and reacts to the pressure."""
        self.more = specimen.order
        self.words.update(specimen.words)
        self.inflator.watchers.append(specimen.tick)

    def set_source(self, value: bytes) -> None:
        """Set the inflator to its air source, as its owner does once. Before anyone opens the port."""
        set_up(self.inflator, self._slave, {tuning.SOURCE: value})

    def announce(self) -> Path:
        """Link the port where `rimward inflators` looks."""
        folder = Path(virtual_folder())
        folder.mkdir(parents=True, exist_ok=True)
        self._link = folder / f"inflator-{os.getpid()}"
        self._link.unlink(missing_ok=True)
        self._link.symlink_to(self.port)
        return self._link

    def close(self) -> None:
        """End it and remove the link."""
        if self._link is not None:
            self._link.unlink(missing_ok=True)
        self.inflator.close()
        os.close(self.master)
        os.close(self._slave)

    def start(self) -> None:
        """Let the firmware start, so that its port answers once it is named, however slow this computer is. Refusal if it never starts."""
        for _ in range(START_TICKS):
            self._require_start()
            if self.inflator.started:
                self.inflator.advance(SETTLED_S)
                return
            self.inflator.tick()

    def _require_start(self) -> None:
        if self.inflator.restarts >= STARTS_TRIED and not self.inflator.started:
            why = self.inflator.last_words or "no message"
            raise Refusal(
                f"The inflator does not start ({why}).",
                "If --state names its flash, use another file or delete it.",
            )

    def _late(self, wall_s: float) -> None:
        """Say once, after SLOW_S of wall time, that this computer runs the simulated inflator slower than real time."""
        plant_s = self.inflator.now_s
        if self._late_from is None:
            self._late_from = (wall_s, plant_s)
        passed_s = wall_s - self._late_from[0]
        if self._late_said or passed_s < SLOW_S:
            return
        share = (plant_s - self._late_from[1]) / passed_s
        if share > SLOW_SHARE:  # a machine that was asleep, or busy for a moment
            self._late_from = None
            return
        self._late_said = True
        faster = "" if is_kept() else " Run `rimward demo` once: it compiles the simulated world."
        self.warn(
            f"rimward: This computer runs the virtual inflator at {share:.2f} of real time: all of it takes longer, nothing is lost.{faster}"
        )

    def run(self, stop: Callable[[], bool]) -> None:
        """Keep plant time level with the wall until `stop()` returns true or a person ends it. Refusal if the firmware never starts."""
        begin = time.monotonic() - self.inflator.now_s
        while not stop() and not self.ended:
            self._require_start()
            self._due()
            lead = self.inflator.now_s - (time.monotonic() - begin)
            if lead > 0:
                time.sleep(min(lead, 0.01))
                continue
            if lead < -MOST_BEHIND_S:
                self.behind_s -= lead
                self._late(time.monotonic())
                begin -= lead  # no catching up after the machine slept
            for _ in range(PACE_TICKS):
                self.inflator.tick()

    def _due(self) -> None:
        now = self.inflator.now_s
        for row in [row for row in self._queue if row[0] <= now]:
            self._queue.remove(row)
            row[1]()
        self._complaints()
        if self.script is not None:
            for word in self.script.due(now):
                self.does(word)
        shown = self.picture()
        if self.face is not None and shown and shown is not self._faced:
            self._faced = shown
            self.face(shown)

    def _complaints(self) -> None:
        """Pass on, once, that the firmware runs without its file system: the port answers nothing then."""
        firmware = self.inflator.firmware
        if self._warned or firmware is None or self.inflator.ticks % COMPLAINTS_TICKS >= PACE_TICKS:
            return
        words = firmware.complaint()
        if "OSError" in words:
            self._warned = True
            flash = self.inflator.where.flash
            self.warn(
                f"rimward: The flash {flash or 'in memory'} holds no file system that mounts ({words}): the inflator writes nothing and answers nothing. "
                "End it; then give --state another file, or delete this one to start empty."
            )

    def picture(self) -> bytes:
        """Return the display's 1,024 bytes as last sent by the firmware; None before."""
        return self.inflator.firmware.display if self.inflator.firmware is not None else b""

    def later(self, seconds: float, act: Callable[[], None]) -> None:
        """Do something after this plant time."""
        self._queue.append((self.inflator.now_s + seconds, act))

    def order(self, word: str) -> str:
        """Execute a person's word and return the text to print. Refusal for an unknown word."""
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
            raise Refusal(f"`{word}` is not a known word.", f"Use one of: {', '.join(self.words)}.")
        return self.seen()

    def _press(self, button: str, seconds: float) -> None:
        self.inflator.hands.held.add(button)
        self.later(seconds, lambda: self.inflator.hands.held.discard(button))

    def seen(self) -> str:
        """Return what a person sees and hears beside the display, in one line; with `truth` the plant's true values first."""
        plant, hands = self.inflator.plant, self.inflator.hands
        true = (
            f"true tyre {plant.tyre_pa / 1e5:.2f} bar, hose {abs(plant.manifold_pa) / 1e5:.2f} bar, "
            if self.truth
            else ""
        )
        key = "bench" if hands.range_bench else "high" if hands.range_high else "low"
        gauge = f"gauge of the hand pump {show_reading(plant.manifold_pa)}, " if self.pumped else ""
        return (
            f"{true}{gauge}air {'on' if self.inflator.powered else 'off'}, "
            f"run {'held' if hands.run else 'open'}, key {key}, hose {'on' if hands.attached else 'off'}"
        )
