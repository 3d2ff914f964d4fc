"""Buttons as events: one press is one event, however wet the finger."""

RUN = 1
KEY_LOW = 2
KEY_HIGH = 4
CLEAR = 32  # what the main loop adds to the switch word for a person's answers
CONFIRM = 64
BLEED = 128
END_JOB = 256
UP = 512
DOWN = 1024
ENTER = 2048
WORKSHOP = 4096

_LOCKOUT_MS = 120  # after an edge: longer than a bounce, shorter than two deliberate presses
_LONG_MS = 1500


class Buttons:
    """Turns the switch word into presses. `poll` every 10 to 50 ms."""

    def __init__(self):
        self.down = 0
        self._since = 0
        self._edge = -_LOCKOUT_MS
        self._long = 0

    def poll(self, word, now_ms):
        """(bits newly pressed, bits now held for long enough to mean it)."""
        now = word & (UP | DOWN | ENTER | WORKSHOP)
        pressed = 0
        held = 0
        if now != self.down and now_ms - self._edge >= _LOCKOUT_MS:
            pressed = now & ~self.down
            self.down = now
            self._edge = now_ms
            self._since = now_ms
            self._long = 0
        elif now and now == self.down and not self._long and now_ms - self._since >= _LONG_MS:
            held = now
            self._long = 1
        return pressed, held
