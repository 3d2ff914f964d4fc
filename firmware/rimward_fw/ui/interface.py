"""User interface: display, three buttons, buzzer. Main loop only."""

from rimward_protocol import codes, replies
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.control.duty import Duty
from rimward_fw.control.pair import Pair
from rimward_fw.ui import buttons
from rimward_fw.ui.chooser import Chooser
from rimward_fw.ui.display import DisplayView

if TYPE_CHECKING:
    from typing import Any

    from rimward_fw.shapes import App


_FILL_BEEP = 4
_TRIP_TICKS = 256  # half a period, about every half second


class Interface:
    """User interface of one App. `pressed` handles presses, `work` runs ten times a second."""

    def __init__(self, app: "App") -> None:
        self.app = app
        self.chooser = Chooser(app)
        self.duty = Duty()
        self.service = False  # the service page replaces the list of wheels
        self.pair: "Any" = (
            None  # a preset is open: its wheels are selected until UP returns to the list
        )
        self.psi_first = False
        self.buzzer = True
        self.view = DisplayView(app)

    def settings(self, buzzer: bytes, unit: bytes) -> None:
        """Load the two display settings; unset values keep the built-in ones."""
        self.buzzer = buzzer != b"\x00"
        self.psi_first = unit == b"\x01"

    def pressed(self, bits: int, held: int) -> None:
        """Pass presses to the screen in control. A long UP in the list of wheels opens the service page, UP closes it."""
        cycle = self.app.cycle
        if self.app.consent.what:
            self.app.consent.pressed(bits)
        elif self.service:
            self.service = not bits & buttons.UP
        elif cycle.phase or self.app.engine.g[slots.G_CAUSE]:
            cycle.pressed(bits)
        elif self.pair:
            self._paired(bits)
        elif held & buttons.UP:
            self.service = True
        elif bits:
            self.chooser.pressed(bits)

    def open_pair(self, preset_id: bytes) -> None:
        """Show a preset's two wheels."""
        self.pair = Pair(self.app, preset_id)
        self.app.refusal = self.pair.code

    def _paired(self, bits: int) -> None:
        """Handle presses on a preset: ENTER selects the front wheel, DOWN the rear one, UP goes back; an unusable preset is also left by
        ENTER.
        """
        pair = self.pair
        if bits & buttons.UP or (pair.code and bits & buttons.ENTER):
            self.pair = None
        elif bits & (buttons.ENTER | buttons.DOWN) and not pair.code:
            code = pair.choose(0 if bits & buttons.ENTER else 1)
            if code not in (replies.OK, replies.WAITING_FOR_PERSON):
                pair.code = self.app.refusal = code

    def work(self) -> bool:
        """Update list of wheels, duty, buzzer and picture. Return True if the picture takes one more turn."""
        e = self.app.engine
        listing = self.app.cycle.phase == 0 and not self.pair
        if listing != self.chooser.open:
            if listing:
                self.chooser.begin()
            else:
                self.chooser.close()
            self.service = False
        on = codes.OUT_GATE | codes.OUT_RELAY
        self.duty.work(e.out & on == on, self.app.board.ticks_ms())
        self.app.board.beep(
            bool(
                self.buzzer
                and (e.out >> 8 & _FILL_BEEP or (e.g[slots.G_CAUSE] and e.head & _TRIP_TICKS))
            )
        )
        return self.view.work()
