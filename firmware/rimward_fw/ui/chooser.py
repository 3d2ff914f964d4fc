"""Choosing a wheel at the inflator: the stored wheels in a list, the unregistered one last. Three buttons, no link needed."""

from rimward_protocol import layout

from rimward_fw.control.cycle import NOBODY
from rimward_fw.ui import buttons

ROWS = 6


class Chooser:
    """The list and the mark in it. `begin` when the list comes up; `pressed` takes presses while it stands there."""

    def __init__(self, app):
        self.app = app
        self.wheels = []
        self.names = []
        self.at = 0
        self.open = False

    def begin(self):
        """Reads the stored wheels anew."""
        self.open = True
        self.wheels = self.app.store.profile_list()
        self.names = [self._name(wheel) for wheel in self.wheels]
        self.wheels.append(NOBODY)
        self.names.append("not registered")
        self.at = min(self.at, len(self.wheels) - 1)

    def close(self):
        """Lets the list go."""
        self.open = False
        self.wheels = []
        self.names = []

    def _name(self, wheel):
        found = self.app.store.profile_get(wheel)
        values = layout.unpack(layout.PROFILE, found[0]) if found else None
        return str(bytes(values["label"]).rstrip(b"\0"), "utf-8")[:16] if values else "damaged"

    def pressed(self, bits):
        """UP and DOWN move the mark, ENTER takes the wheel. Gives the code of choosing, None if nothing was chosen."""
        if not self.open:
            return None
        if bits & buttons.UP:
            self.at = (self.at - 1) % len(self.wheels)
        elif bits & buttons.DOWN:
            self.at = (self.at + 1) % len(self.wheels)
        elif bits & buttons.ENTER:
            return self.app.choose(self.wheels[self.at])
        return None

    def shown(self):
        """(name, marked) of the rows that fit."""
        first = max(0, min(self.at - ROWS // 2, len(self.names) - ROWS))
        return [(self.names[i], i == self.at) for i in range(first, min(first + ROWS, len(self.names)))]
