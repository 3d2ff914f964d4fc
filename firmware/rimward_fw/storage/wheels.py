"""Profiles of the known wheels: one record for each wheel, and the issue numbers that keep old profiles from coming back.

A record holds flags, the highest issue number, the facts a person last confirmed, and the profile (empty once deleted). A full table drops
the wheel with the lowest issue number and raises the floor to that number: a wheel that is not in the table needs a number above the
floor. A change of key leaves all this as it is. Main loop only.
"""

import struct

from rimward_protocol import codes, layout, replies
from rimward_protocol.compat import TYPE_CHECKING, sha256

from rimward_fw.storage import records

if TYPE_CHECKING:
    from typing import Any

    from rimward_protocol.shapes import Record

    from rimward_fw.storage.store import Store


WHEELS_MAX = 200
FACTS = (
    "ceiling_pa",
    "limit_pa",
    "volume_low_ml",
    "volume_ml",
    "rim_class",
    "chuck",
    "position",
    "tyre_width_dmm",
    "bead_seat_mm",
)
CONFIRMED, FAR = 1, 2

_HEAD = "<BI"  # flags, highest issue
_FACTS = "<IIHHBBBHH"
_FACTS_AT = struct.calcsize(_HEAD)
_PROFILE_AT = _FACTS_AT + struct.calcsize(_FACTS)
_NO_FACTS = (0,) * len(FACTS)
_WHEEL_ID = layout.index(layout.PROFILE, "wheel_id")
_ISSUE = layout.index(layout.PROFILE, "issue")
_PROFILE_FORMAT = layout.struct_format(layout.PROFILE)
_PROFILE_BYTES = layout.size(layout.PROFILE)


class Row:
    """One wheel: `flags`, `issue` (highest seen), `facts` (tuple as FACTS, or None), `data`."""

    def __init__(self, body: bytes) -> None:
        self.flags, self.issue = struct.unpack_from(_HEAD, body, 0)
        facts = struct.unpack_from(_FACTS, body, _FACTS_AT)
        self.facts = facts if facts != _NO_FACTS else None
        self.data = body[_PROFILE_AT:]


class Wheels:
    """The table of a `Store`."""

    def __init__(self, store: "Store") -> None:
        self.store = store
        self._seen: "Any" = None  # wheel id -> highest issue, negative without a profile: only small integers for 200 wheels

    def begin(self, rows: list[tuple[str, bytes]]) -> None:
        """Load the table from the records found at boot: (file name, body)."""
        self._seen = {}
        for name, body in rows:
            wheel = wheel_of(name)
            if wheel and is_row(body):
                self._note(wheel, Row(body))

    def _note(self, wheel: bytes, row: "Row") -> None:
        self._seen[bytes(wheel)] = max(row.issue, 1) * (1 if row.data else -1)

    def _table(self) -> dict[bytes, int]:
        if self._seen is None:
            self._seen = {}
            for name in records.names(self._folder()):
                wheel = wheel_of(name)
                if wheel and wheel not in self._seen:
                    row = self.row(wheel)
                    if row:
                        self._note(wheel, row)
        return self._seen

    def _folder(self) -> str:
        return self.store.folder + "/p"

    def _path(self, wheel: bytes) -> str:
        return self._folder() + "/" + bytes(wheel).hex()

    def _held(self, wheel: bytes) -> tuple[bytes, int, int] | None:
        held = records.read(self._path(wheel))
        return held if held and is_row(held[0]) else None

    def row(self, wheel: bytes) -> "Row | None":
        """Row of a wheel; None for one that is not in the table."""
        held = self._held(wheel)
        return Row(held[0]) if held else None

    def list(self) -> list[bytes]:
        """Sorted wheel ids with a profile."""
        table = self._table()
        return sorted([wheel for wheel in table if table[wheel] > 0])

    def get(self, wheel: bytes) -> tuple[bytes, int, bool] | None:
        """Return (bytes, slot, confirmed by a person) or None."""
        held = self._held(wheel)
        if not held:
            return None
        row = Row(held[0])
        confirmed = row.flags & (CONFIRMED | FAR) == CONFIRMED
        return (row.data, held[2], confirmed) if row.data else None

    def floor(self) -> int:
        """Highest issue number of the dropped wheels."""
        return self.store.number("floor")

    def least_issue(self, wheel: bytes) -> int:
        """Return the number that the issue number of this wheel's next profile must exceed."""
        row = self.row(wheel)
        return row.issue if row else self.floor()

    def is_far(self, issue: int) -> bool:
        """Return True for an issue number so far above all seen ones that a person has to consent."""
        table = self._table()
        top = self.floor()
        for wheel in table:
            top = max(top, abs(table[wheel]))
        return issue - top > codes.ISSUE_FAR

    def put(self, data: bytes, confirmed: bool, far: bool = False) -> tuple[int, int, bytes]:
        """Store a checked profile. Return (code, slot, SHA-256 of the bytes read back). A far issue number counts once it is confirmed."""
        if len(data) != _PROFILE_BYTES:
            return replies.PROFILE_SIZE, 0, b""
        values = struct.unpack_from(_PROFILE_FORMAT, data, 0)
        wheel, issue = values[_WHEEL_ID], values[_ISSUE]
        table = self._table()
        if wheel not in table and len(table) >= WHEELS_MAX:
            code = self._make_way()
            if code:
                return code, 0, b""
        row = self.row(wheel)
        highest = max(row.issue if row else 0, 0 if far else issue)
        flags = (CONFIRMED if confirmed and not far else 0) | (FAR if far else 0)
        facts = (
            facts_of(data) if confirmed and not (row and row.facts) else row.facts if row else None
        )
        code = self._write(wheel, flags, highest, facts, bytes(data))
        if code:
            return code, 0, b""
        back = self.get(wheel)
        if back is None or back[0] != data:
            return replies.READ_BACK_DIFFERS, 0, b""
        return replies.OK, back[1], sha256(back[0])

    def _make_way(self) -> int:
        """Drop the wheel with the lowest issue number, those without a profile first. The floor rises before the wheel is deleted."""
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

    def _write(
        self, wheel: bytes, flags: int, issue: int, facts: tuple[int, ...] | None, data: bytes
    ) -> int:
        head = struct.pack(_HEAD, flags, issue)
        code = self.store.write(
            self._path(wheel), head + struct.pack(_FACTS, *(facts or _NO_FACTS)) + data
        )
        if code == replies.OK:
            self._table()[bytes(wheel)] = max(issue, 1) * (1 if data else -1)
        return code

    def confirm(self, wheel: bytes) -> int:
        """Record that a person confirmed the present profile of this wheel."""
        row = self.row(wheel)
        if not row or not row.data:
            return replies.NOT_FOUND
        issue = struct.unpack_from(_PROFILE_FORMAT, row.data, 0)[_ISSUE]
        return self._write(wheel, CONFIRMED, max(row.issue, issue), facts_of(row.data), row.data)

    def delete(self, wheel: bytes) -> int:
        """Delete a profile and its confirmed facts, never the highest issue number."""
        if self.store.locked():
            return replies.BUSY_FILLING
        row = self.row(wheel)
        if not row or not row.data:
            return replies.NOT_FOUND
        return self._write(wheel, 0, row.issue, None, b"")


def facts_of(data: bytes) -> tuple[int, ...]:
    """Facts of a profile that a person confirms, as FACTS."""
    values = layout.unpack(layout.PROFILE, data)
    return tuple([values[name] for name in FACTS])


def loosened(facts: "Any", values: "Record") -> "Any":
    """Names of FACTS whose change needs a person's consent: higher pressure or volume, other rim class, chuck, position or size."""
    found = []
    for i, name in enumerate(FACTS):
        if values[name] > facts[i] or (i > 3 and values[name] != facts[i]):
            found.append(name)
    return found


def is_row(body: bytes) -> bool:
    """Return True for the body of a wheel's record."""
    return len(body) in (_PROFILE_AT, _PROFILE_AT + _PROFILE_BYTES)


def wheel_of(name: str) -> bytes | None:
    """Wheel id of a file name, or None."""
    try:
        wheel = bytes.fromhex(name.split(".")[0])
    except ValueError:
        return None
    return wheel if len(wheel) == 8 else None
