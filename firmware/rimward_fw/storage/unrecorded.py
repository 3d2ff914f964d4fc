"""Events outside a session: kept on flash until the next record begins with them. Main loop only.

A key, a setting, a deletion, a refusal and the answers before arming belong to a record that does not exist yet. Thirty-two are kept; what
comes beyond them drops the oldest.
"""

import struct

from rimward_protocol import replies

KEPT = 32
_EVENT = "<IBBii"  # tick, event, cause, value, value2
_BYTES = struct.calcsize(_EVENT)


class Unrecorded:
    """Events that wait. `note` any time, `keep` while nothing moves, `take` when a session begins."""

    def __init__(self, store):
        self.store = store
        held = store.get("told")
        self._rows = held[0] if held and len(held[0]) % _BYTES == 0 else b""
        self._changed = False

    def note(self, tick, event, cause, value, value2):
        """Keep one event."""
        self._rows = (self._rows + struct.pack(_EVENT, tick, event, cause, value, value2))[-KEPT * _BYTES :]
        self._changed = True

    def keep(self):
        """Write them once, if anything changed."""
        if self._changed and self.store.put("told", self._rows) == replies.OK:
            self._changed = False

    def take(self):
        """All of them, oldest first: (event, cause, value, value2). They are gone from here."""
        rows = [struct.unpack_from(_EVENT, self._rows, at)[1:] for at in range(0, len(self._rows), _BYTES)]
        self._changed = bool(self._rows)
        self._rows = b""
        return rows
