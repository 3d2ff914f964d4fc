"""Persistent store: profiles, settings, key and trips in two copies, and sessions. Main loop only.

Nothing is written while `locked()` is true. No function raises: a damaged file leads to the other copy, or to a reply code. Folders:
`p` one record for each wheel ever stored, `s` all other records, `l` sessions.
"""

import os
import struct

from rimward_protocol import replies
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.storage import presets, records
from rimward_fw.storage.sessionfiles import SYNC_BYTES, SessionFiles
from rimward_fw.storage.wheels import Wheels

if TYPE_CHECKING:
    from collections.abc import Callable

    from rimward_protocol.shapes import Buffer, Record

    from rimward_fw.storage.presets import Presets


TRIPS_KEPT = 16
SETTING_MAX = 64
KEY_BYTES = 32
RECORD_BLOCKS = 4  # the file system may split a folder and replace a block for one record
RESERVE_BLOCKS = 16  # sessions leave this much free for all else, or an eighth of a smaller flash

_TRIP = "<BBIIIIi"
_TRIP_BYTES = struct.calcsize(_TRIP)
_TRIP_FIELDS = ("cause", "state", "boot", "tick", "session", "unix_s", "value")


class Store:
    """Records and sessions in one folder."""

    def __init__(
        self,
        folder: str,
        locked: "Callable[[], bool]",
        feed: "Callable[[], object]" = records.nothing,
    ) -> None:
        """`locked()`: true while nothing may be written; `feed()` is called between flash operations."""
        self.folder = folder
        self.locked = locked
        self.feed = feed
        self.sessions = SessionFiles(folder + "/l", locked, self._trip_sessions)
        self.damaged = 0  # records without a valid copy, found at boot
        self.wheels = Wheels(self)
        self.failing = 0  # code of the last write, where flash refused it
        self.dropped = 0  # issue number of a displaced wheel, until it is recorded
        self._late: list[bytes] = []

    def boot(self) -> int:
        """Repair files after a power cut and count this start. Return the number of this start."""
        for name in ("p", "s", "l", "r"):
            records.make_folder(self.folder + "/" + name)
        self._mend("s")
        self._mend("r")
        self.wheels.begin(self._mend("p"))
        boots = self.number("boots") + 1
        self.number_put("boots", boots)
        return boots

    def _mend(self, part: str) -> list[tuple[str, bytes]]:
        """Repair the records of one folder. Return [(name, body)]. Names are listed once: each look into a full folder reads all of it."""
        found = []
        folder = self.folder + "/" + part
        there = set(records.names(folder))
        for name in sorted(set([name.split(".")[0] for name in there])):
            if name + records.ASIDE in there:
                records.remove_file(folder + "/" + name + records.ASIDE)
            if name + ".0" in there or name + ".1" in there:
                body = records.repair(folder + "/" + name)
                if body is None:
                    self.damaged += 1
                else:
                    found.append((name, body))
        return found

    def close(self) -> int:
        """Close open files."""
        return self.sessions.close()

    # Records

    def get(self, name: str) -> tuple[bytes, int, int] | None:
        """Return (body, revision, slot) of a small record, or None."""
        return records.read(self.folder + "/s/" + name)

    def number(self, name: str) -> int:
        """Return the number kept under a name; 0 if there is none."""
        held = self.get(name)
        return struct.unpack("<I", held[0])[0] if held and len(held[0]) == 4 else 0

    def number_put(self, name: str, value: int) -> int:
        """Store a number under a name."""
        return self.put(name, struct.pack("<I", value))

    def put(self, name: str, body: bytes) -> int:
        """Replace a small record."""
        return self.write(self.folder + "/s/" + name, body)

    def write(self, path: str, body: bytes) -> int:
        """Replace a record anywhere in the store; sessions are dropped to make room."""
        if self.locked():
            return replies.BUSY_FILLING
        self.make_room(0, RECORD_BLOCKS)
        return self._result(records.write(path, body, self.feed))

    def _result(self, code: int) -> int:
        """Remember whether flash took the last write."""
        if code != replies.BUSY_FILLING:
            self.failing = code if code in (replies.STORE_FULL, replies.READ_BACK_DIFFERS) else 0
        return code

    def takes_writes(self) -> bool:
        """Return False if flash refused the last write and refuses a small one now. Not while the pump may run."""
        return not self.failing or self.number_put("boots", self.number("boots")) in (
            replies.OK,
            replies.BUSY_FILLING,
        )

    def keeps_records(self) -> bool:
        """Return True if flash takes writes and a session's first piece fits, old sessions dropped where needed."""
        return self.takes_writes() and self.make_room(2 * SYNC_BYTES, self._reserve())

    def make_room(self, count: int, spare: int, writing: int = 0) -> bool:
        """Drop sessions, never the one being written, until `count` bytes fit and `spare` blocks stay free. True if they do."""
        while not self._fits(count, spare):
            number = self.sessions.expendable(writing)
            if number == 0 or self.session_delete(number) != replies.OK:
                return False
            self.feed()
        return True

    def _fits(self, count: int, spare: int) -> bool:
        try:
            row = os.statvfs(self.folder)
        except OSError:
            return False
        free = (
            row[3] if row[3] <= row[2] else 0
        )  # littlefs counts folders twice: a full flash then reports less than none free
        return free >= spare + (count + row[1] - 1) // row[1]

    def _reserve(self) -> int:
        try:
            return min(RESERVE_BLOCKS, max(RECORD_BLOCKS, os.statvfs(self.folder)[2] // 8))
        except OSError:
            return RESERVE_BLOCKS

    # Profiles

    def profile_list(self) -> list[bytes]:
        """Sorted wheel ids with a profile."""
        return self.wheels.list()

    def profile_get(self, wheel: bytes) -> tuple[bytes, int, bool] | None:
        """Return (bytes, slot, confirmed by a person) or None."""
        return self.wheels.get(wheel)

    def profile_put(
        self, data: bytes, confirmed: bool, far: bool = False
    ) -> tuple[int, int, bytes]:
        """Store a checked profile. Return (code, slot, SHA-256 of the bytes read back)."""
        return self.wheels.put(data, confirmed, far)

    def profile_confirm(self, wheel: bytes) -> int:
        """Record that a person confirmed this wheel."""
        return self.wheels.confirm(wheel)

    def profile_delete(self, wheel: bytes) -> int:
        """Delete a profile but keep the highest issue number seen."""
        return self.wheels.delete(wheel)

    @property
    def presets(self) -> "Presets":
        """Presets of this store."""
        return presets.Presets(self)

    # Settings and key

    def setting_get(self, number: int) -> tuple[bytes, int]:
        """Return (bytes, revision); empty and 0 for an unset value."""
        held = self.get("n" + str(number))
        return (held[0], held[1]) if held else (b"", 0)

    def setting_put(self, number: int, value: bytes) -> int:
        """Store a setting."""
        return (
            self.put("n" + str(number), bytes(value))
            if len(value) <= SETTING_MAX
            else replies.SETTING_VALUE
        )

    def key(self) -> bytes | None:
        """Workshop key, or None."""
        held = self.get("key")
        return held[0] if held and len(held[0]) == KEY_BYTES else None

    def key_put(self, key: bytes) -> int:
        """Replace the workshop key; the count of wrong tags restarts."""
        if len(key) != KEY_BYTES:
            return replies.BAD_VALUE
        return self.put("key", bytes(key))

    def _key_revision(self) -> int:
        """Return the number of enrolments, under which wrong tags are counted."""
        held = self.get("key")
        return held[1] if held else 0

    def wrong_tags(self) -> tuple[int, int]:
        """Return (wrong tags since this key was enrolled, wrong tags in a row)."""
        held = self.get("wrong")
        if not held or len(held[0]) != 12:
            return 0, 0
        total, row, revision = struct.unpack("<III", held[0])
        return (total, row) if revision == self._key_revision() else (0, 0)

    def wrong_tags_put(self, total: int, row: int) -> int:
        """Store both counts for the key in force."""
        return self.put("wrong", struct.pack("<III", total, row, self._key_revision()))

    # Trips

    def trip_add(self, row: "Record") -> int:
        """Record a trip. While locked it waits in memory and is written first afterwards."""
        del self._late[TRIPS_KEPT - 1 :]
        self._late.append(struct.pack(_TRIP, *[row[name] for name in _TRIP_FIELDS]))
        return self._keep_late()

    def _keep_late(self) -> int:
        if not self._late:
            return replies.OK
        code = self.put("trips", self._trip_rows())
        if code == replies.OK:
            self._late.clear()
        return code

    def _trip_rows(self) -> bytes:
        held = self.get("trips")
        rows = held[0] if held and len(held[0]) % _TRIP_BYTES == 0 else b""
        for row in self._late:
            rows = row + rows
        return rows[: TRIPS_KEPT * _TRIP_BYTES]

    def trips(self) -> "list[Record]":
        """Last trips, newest first."""
        rows = self._trip_rows()
        found = []
        for at in range(0, len(rows), _TRIP_BYTES):
            values = struct.unpack_from(_TRIP, rows, at)
            found.append({name: values[i] for i, name in enumerate(_TRIP_FIELDS)})
        return found

    def _trip_sessions(self) -> set[int]:
        return set([row["session"] for row in self.trips()])

    # Sessions

    def session_new(self) -> int:
        """Return the number of the next session; never reused."""
        return max([self.number("last")] + self.sessions.list()) + 1

    def make_way(self, number: int, count: int) -> bool:
        """Drop one old session if the next append needs room. True if one was dropped: the append then gets a turn of its own."""
        if (
            self.locked()
            or not self.sessions.grows(number, count)
            or self._fits(count + SYNC_BYTES, self._reserve())
        ):
            return False
        other = self.sessions.expendable(number)
        return other != 0 and self.session_delete(other) == replies.OK

    def session_append(self, number: int, view: "Buffer") -> int:
        """Append whole blocks to a session; old sessions make room."""
        if self.locked():
            return replies.BUSY_FILLING
        self._keep_late()
        if self.sessions.grows(number, len(view)) and not self.make_room(
            len(view) + SYNC_BYTES, self._reserve(), number
        ):
            return self._result(replies.STORE_FULL)
        return self._result(self.sessions.append(number, view))

    def session_sync(self) -> int:
        """Make all appended blocks durable."""
        return self._result(self.sessions.sync())

    def session_end(self, number: int, about: "Record") -> int:
        """End a session. `about`: unix_s, cause, flags, wheel_id."""
        self._keep_late()
        return self.sessions.end(number, about)

    def session_list(self) -> list[int]:
        """Session numbers, newest first."""
        return self.sessions.list()

    def session_about(self, number: int) -> "Record":
        """Return session, bytes, unix_s, cause, flags, wheel_id."""
        self.sessions.sync()
        return self.sessions.about(number)

    def session_read(self, number: int, offset: int, count: int) -> bytes:
        """Read bytes of a session; fewer or none past its end."""
        return self.sessions.read(number, offset, count)

    def session_delete(self, number: int) -> int:
        """Delete one session; its number is not reused."""
        if self.locked():
            return replies.BUSY_FILLING
        if number == max([0] + self.sessions.list()) and number > self.number("last"):
            code = records.write(self.folder + "/s/last", struct.pack("<I", number), self.feed)
            if code:
                return code
        return self.sessions.delete(number)
