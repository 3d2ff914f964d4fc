"""Events outside a session: kept on flash until the next record begins with them. Main loop only.

Events of keys, settings, deletions, refusals and answers before arming belong to a record that does not exist yet. Thirty-two are kept;
further ones drop the oldest.
"""

import struct

from rimward_protocol import replies
from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from rimward_fw.storage.store import Store

KEPT = 32
_EVENT = "<IBBii"  # tick, event, cause, value, value2
_BYTES = struct.calcsize(_EVENT)


class Unrecorded:
    """Events that wait. `note` at any time, `keep` while no air moves, `take` when a session begins."""

    def __init__(self, store: "Store") -> None:
        self.store = store
        held = store.get("events")
        self._rows = held[0] if held and len(held[0]) % _BYTES == 0 else b""
        self._changed = False

    def note(self, tick: int, event: int, cause: int, value: int, value2: int) -> None:
        """Note one event."""
        self._rows = (self._rows + struct.pack(_EVENT, tick, event, cause, value, value2))[
            -KEPT * _BYTES :
        ]
        self._changed = True

    def keep(self) -> None:
        """Write the events once, if they changed."""
        if self._changed and self.store.put("events", self._rows) == replies.OK:
            self._changed = False

    def take(self) -> list[tuple[int, int, int, int]]:
        """Remove and return all events, oldest first: (event, cause, value, value2)."""
        rows = [
            struct.unpack_from(_EVENT, self._rows, at)[1:]
            for at in range(0, len(self._rows), _BYTES)
        ]
        self._changed = bool(self._rows)
        self._rows = b""
        return rows
