"""Words of a person for a virtual inflator, and scripts of them."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from rimward.base.errors import Refusal
from rimward.base.units import parse_reading
from rimward.simulation.virtual.inflator import BUTTONS

SHORT_S, LONG_S, WORKSHOP_S = (
    0.2,
    2.0,
    0.5,
)  # duration of a press; the firmware takes 1.5 s for a long press
GAP_S = 0.4  # pause between two lines of a script, besides the time of the first
MOST_WAIT_S = 86_400.0

# word -> act
WORDS = {
    "hold": "hold the run control",
    "let-go": "release it",
    "enter / up / down": "press that button",
    "enter long / ...": "hold this button for two seconds",
    "workshop": "press the workshop button: confirm the request on the display",
    "key-low / key-high": "turn the range key",
    "attach / detach": "put the hose on, take it off",
    "pump PRESSURE": "put a hand pump with its gauge on the hose and bring it there, as `pump 3.5 bar`; `pump 0` opens it",
    "bleed": "hold DOWN until let-go",
    "seen": "show what a person would see",
    "help": "list these words",
    "end": "switch it off",
}
PLAIN = (
    "hold",
    "let-go",
    "key-low",
    "key-high",
    "attach",
    "detach",
    "bleed",
    "seen",
    "help",
    "end",
)

__all__ = ["BUTTONS", "LONG_S", "SHORT_S", "WORDS", "WORKSHOP_S", "Script"]


@dataclass
class Script:
    """Lines of words, run one after the other in plant time. `wait SECONDS` passes time; `#` begins a comment."""

    rows: list[tuple[float, str]]  # delay before it, the word
    _due_s: float = field(default=0.0, init=False)
    _at: int = field(default=0, init=False)

    def due(self, now_s: float) -> Iterator[str]:
        """Words that are due."""
        while self._at < len(self.rows):
            after, word = self.rows[self._at]
            if now_s < self._due_s + after:
                return
            self._due_s = now_s
            self._at += 1
            yield word


def read_script(path: Path, known: Callable[[str], bool] | None = None) -> Script:
    """Read the script of a file. Refusal with the line's number for an unknown word; `known` accepts further words."""
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as failed:
        raise Refusal(
            f"{path} cannot be read.", "Use a text file with one word a line."
        ) from failed
    rows: list[tuple[float, str]] = []
    after = 0.0
    for number, line in enumerate(lines, 1):
        word = " ".join(line.partition("#")[0].split())
        if word.startswith("wait "):
            after += _seconds(path, number, word[5:])
        elif word:
            if not (is_word(word) or (known is not None and known(word))):
                raise Refusal(
                    f"{path}, line {number}: `{word}` is not a known word.",
                    f"Use {', '.join(WORDS)}, or `wait SECONDS`.",
                )
            rows.append((after, word))
            after = GAP_S + (LONG_S if word.endswith(" long") else SHORT_S)
    return Script(rows)


def is_word(word: str) -> bool:
    """Return True if this is one of WORDS."""
    button, _, long = word.partition(" ")
    return (
        word in PLAIN
        or (button in BUTTONS and long in ("", "long"))
        or (button == "pump" and _is_pressure(long))
    )


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
        raise Refusal(
            f"{path}, line {number}: `wait {text}` has no valid time.",
            "Write it as `wait 5`, in seconds.",
        )
    return seconds
