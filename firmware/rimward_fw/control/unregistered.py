"""Questions about a wheel that no profile names: the tyre's printed maximum, what rim and tyre are, the target. Answered at the inflator only."""

from rimward_protocol import codes, replies

from rimward_fw.control import builtin, fill_modes, sense
from rimward_fw.ui import buttons

PRINTED, APPROVAL, TARGET = codes.WAIT_PRINTED_MAXIMUM, codes.WAIT_APPROVAL, codes.WAIT_TARGET
TARGET_LEAST_PA = 30_000


class Entry:
    """What has been entered so far. `step`: which question is asked (WAITINGS), 0 none."""

    def __init__(self, app):
        self.app = app
        self.step = 0
        self.printed_pa = 0
        self.target_pa = 0

    def begin(self):
        """Ask from the start: what was entered for the wheel before says nothing of this one."""
        self.step = PRINTED
        self.printed_pa = 0
        self.target_pa = 0

    def value(self):
        """What the display shows large, Pa; 0 where nothing is entered yet."""
        return self.printed_pa if self.step == PRINTED else self.target_pa if self.step == TARGET else 0

    def highest_pa(self):
        """The highest target that arming takes for this tyre here and now."""
        app = self.app
        here = {"ambient_pa": app.ambient_pa(), "t0_ck": app.air_ck(), "guard_pa": app.guard_pa()}
        return fill_modes.highest_target_pa(builtin.values_of(self.printed_pa), app.hardware, here)

    def pressed(self, bits):
        """Take a press. 1 once everything is entered, -1 when the person says no, else 0."""
        yes, no, up = bits & buttons.ENTER, bits & buttons.DOWN, bits & buttons.UP
        if self.step == APPROVAL:
            if yes:
                self.step = TARGET
            return -1 if no else 0
        if self.step == PRINTED:
            if up or no:
                self.printed_pa = builtin.entered(self.printed_pa, up, builtin.PRINTED_MIN_PA, builtin.PRINTED_MAX_PA)
            elif yes and self.printed_pa:
                self.step = APPROVAL
            return 0
        if up or no:
            self.target_pa = builtin.entered(self.target_pa, up, TARGET_LEAST_PA, self.highest_pa())
        return 1 if yes and self.target_pa else 0

    def profile(self):
        """The bytes of the profile that was entered."""
        return builtin.profile(self.printed_pa, self.target_pa, self.app.air_ck())

    def choose(self, cycle):
        """Begin a visit with an unregistered wheel. Gives a reply code."""
        if self.app.store.setting_get(sense.ENTRY)[0] == b"\0":
            return replies.ENTRY_OFF
        self.begin()
        return cycle.choose(bytes(8), builtin.profile(builtin.PRINTED_MIN_PA, TARGET_LEAST_PA), False)
