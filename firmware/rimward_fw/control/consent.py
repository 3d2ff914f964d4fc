"""Requests of a host that a person has to agree to at the inflator: one at a time, named on the display, confirmed by the workshop button.

Only a press after the request has come counts: a button held beforehand confirms nothing. DOWN declines; so does no answer in time.
Main loop only.
"""

from rimward_protocol import codes, replies

from rimward_fw.control import events, sense
from rimward_fw.ui import buttons

ANSWER_MS, READ_MS = 60_000, 150
_CLOCK = 0x3FFFFFFF
NOBODY = bytes(8)

# what the display names; {} is the value, written by `setting_text`
TEXTS = {
    sense.CALIBRATION_A: "calibration A {}",
    sense.CALIBRATION_B: "calibration B {}",
    sense.GUARD_BAND: "guard band {}",
    sense.BAROMETER: "barometer {}",
    sense.SOURCE: "air source {}",
    sense.AIR: "air thermometer {}",
    sense.ENTRY: "unregistered wheels {}",
    sense.BRING_UP: "bring-up {}",
    sense.BASELINE: "vent baseline {}",
}


class Consent:
    """The request that waits, if any: `what` (WAITINGS), `wheel`, `value`, `text` for the display."""

    def __init__(self, app):
        self.app = app
        self.what = codes.WAIT_NOTHING
        self.wheel = NOBODY
        self.value = 0
        self.text = ""
        self._act = None
        self._since = 0

    def ask(self, what, text, act, value=0, wheel=NOBODY):
        """Name a request on the display. `act()` carries it out once it is confirmed. WAITING_FOR_PERSON, or why it is not asked now."""
        if self.app.cycle.armed():
            return replies.BUSY_FILLING
        if self.what:
            return replies.PERSON_BUSY
        self.what, self.text, self._act, self.value, self.wheel = what, text, act, value, wheel
        self._since = self.app.board.ticks_ms()
        return replies.WAITING_FOR_PERSON

    def work(self):
        """Each turn of the main loop: no answer in time is a no."""
        if self.what and (self.app.board.ticks_ms() - self._since) & _CLOCK > ANSWER_MS:
            self._end(0)

    def pressed(self, bits):
        """Presses at the inflator while a request waits; too soon to have read the display they count for nothing."""
        if (self.app.board.ticks_ms() - self._since) & _CLOCK < READ_MS:
            return
        if bits & buttons.WORKSHOP:
            act = self._act
            self._end(1)
            act()
        elif bits & buttons.DOWN:
            self._end(0)

    def _end(self, answer):
        self.app.note(events.ANSWER, 0, self.what, answer)
        self.what, self._act, self.text, self.value, self.wheel = codes.WAIT_NOTHING, None, "", 0, NOBODY


def setting_text(number, numbers):
    """A setting's new value in the words of the display. `numbers`: as unpacked from its bytes."""
    first = numbers[0]
    if number in (sense.CALIBRATION_A, sense.CALIBRATION_B):
        shown = "gain " + thousandth(first * 125 // 8192) + " offset " + str(numbers[1]) + " Pa"
    elif number == sense.SOURCE:
        shown = "line " + str(numbers[2] // 1000) + " kPa" if first else "compressor " + str(numbers[1] // 1000) + " L/min"
    elif number in (sense.ENTRY,):
        shown = "may be filled" if first else "are refused"
    else:
        shown = str(first) + {sense.BRING_UP: "", sense.BASELINE: " ms", sense.AIR: " cK"}.get(number, " Pa")
    return TEXTS[number].replace("{}", shown)


def thousandth(value):
    """A count of thousandths as a number with three decimals."""
    return str(value // 1000) + "." + ("00" + str(value % 1000))[-3:]
