"""Buttons: presses debounced and counted by the tick, so that none is lost while the main loop is busy."""

from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from array import array

RUN = 1
KEY_LOW = 2
KEY_HIGH = 4
CLEAR = 32  # set by the main loop in the switch word for a person's answers
CONFIRM = 64
BLEED = 128
END_JOB = 256
UP = 512
DOWN = 1024
ENTER = 2048
WORKSHOP = 4096

_COUNTERS = (
    (slots.T_PRESS_UP, UP),
    (slots.T_PRESS_DOWN, DOWN),
    (slots.T_PRESS_ENTER, ENTER),
    (slots.T_PRESS_WORKSHOP, WORKSHOP),
)


class Buttons:
    """Presses and long presses to be handled. `t`: words of the tick."""

    def __init__(self, t: "array[int]") -> None:
        self._t = t
        self._seen = [t[word] for word, _ in _COUNTERS]
        self._long_seen = t[slots.T_LONG_COUNT]

    def poll(self) -> tuple[int, int]:
        """Return (newly pressed bits, bits held long enough for a long press). One press of each button at a time."""
        pressed = 0
        held = 0
        for i, (word, bit) in enumerate(_COUNTERS):
            if self._t[word] != self._seen[i]:
                self._seen[i] += 1
                pressed |= bit
        if not pressed and self._t[slots.T_LONG_COUNT] != self._long_seen:
            self._long_seen = self._t[slots.T_LONG_COUNT]
            held = self._t[slots.T_LONG_BITS]
        return pressed, held
