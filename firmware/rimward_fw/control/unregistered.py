"""Questions about an unregistered wheel: the tyre's printed maximum, rim and tyre facts, the target. Answered at the inflator only."""

from rimward_protocol import codes, replies
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.control import builtin, fill_modes, sense
from rimward_fw.ui import buttons

if TYPE_CHECKING:
    from rimward_fw.control.cycle import FillCycle
    from rimward_fw.shapes import App

PRINTED, APPROVAL, TARGET = codes.WAIT_PRINTED_MAXIMUM, codes.WAIT_APPROVAL, codes.WAIT_TARGET
TARGET_LEAST_PA = 30_000


class Entry:
    """Answers so far. `step`: pending question (WAITINGS), 0 none."""

    def __init__(self, app: "App") -> None:
        self.app = app
        self.step = 0
        self.printed_pa = 0
        self.target_pa = 0

    def begin(self) -> None:
        """Start with the first question; nothing is kept from a wheel entered before."""
        self.step = PRINTED
        self.printed_pa = 0
        self.target_pa = 0

    def value(self) -> int:
        """Pressure that the display shows large, Pa; 0 before the first entry."""
        return (
            self.printed_pa
            if self.step == PRINTED
            else self.target_pa
            if self.step == TARGET
            else 0
        )

    def highest_pa(self) -> int:
        """Highest target that arming accepts for this tyre here, Pa."""
        app = self.app
        here = {"ambient_pa": app.ambient_pa(), "t0_ck": app.air_ck(), "guard_pa": app.guard_pa()}
        return fill_modes.highest_target_pa(builtin.values_of(self.printed_pa), app.hardware, here)

    def pressed(self, bits: int) -> int:
        """Handle a press. Return 1 once everything is entered, -1 when declined, else 0."""
        yes, no, up = bits & buttons.ENTER, bits & buttons.DOWN, bits & buttons.UP
        if self.step == APPROVAL:
            if yes:
                self.step = TARGET
            return -1 if no else 0
        if self.step == PRINTED:
            if up or no:
                self.printed_pa = builtin.entered(
                    self.printed_pa, up, builtin.PRINTED_MIN_PA, builtin.PRINTED_MAX_PA
                )
            elif yes and self.printed_pa:
                self.step = APPROVAL
            return 0
        if up or no:
            self.target_pa = builtin.entered(self.target_pa, up, TARGET_LEAST_PA, self.highest_pa())
        return 1 if yes and self.target_pa else 0

    def profile(self) -> bytes:
        """Bytes of the entered profile."""
        return builtin.profile(self.printed_pa, self.target_pa, self.app.air_ck())

    def choose(self, cycle: "FillCycle") -> int:
        """Select the unregistered wheel. Return a reply code."""
        if self.app.store.setting_get(sense.ENTRY)[0] == b"\0":
            return replies.ENTRY_OFF
        self.begin()
        return cycle.choose(
            bytes(8), builtin.profile(builtin.PRINTED_MIN_PA, TARGET_LEAST_PA), False
        )
