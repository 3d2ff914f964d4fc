"""Sessions on flash: one file each, blocks appended. Its name says everything that a list needs once it has ended.

While it grows a session is `NNNNNNNN` (its number in hexadecimal); ending renames it, in one step, to
`NNNNNNNN.unix_s.cause.flags.wheel_id`. The file stays open from one append to the next: opening it anew would copy
its last flash block every time.
"""

import os

from rimward_protocol import replies

from rimward_fw.storage import records

SYNC_BYTES = 4096
NAME_PARTS = 5
NUMBER_MAX = 0x3FFFFFFF
NOBODY = bytes(8)


def ended_name(number, about):
    """File name of an ended session."""
    parts = (number, about["unix_s"], about["cause"], about["flags"])
    return "%08x.%08x.%02x.%02x." % parts + bytes(about["wheel_id"]).hex()


def about_of(name):
    """What a file name says, without `bytes`; None for a name that is no session's."""
    parts = name.split(".")
    if len(parts) not in (1, NAME_PARTS) or len(parts[0]) != 8:
        return None
    try:
        row = {"session": int(parts[0], 16), "unix_s": 0, "cause": 0, "flags": 0, "wheel_id": NOBODY}
        if len(parts) == NAME_PARTS:
            row["unix_s"], row["cause"], row["flags"] = int(parts[1], 16), int(parts[2], 16), int(parts[3], 16)
            row["wheel_id"] = bytes.fromhex(parts[4])
    except ValueError:
        return None
    return row if len(row["wheel_id"]) == 8 and 0 < row["session"] <= NUMBER_MAX else None


class SessionFiles:
    """The sessions part of the store. `folder` holds nothing else; `kept` gives session numbers to drop last."""

    def __init__(self, folder, locked, kept):
        self._folder = folder
        self._locked = locked
        self._kept = kept
        self._names = None  # number -> file name
        self._file = None
        self._open = 0
        self._unsynced = 0

    def known(self):
        """number -> file name of every session there is."""
        if self._names is None:
            self._names = {}
            for name in records.names(self._folder):
                row = about_of(name)
                if row:
                    self._names[row["session"]] = name
        return self._names

    def path(self, number):
        """Where a session's file is."""
        return self._folder + "/" + self.known().get(number, "%08x" % number)

    def list(self):
        """Session numbers, newest first."""
        return sorted(self.known(), reverse=True)

    def unfinished(self):
        """Numbers of sessions that were never ended, newest first: a reset or a lost supply cut them off."""
        return [number for number in self.list() if "." not in self.known()[number]]

    def append(self, number, view):
        """Adds whole blocks to a session that has not ended."""
        if self._locked():
            return replies.BUSY_FILLING
        if not 0 < number <= NUMBER_MAX:
            return replies.BAD_VALUE
        if self._open != number:
            code = self._take(number)
            if code:
                return code
        try:
            self._file.write(view)
        except OSError:
            self.close()
            return replies.STORE_FULL
        self._unsynced += len(view)
        return self.sync() if self._unsynced >= SYNC_BYTES else replies.OK

    def grows(self, number, count):
        """True if adding `count` bytes may take a new flash block."""
        return self._open != number or self._unsynced + count >= SYNC_BYTES

    def _take(self, number):
        self.close()
        if "." in self.known().get(number, ""):
            return replies.SESSION_UNKNOWN
        try:
            self._file = open(self.path(number), "ab")
        except OSError:
            return replies.STORE_FULL
        self._open = number
        self._unsynced = 0
        self.known()[number] = "%08x" % number
        return replies.OK

    def sync(self):
        """Makes all that was appended stand."""
        if self._file is None or self._unsynced == 0:
            return replies.OK
        if self._locked():
            return replies.BUSY_FILLING
        try:
            self._file.flush()
        except OSError:
            self.close()
            return replies.STORE_FULL
        self._unsynced = 0
        return replies.OK

    def close(self):
        """Lets the open file go. OK unless what was appended last could not be kept."""
        file = self._file
        self._file = None
        self._open = 0
        self._unsynced = 0
        try:
            if file is not None:
                file.close()
        except OSError:
            return replies.STORE_FULL
        return replies.OK

    def end(self, number, about):
        """Ends a session: from now on its name says so."""
        if self._locked():
            return replies.BUSY_FILLING
        if number not in self.known():
            return replies.SESSION_UNKNOWN
        if self._open == number:
            code = self.close()
            if code:
                return code
        name = ended_name(number, about)
        try:
            os.rename(self.path(number), self._folder + "/" + name)
        except OSError:
            return replies.STORE_FULL
        self._names[number] = name
        return replies.OK

    def about(self, number):
        """A row of SESSION_IS; `bytes` 0 for one that is not there."""
        row = about_of(self.known().get(number, "")) or about_of("%08x" % number)
        row["bytes"] = 0
        try:
            row["bytes"] = os.stat(self.path(number))[6]
        except OSError:
            row["flags"] = 0
        return row

    def read(self, number, offset, count):
        """Bytes of a session; fewer or none past its end."""
        try:
            with open(self.path(number), "rb") as file:
                file.seek(offset)
                return file.read(count)
        except OSError:
            return b""

    def delete(self, number):
        """Removes one session."""
        if self._locked():
            return replies.BUSY_FILLING
        if number not in self.known():
            return replies.SESSION_UNKNOWN
        if self._open == number:
            self.close()
        if not records.remove_file(self.path(number)):
            return replies.STORE_FULL
        del self._names[number]
        return replies.OK

    def expendable(self, spare=0):
        """The session to drop next, or 0: the oldest, those of kept trips last, never `spare` or the one being written."""
        kept = self._kept()
        best = 0
        for number in self.known():
            if number in (self._open, spare):
                continue
            if best == 0 or (number in kept, number) < (best in kept, best):
                best = number
        return best
