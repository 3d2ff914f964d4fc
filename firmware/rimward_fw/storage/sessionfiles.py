"""Sessions on flash: one file each, blocks appended. The name of an ended session holds everything that a list shows.

A growing session is `NNNNNNNN` (its number in hexadecimal); ending renames it, in one step, to `NNNNNNNN.unix_s.cause.flags.wheel_id`.
The file stays open between appends: reopening would copy its last flash block every time.
"""

import os

from rimward_protocol import replies
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.storage import records

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Any

    from rimward_protocol.shapes import Buffer, Record


SYNC_BYTES = 4096
NAME_PARTS = 5
NUMBER_MAX = 0x3FFFFFFF
NOBODY = bytes(8)


def ended_name(number: int, about: "Record") -> str:
    """File name of an ended session."""
    parts = (number, about["unix_s"], about["cause"], about["flags"])
    return "%08x.%08x.%02x.%02x." % parts + bytes(about["wheel_id"]).hex()


def about_of(name: str) -> "Any":
    """Parse a file name into session fields without `bytes`; None for a name that is no session's."""
    parts = name.split(".")
    if len(parts) not in (1, NAME_PARTS) or len(parts[0]) != 8:
        return None
    try:
        row: Record = {
            "session": int(parts[0], 16),
            "unix_s": 0,
            "cause": 0,
            "flags": 0,
            "wheel_id": NOBODY,
        }
        if len(parts) == NAME_PARTS:
            row["unix_s"], row["cause"], row["flags"] = (
                int(parts[1], 16),
                int(parts[2], 16),
                int(parts[3], 16),
            )
            row["wheel_id"] = bytes.fromhex(parts[4])
    except ValueError:
        return None
    return row if len(row["wheel_id"]) == 8 and 0 < row["session"] <= NUMBER_MAX else None


class SessionFiles:
    """Sessions of the store. `folder` holds nothing else; `kept` returns session numbers to drop last."""

    def __init__(
        self, folder: str, locked: "Callable[[], bool]", kept: "Callable[[], set[int]]"
    ) -> None:
        self._folder = folder
        self._locked = locked
        self._kept = kept
        self._names: "Any" = None  # number -> file name
        self._file: "Any" = None
        self._open = 0
        self._unsynced = 0

    def known(self) -> dict[int, str]:
        """Map of number -> file name of every session."""
        if self._names is None:
            self._names = {}
            for name in records.names(self._folder):
                row = about_of(name)
                if row:
                    self._names[row["session"]] = name
        return self._names

    def path(self, number: int) -> str:
        """Path of a session's file."""
        return self._folder + "/" + self.known().get(number, "%08x" % number)

    def list(self) -> list[int]:
        """Session numbers, newest first."""
        return sorted(self.known(), reverse=True)

    def unfinished(self) -> "Sequence[int]":
        """Numbers of sessions that were never ended, newest first: cut off by a reset or a lost supply."""
        return [number for number in self.list() if "." not in self.known()[number]]

    def append(self, number: int, view: "Buffer") -> int:
        """Append whole blocks to a session that has not ended."""
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

    def grows(self, number: int, count: int) -> bool:
        """Return True if adding `count` bytes may take a new flash block."""
        return self._open != number or self._unsynced + count >= SYNC_BYTES

    def _take(self, number: int) -> int:
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

    def sync(self) -> int:
        """Make everything appended durable."""
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

    def close(self) -> int:
        """Close the open file. OK unless the last appended bytes could not be stored."""
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

    def end(self, number: int, about: "Record") -> int:
        """End a session by renaming its file."""
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

    def about(self, number: int) -> "Record":
        """Return a row of SESSION_IS; `bytes` is 0 for an unknown session."""
        row = about_of(self.known().get(number, "")) or about_of("%08x" % number)
        row["bytes"] = 0
        try:
            row["bytes"] = os.stat(self.path(number))[6]
        except OSError:
            row["flags"] = 0
        return row

    def read(self, number: int, offset: int, count: int) -> bytes:
        """Read bytes of a session; fewer or none past its end."""
        try:
            with open(self.path(number), "rb") as file:
                file.seek(offset)
                return file.read(count)
        except OSError:
            return b""

    def delete(self, number: int) -> int:
        """Delete one session."""
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

    def expendable(self, spare: int = 0) -> int:
        """Return the number of the session to drop next, or 0: the oldest, those of kept trips last.

        Never `spare`, one that has not ended or the newest: after a power cut a small flash would lose it to the count of starts.
        """
        kept = self._kept()
        newest = max([spare] + self.list()[:1])
        best = 0
        for number, name in self.known().items():
            if number in (self._open, spare, newest) or "." not in name:
                continue
            if best == 0 or (number in kept, number) < (best in kept, best):
                best = number
        return best
