"""What survives the power: profiles, settings, key and trips in two copies, and sessions. Main loop only.

Nothing is written while `locked()` is true. Every function is total: a damaged file means the other copy, or a reply
code, never an exception. Folders: `p` one record a wheel ever seen, `s` everything else in records, `l` sessions.
"""

import os
import struct

from rimward_protocol import replies

from rimward_fw.storage import records
from rimward_fw.storage.presets import Presets
from rimward_fw.storage.sessionfiles import SYNC_BYTES, SessionFiles
from rimward_fw.storage.wheels import Wheels

TRIPS_KEPT = 16
SETTING_MAX = 64
KEY_BYTES = 32
RECORD_BLOCKS = 4  # the file system may split a folder and replace a block for one record
RESERVE_BLOCKS = 16  # sessions leave this much free for everything else, or an eighth of a smaller flash

_TRIP = "<BBIIIIi"
_TRIP_BYTES = struct.calcsize(_TRIP)
_TRIP_FIELDS = ("cause", "state", "boot", "tick", "session", "unix_s", "value")


class Store:
    """Records and sessions under one folder."""

    def __init__(self, folder, locked, feed=records.nothing):
        """`locked()`: true while nothing may be written; `feed()` is called between flash operations."""
        self.folder = folder
        self.locked = locked
        self.feed = feed
        self.sessions = SessionFiles(folder + "/l", locked, self._trip_sessions)
        self.damaged = 0  # records of which no copy stands, found at boot
        self.wheels = Wheels(self)
        self.presets = Presets(self)
        self.dropped = 0  # issue number of a wheel that made way, until it is recorded
        self._late = []

    def boot(self):
        """Mends what the last power cut left, counts this start; gives which start it is."""
        for name in ("p", "s", "l", "r"):
            records.make_folder(self.folder + "/" + name)
        self._mend("s")
        self._mend("r")
        self.wheels.begin(self._mend("p"))
        boots = self.number("boots") + 1
        self.number_put("boots", boots)
        return boots

    def _mend(self, part):
        """[(name, body)] of the records of one folder. Names are asked for once: each look into a full folder reads all of it."""
        found = []
        folder = self.folder + "/" + part
        there = set(records.names(folder))
        for name in sorted(set([name.split(".")[0] for name in there])):
            if name + records.ASIDE in there:
                records.remove_file(folder + "/" + name + records.ASIDE)
            if name + ".0" in there or name + ".1" in there:
                body = records.mend(folder + "/" + name)
                if body is None:
                    self.damaged += 1
                else:
                    found.append((name, body))
        return found

    def close(self):
        """Lets go of what is open."""
        return self.sessions.close()

    # Records

    def get(self, name):
        """(body, revision, slot) of a small record, or None."""
        return records.read(self.folder + "/s/" + name)

    def number(self, name):
        """A number kept under a name; 0 if there is none."""
        held = self.get(name)
        return struct.unpack("<I", held[0])[0] if held and len(held[0]) == 4 else 0

    def number_put(self, name, value):
        """Keeps it."""
        return self.put(name, struct.pack("<I", value))

    def put(self, name, body):
        """Replace a small record."""
        return self.write(self.folder + "/s/" + name, body)

    def write(self, path, body):
        """Replace a record anywhere in the store; sessions make room for it."""
        if self.locked():
            return replies.BUSY_FILLING
        self.make_room(0, RECORD_BLOCKS)
        return records.write(path, body, self.feed)

    def make_room(self, count, spare, writing=0):
        """Drops sessions, never the one being written, until `count` bytes fit and `spare` blocks stay free. True if they do."""
        while not self._fits(count, spare):
            number = self.sessions.expendable(writing)
            if number == 0 or self.session_delete(number) != replies.OK:
                return False
            self.feed()
        return True

    def _fits(self, count, spare):
        try:
            row = os.statvfs(self.folder)
        except OSError:
            return False
        free = row[3] if row[3] <= row[2] else 0  # littlefs counts folders twice: a full flash then shows less than none free
        return free >= spare + (count + row[1] - 1) // row[1]

    def _reserve(self):
        try:
            return min(RESERVE_BLOCKS, max(RECORD_BLOCKS, os.statvfs(self.folder)[2] // 8))
        except OSError:
            return RESERVE_BLOCKS

    # Profiles

    def profile_list(self):
        """Wheels with a profile, sorted."""
        return self.wheels.list()

    def profile_get(self, wheel):
        """(bytes, slot, confirmed by a person) or None."""
        return self.wheels.get(wheel)

    def profile_put(self, data, confirmed, far=False):
        """Stores a checked profile: (code, slot, SHA-256 of the bytes read back)."""
        return self.wheels.put(data, confirmed, far)

    def profile_confirm(self, wheel):
        """Keeps that a person confirmed this wheel."""
        return self.wheels.confirm(wheel)

    def highest_issue(self, wheel):
        """The highest issue number of this wheel seen under this key; 0 if none."""
        row = self.wheels.row(wheel)
        return row.issue if row else 0

    def profile_delete(self, wheel):
        """Forgets a profile, never the highest issue number seen."""
        return self.wheels.delete(wheel)

    # Settings, key

    def setting_get(self, number):
        """(bytes, revision); nothing and 0 when never set."""
        held = self.get("n" + str(number))
        return (held[0], held[1]) if held else (b"", 0)

    def setting_put(self, number, value):
        """Stores a setting."""
        return self.put("n" + str(number), bytes(value)) if len(value) <= SETTING_MAX else replies.SETTING_VALUE

    def key(self):
        """The workshop key, or None."""
        held = self.get("key")
        return held[0] if held and len(held[0]) == KEY_BYTES else None

    def key_put(self, key):
        """Replaces the workshop key. Wrong tags count anew."""
        if len(key) != KEY_BYTES:
            return replies.BAD_VALUE
        return self.put("key", bytes(key))

    def _key_revision(self):
        """How often a key was enrolled: what wrong tags count under."""
        held = self.get("key")
        return held[1] if held else 0

    def wrong_tags(self):
        """(wrong tags since this key was enrolled, wrong tags in a row)."""
        held = self.get("wrong")
        if not held or len(held[0]) != 12:
            return 0, 0
        total, row, revision = struct.unpack("<III", held[0])
        return (total, row) if revision == self._key_revision() else (0, 0)

    def wrong_tags_put(self, total, row):
        """Keeps both counts, for the key that is enrolled now."""
        return self.put("wrong", struct.pack("<III", total, row, self._key_revision()))

    # Trips

    def trip_add(self, row):
        """Keeps a trip. While locked it waits in memory and is written first of all once that is over."""
        del self._late[TRIPS_KEPT - 1 :]
        self._late.append(struct.pack(_TRIP, *[row[name] for name in _TRIP_FIELDS]))
        return self._keep_late()

    def _keep_late(self):
        if not self._late:
            return replies.OK
        code = self.put("trips", self._trip_rows())
        if code == replies.OK:
            self._late.clear()
        return code

    def _trip_rows(self):
        held = self.get("trips")
        rows = held[0] if held and len(held[0]) % _TRIP_BYTES == 0 else b""
        for row in self._late:
            rows = row + rows
        return rows[: TRIPS_KEPT * _TRIP_BYTES]

    def trips(self):
        """The last trips, newest first."""
        rows = self._trip_rows()
        found = []
        for at in range(0, len(rows), _TRIP_BYTES):
            values = struct.unpack_from(_TRIP, rows, at)
            found.append({name: values[i] for i, name in enumerate(_TRIP_FIELDS)})
        return found

    def _trip_sessions(self):
        return set([row["session"] for row in self.trips()])

    # Sessions

    def session_new(self):
        """The number of the next session; none is ever used twice."""
        return max([self.number("last")] + self.sessions.list()) + 1

    def make_way(self, number, count):
        """Drop one old session if the next append needs its room. True if one was dropped: the append then has a turn of its own."""
        if self.locked() or not self.sessions.grows(number, count) or self._fits(count + SYNC_BYTES, self._reserve()):
            return False
        other = self.sessions.expendable(number)
        return other != 0 and self.session_delete(other) == replies.OK

    def session_append(self, number, view):
        """Adds whole blocks to a session; old sessions make room."""
        if self.locked():
            return replies.BUSY_FILLING
        self._keep_late()
        if self.sessions.grows(number, len(view)) and not self.make_room(len(view) + SYNC_BYTES, self._reserve(), number):
            return replies.STORE_FULL
        return self.sessions.append(number, view)

    def session_sync(self):
        """Makes all appended blocks stand."""
        return self.sessions.sync()

    def session_end(self, number, about):
        """Ends a session. `about`: unix_s, cause, flags, wheel_id."""
        self._keep_late()
        return self.sessions.end(number, about)

    def session_list(self):
        """Session numbers, newest first."""
        return self.sessions.list()

    def session_about(self, number):
        """session, bytes, unix_s, cause, flags, wheel_id."""
        self.sessions.sync()
        return self.sessions.about(number)

    def session_read(self, number, offset, count):
        """Bytes of a session; fewer or none past its end."""
        return self.sessions.read(number, offset, count)

    def session_delete(self, number):
        """Removes one session; its number is not used again."""
        if self.locked():
            return replies.BUSY_FILLING
        if number == max([0] + self.sessions.list()) and number > self.number("last"):
            code = records.write(self.folder + "/s/last", struct.pack("<I", number), self.feed)
            if code:
                return code
        return self.sessions.delete(number)
