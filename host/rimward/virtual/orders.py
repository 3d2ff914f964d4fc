"""What a person can say to a virtual inflator: the words, and scripts of them."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from rimward.errors import Refusal
from rimward.units import parse_reading
from rimward.virtual.inflator import BUTTONS

SHORT_S, LONG_S, WORKSHOP_S = 0.2, 2.0, 0.5  # how long a button is held; the firmware takes 1.5 s for a long press
GAP_S = 0.4  # between two lines of a script, beside what the first one takes
MOST_WAIT_S = 86_400.0

# what a person types -> what their hands do
WORDS = {
    "hold": "hold the run control",
    "let-go": "let go of it",
    "enter / up / down": "press that button",
    "enter long / ...": "hold that button for two seconds",
    "workshop": "press the workshop button: yes to what the display names",
    "key-low / key-high": "turn the range key",
    "attach / detach": "put the hose on, take it off",
    "pump PRESSURE": "put a hand pump with its gauge on the hose and bring it there, as `pump 3.5 bar`; `pump 0` opens it",
    "bleed": "hold DOWN until let-go",
    "seen": "what a person would see",
    "help": "these words",
    "end": "switch it off",
}
PLAIN = ("hold", "let-go", "key-low", "key-high", "attach", "detach", "bleed", "seen", "help", "end")

__all__ = ["BUTTONS", "LONG_S", "SHORT_S", "WORDS", "WORKSHOP_S", "Script"]


@dataclass
class Script:
    """Lines of words, done one after the other in plant time. `wait SECONDS` lets time pass; `#` begins a comment."""

    rows: list[tuple[float, str]]  # how long to wait before it, the word
    _due_s: float = field(default=0.0, init=False)
    _at: int = field(default=0, init=False)

    def due(self, now_s: float) -> Iterator[str]:
        """The words whose time has come."""
        while self._at < len(self.rows):
            after, word = self.rows[self._at]
            if now_s < self._due_s + after:
                return
            self._due_s = now_s
            self._at += 1
            yield word


def read_script(path: Path, known: Callable[[str], bool] | None = None) -> Script:
    """The script of a file. Refusal, with the line's number, for a line that is no word; `known` says which others are words."""
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as failed:
        raise Refusal(f"{path} cannot be read.", "Give a text file with one word a line.") from failed
    rows: list[tuple[float, str]] = []
    after = 0.0
    for number, line in enumerate(lines, 1):
        word = " ".join(line.partition("#")[0].split())
        if word.startswith("wait "):
            after += _seconds(path, number, word[5:])
        elif word:
            if not (is_word(word) or (known is not None and known(word))):
                raise Refusal(f"{path}, line {number}: `{word}` is nothing a person can do here.", f"Use {', '.join(WORDS)}, or `wait SECONDS`.")
            rows.append((after, word))
            after = GAP_S + (LONG_S if word.endswith(" long") else SHORT_S)
    return Script(rows)


def is_word(word: str) -> bool:
    """Whether this is one of WORDS."""
    button, _, long = word.partition(" ")
    return word in PLAIN or (button in BUTTONS and long in ("", "long")) or (button == "pump" and _is_pressure(long))


def _is_pressure(text: str) -> bool:
    try:
        parse_reading(text)
    except Refusal:
        return False
    return True


def _seconds(path: Path, number: int, text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = -1.0
    if not 0 <= seconds <= MOST_WAIT_S:
        raise Refusal(f"{path}, line {number}: `wait {text}` gives no time.", "Write it as `wait 5`, in seconds.")
    return seconds
