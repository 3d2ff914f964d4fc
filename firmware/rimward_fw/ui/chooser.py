"""Selection list at the inflator: wheels and presets by last use, two lines each, the unregistered wheel last. Three buttons, no link
needed.
"""

from rimward_protocol import layout
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.control.phases import NOBODY
from rimward_fw.storage import recent
from rimward_fw.ui import buttons
from rimward_fw.ui import display_numbers as show

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from rimward_fw.shapes import App


ENTRIES = 3
_POSITIONS = ("", "F ", "R ")


class Chooser:
    """List and cursor. `begin` when the list appears; `pressed` handles presses while it is shown."""

    def __init__(self, app: "App") -> None:
        self.app = app
        self.wheels: list[bytes] = []
        self.presets: list[bytes] = []
        self.at = 0
        self.open = False
        self._rows: "list[tuple[str, bool]] | None" = (
            None  # entries shown: read once for each cursor position
        )

    def begin(self) -> None:
        """Read the stored wheels."""
        self.open = True
        store = self.app.store
        self.presets = store.presets.list()
        self.wheels = recent.ordered(store, self.presets + store.profile_list())
        self.wheels.append(NOBODY)
        self.at = min(self.at, len(self.wheels) - 1)
        self._rows = None

    def close(self) -> None:
        """Drop the list."""
        self.open = False
        self.wheels = []
        self.presets = []
        self._rows = None

    def pressed(self, bits: int) -> int | None:
        """Handle a press: UP and DOWN move the cursor, ENTER selects the wheel or opens the preset. Return the code of selecting a
        wheel, else None.
        """
        if not self.open:
            return None
        self._rows = None
        if bits & buttons.UP:
            self.at = (self.at - 1) % len(self.wheels)
        elif bits & buttons.DOWN:
            self.at = (self.at + 1) % len(self.wheels)
        elif bits & buttons.ENTER:
            one, self.at = self.wheels[self.at], 0  # the list then starts at the top
            if one in self.presets:
                self.app.interface.open_pair(one)
            else:
                return self.app.choose(one)
        return None

    def _entry(self, wheel: bytes) -> tuple[str, str]:
        """Return the label; then position, tyre size and ceiling, or of a preset the rider."""
        if wheel == NOBODY:
            return "not registered", ""
        if wheel in self.presets:
            values = layout.unpack(layout.PRESET, self.app.store.presets.get(wheel) or b"")
            return show.label(values["rider"]) if values else "damaged", "front and rear"
        found = self.app.store.profile_get(wheel)
        values = layout.unpack(layout.PROFILE, found[0]) if found else None
        if not values:
            return "damaged", "send it again"
        size = (
            _POSITIONS[values["position"]]
            + str(values["tyre_width_dmm"] // 10)
            + "-"
            + str(values["bead_seat_mm"])
        )
        ceiling = show.limit(values["ceiling_pa"], self.app.interface.psi_first)
        room = 15 - len(size)
        return show.label(values["label"]), size + " " + (
            ceiling if len(ceiling) <= room else ceiling.replace(" ", "")
        )[:room]

    def shown(self) -> "Sequence[Any]":
        """Return (line, marked) of the visible rows."""
        if self._rows is None and self.open:
            first = max(0, min(self.at - ENTRIES // 2, len(self.wheels) - ENTRIES))
            self._rows = []
            for i in range(first, min(first + ENTRIES, len(self.wheels))):
                self._rows += [(line, i == self.at) for line in self._entry(self.wheels[i])]
        return self._rows or ()
