"""Profiles of the wheels this inflator knows: one record a wheel, and the issue numbers that keep old profiles from coming back.

A record holds flags, the highest issue number, what a person last confirmed, and the profile (nothing once it was deleted). When the table is full the wheel with the lowest issue number makes way, and the floor rises to that number: a wheel that is not
in the table needs one above the floor. Another key changes none of this. Main loop only.
"""

import struct

from rimward_protocol import codes, layout, profile, replies
from rimward_protocol.compat import sha256

from rimward_fw.storage import records

WHEELS_MAX = 200
FACTS = ("ceiling_pa", "limit_pa", "volume_low_ml", "volume_ml", "rim_class", "chuck", "position", "tyre_width_dmm", "bead_seat_mm")
CONFIRMED, FAR = 1, 2

_HEAD = "<BI"  # flags, highest issue
_FACTS = "<IIHHBBBHH"
_FACTS_AT = struct.calcsize(_HEAD)
_PROFILE_AT = _FACTS_AT + struct.calcsize(_FACTS)
_NO_FACTS = (0,) * len(FACTS)
_WHEEL_ID = layout.index(layout.PROFILE, "wheel_id")
_ISSUE = layout.index(layout.PROFILE, "issue")


class Row:
    """One wheel: `flags`, `issue` (highest seen), `facts` (tuple as FACTS, or None), `data`, `slot`."""

    def __init__(self, body, slot):
        self.flags, self.issue = struct.unpack_from(_HEAD, body, 0)
        facts = struct.unpack_from(_FACTS, body, _FACTS_AT)
        self.facts = facts if facts != _NO_FACTS else None
        self.data = body[_PROFILE_AT:]
        self.slot = slot


class Wheels:
    """The table of a `Store`."""

    def __init__(self, store):
        self.store = store
        self._seen = None  # wheel id -> highest issue, negative without a profile: nothing but small integers for 200 wheels

    def begin(self, rows):
        """Take the table from the records found at boot: (file name, body)."""
        self._seen = {}
        for name, body in rows:
            wheel = wheel_of(name)
            if wheel and is_row(body):
                self._note(wheel, Row(body, 0))

    def _note(self, wheel, row):
        self._seen[bytes(wheel)] = max(row.issue, 1) * (1 if row.data else -1)

    def _table(self):
        if self._seen is None:
            self._seen = {}
            for name in records.names(self._folder()):
                wheel = wheel_of(name)
                if wheel and wheel not in self._seen:
                    row = self.row(wheel)
                    if row:
                        self._note(wheel, row)
        return self._seen

    def _folder(self):
        return self.store.folder + "/p"

    def _path(self, wheel):
        return self._folder() + "/" + bytes(wheel).hex()

    def row(self, wheel):
        """The Row of a wheel; None for one that the table does not hold."""
        held = records.read(self._path(wheel))
        return Row(held[0], held[2]) if held and is_row(held[0]) else None

    def list(self):
        """Wheels with a profile, sorted."""
        table = self._table()
        return sorted([wheel for wheel in table if table[wheel] > 0])

    def get(self, wheel):
        """(bytes, slot, confirmed by a person) or None."""
        row = self.row(wheel)
        return (row.data, row.slot, row.flags & (CONFIRMED | FAR) == CONFIRMED) if row and row.data else None

    def floor(self):
        """Highest issue number of the wheels that made way."""
        return self.store.number("floor")

    def least_issue(self, wheel):
        """What the issue number of this wheel's next profile must lie above."""
        row = self.row(wheel)
        return row.issue if row else self.floor()

    def is_far(self, issue):
        """True for an issue number so far above all seen that a person has to agree."""
        table = self._table()
        top = self.floor()
        for wheel in table:
            top = max(top, abs(table[wheel]))
        return issue - top > codes.ISSUE_FAR

    def put(self, data, confirmed, far=False):
        """Store a checked profile: (code, slot, SHA-256 of the bytes read back). The number of a far one counts once it is confirmed."""
        if len(data) != profile.PROFILE_BYTES:
            return replies.PROFILE_SIZE, 0, b""
        values = struct.unpack_from(profile.FORMAT, data, 0)
        wheel, issue = values[_WHEEL_ID], values[_ISSUE]
        table = self._table()
        if wheel not in table and len(table) >= WHEELS_MAX:
            code = self._make_way()
            if code:
                return code, 0, b""
        row = self.row(wheel)
        highest = max(row.issue if row else 0, 0 if far else issue)
        flags = (CONFIRMED if confirmed and not far else 0) | (FAR if far else 0)
        facts = facts_of(data) if confirmed and not (row and row.facts) else row.facts if row else None
        code = self._write(wheel, flags, highest, facts, bytes(data))
        if code:
            return code, 0, b""
        back = self.get(wheel)
        if back is None or back[0] != data:
            return replies.READ_BACK_DIFFERS, 0, b""
        return replies.OK, back[1], sha256(back[0])

    def _make_way(self):
        """Drop the wheel with the lowest issue number, those without a profile first. The floor rises before it is gone."""
        table = self._table()
        _held, issue, wheel = min([(table[one] > 0, abs(table[one]), one) for one in table])
        if issue > self.floor():
            code = self.store.number_put("floor", issue)
            if code:
                return code
        if self.store.locked():
            return replies.BUSY_FILLING
        for slot in (0, 1):
            if not records.remove_file(self._path(wheel) + "." + str(slot)):
                return replies.STORE_FULL
        del table[wheel]
        self.store.dropped = issue
        return replies.OK

    def _write(self, wheel, flags, issue, facts, data):
        head = struct.pack(_HEAD, flags, issue)
        code = self.store.write(self._path(wheel), head + struct.pack(_FACTS, *(facts or _NO_FACTS)) + data)
        if code == replies.OK:
            self._table()[bytes(wheel)] = max(issue, 1) * (1 if data else -1)
        return code

    def confirm(self, wheel):
        """Keep that a person confirmed this wheel as its profile is now."""
        row = self.row(wheel)
        if not row or not row.data:
            return replies.NOT_FOUND
        issue = struct.unpack_from(profile.FORMAT, row.data, 0)[_ISSUE]
        return self._write(wheel, CONFIRMED, max(row.issue, issue), facts_of(row.data), row.data)

    def delete(self, wheel):
        """Forget a profile and what was confirmed, never the highest issue number."""
        if self.store.locked():
            return replies.BUSY_FILLING
        row = self.row(wheel)
        if not row or not row.data:
            return replies.NOT_FOUND
        return self._write(wheel, 0, row.issue, None, b"")


def facts_of(data):
    """What a person confirms of a profile, as FACTS."""
    values = layout.unpack(layout.PROFILE, data)
    return tuple([values[name] for name in FACTS])


def loosened(facts, values):
    """Names of FACTS that would need a person's yes: higher pressures or volumes, another rim class, chuck, position or size."""
    found = []
    for i, name in enumerate(FACTS):
        if values[name] > facts[i] or (i > 3 and values[name] != facts[i]):
            found.append(name)
    return found


def is_row(body):
    """True for the body of a wheel's record."""
    return len(body) in (_PROFILE_AT, _PROFILE_AT + profile.PROFILE_BYTES)


def wheel_of(name):
    """Wheel id of a file name, or None."""
    try:
        wheel = bytes.fromhex(name.split(".")[0])
    except ValueError:
        return None
    return wheel if len(wheel) == 8 else None
