"""Requests of a host that need a person's consent: one at a time, named on the display, confirmed by the workshop button.

Only a press after the request counts: a button held before it confirms nothing. DOWN declines; so does a timeout.
Main loop only.
"""

from rimward_protocol import codes, replies
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.control import events
from rimward_fw.ui import buttons

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from rimward_fw.shapes import App


ANSWER_MS, READ_MS = 60_000, 150
_CLOCK = 0x3FFFFFFF
NOBODY = bytes(8)


class Consent:
    """The pending request, if any: `what` (WAITINGS), `wheel`, `value`, `text` for the display."""

    def __init__(self, app: "App") -> None:
        self.app = app
        self.what = codes.WAIT_NOTHING
        self.wheel = NOBODY
        self.value = 0
        self.text = ""
        self._act: "Any" = None
        self._since = 0

    def ask(
        self, what: int, text: str, act: "Callable[..., Any]", value: int = 0, wheel: bytes = NOBODY
    ) -> int:
        """Show a request on the display; `act()` carries it out once confirmed. Return WAITING_FOR_PERSON, or the reason why it is not
        shown now.
        """
        if self.app.cycle.armed():
            return replies.BUSY_FILLING
        if self.what:
            return replies.PERSON_BUSY
        self.what, self.text, self._act, self.value, self.wheel = what, text, act, value, wheel
        self._since = self.app.board.ticks_ms()
        return replies.WAITING_FOR_PERSON

    def work(self) -> None:
        """Decline a request that has timed out. Each turn of the main loop."""
        if self.what and (self.app.board.ticks_ms() - self._since) & _CLOCK > ANSWER_MS:
            self._end(0)

    def pressed(self, bits: int) -> None:
        """Handle a press while a request is pending; presses too early to have read the display are ignored."""
        if (self.app.board.ticks_ms() - self._since) & _CLOCK < READ_MS:
            return
        if bits & buttons.WORKSHOP:
            act = self._act
            self._end(1)
            act()
        elif bits & buttons.DOWN:
            self._end(0)

    def _end(self, answer: int) -> None:
        self.app.note(events.ANSWER, 0, self.what, answer)
        self.what, self._act, self.text, self.value, self.wheel = (
            codes.WAIT_NOTHING,
            None,
            "",
            0,
            NOBODY,
        )
