"""Choosing at the inflator: wheels and presets in a list by last use, two lines each, the unregistered wheel last. Three buttons, no link needed."""

from rimward_protocol import layout

from rimward_fw.control.cycle import NOBODY
from rimward_fw.storage import recent
from rimward_fw.ui import buttons
from rimward_fw.ui import display_numbers as show

ENTRIES = 3
_POSITIONS = ("", "F ", "R ")


class Chooser:
    """The list and the mark in it. `begin` when the list comes up; `pressed` takes presses while it is shown."""

    def __init__(self, app):
        self.app = app
        self.wheels = []
        self.presets = []
        self.at = 0
        self.open = False
        self._rows = None  # of the entries shown: read once for each place of the mark

    def begin(self):
        """Read the stored wheels."""
        self.open = True
        store = self.app.store
        self.presets = store.presets.list()
        self.wheels = recent.ordered(store, self.presets + store.profile_list())
        self.wheels.append(NOBODY)
        self.at = min(self.at, len(self.wheels) - 1)
        self._rows = None

    def close(self):
        """Forget the list."""
        self.open = False
        self.wheels = []
        self.presets = []
        self._rows = None

    def pressed(self, bits):
        """UP and DOWN move the mark, ENTER takes the wheel or opens the preset. Gives the code of choosing a wheel, else None."""
        if not self.open:
            return None
        self._rows = None
        if bits & buttons.UP:
            self.at = (self.at - 1) % len(self.wheels)
        elif bits & buttons.DOWN:
            self.at = (self.at + 1) % len(self.wheels)
        elif bits & buttons.ENTER:
            one, self.at = self.wheels[self.at], 0  # next time it is the first
            if one in self.presets:
                self.app.interface.open_pair(one)
            else:
                return self.app.choose(one)
        return None

    def _entry(self, wheel):
        """Label; then position, tyre size and ceiling. Of a preset the rider."""
        if wheel == NOBODY:
            return "not registered", ""
        if wheel in self.presets:
            values = layout.unpack(layout.PRESET, self.app.store.presets.get(wheel) or b"")
            return show.label(values["rider"]) if values else "damaged", "front and rear"
        found = self.app.store.profile_get(wheel)
        values = layout.unpack(layout.PROFILE, found[0]) if found else None
        if not values:
            return "damaged", "send it again"
        size = _POSITIONS[values["position"]] + str(values["tyre_width_dmm"] // 10) + "-" + str(values["bead_seat_mm"])
        ceiling = show.limit(values["ceiling_pa"], self.app.interface.psi_first)
        room = 15 - len(size)
        return show.label(values["label"]), size + " " + (ceiling if len(ceiling) <= room else ceiling.replace(" ", ""))[:room]

    def shown(self):
        """(line, marked) of the rows that fit."""
        if self._rows is None and self.open:
            first = max(0, min(self.at - ENTRIES // 2, len(self.wheels) - ENTRIES))
            self._rows = []
            for i in range(first, min(first + ENTRIES, len(self.wheels))):
                self._rows += [(line, i == self.at) for line in self._entry(self.wheels[i])]
        return self._rows or ()
