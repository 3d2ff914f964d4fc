"""Small record in two copies, each with revision and check code: written aside, read back, then made current.

A copy is RECORD_HEAD, body, CRC-32 over both. The higher revision of the valid copies is the record. A change renames the new copy over
the older one, then updates the other copy, so that both agree and a copy that decays later does not bring back an older state. Main loop
only.
"""

import os
import struct

from rimward_protocol import replies
from rimward_protocol.compat import TYPE_CHECKING, crc32

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any


MAGIC = b"RWC1"
HEAD = "<4sI"
HEAD_BYTES = 8
CRC_BYTES = 4
BODY_MAX = 1024
REVISION_MAX = 0x3FFFFFFF
ASIDE = ".n"


def frame(revision: int, body: bytes) -> bytes:
    """Build the bytes of one copy."""
    head = struct.pack(HEAD, MAGIC, revision) + body
    return head + struct.pack("<I", crc32(head))


def parse(data: bytes) -> tuple[int, bytes] | None:
    """Return (revision, body) of one copy, or None for invalid bytes."""
    end = len(data) - CRC_BYTES
    if end < HEAD_BYTES:
        return None
    magic, revision = struct.unpack_from(HEAD, data, 0)
    if magic != MAGIC or crc32(data[:end]) != struct.unpack_from("<I", data, end)[0]:
        return None
    return revision, data[HEAD_BYTES:end]


def file_bytes(path: str) -> bytes | None:
    """Read a file, up to the longest copy; None if it cannot be read."""
    try:
        with open(path, "rb") as file:
            return file.read(HEAD_BYTES + BODY_MAX + CRC_BYTES + 1)
    except OSError:
        return None


def copy_of(path: str, slot: int) -> tuple[int, bytes] | None:
    """Return (revision, body) of one copy, or None."""
    data = file_bytes(path + "." + str(slot))
    return parse(data) if data else None


def read(path: str) -> tuple[bytes, int, int] | None:
    """Return (body, revision, slot) of a record, or None when no copy is valid."""
    first = copy_of(path, 0)
    second = copy_of(path, 1)
    if second and (first is None or second[0] > first[0]):
        return second[1], second[0], 1
    return (first[1], first[0], 0) if first else None


def nothing() -> None:
    """Do nothing: there is no watchdog to feed."""


def write(path: str, body: bytes, feed: "Callable[..., Any]" = nothing) -> int:
    """Replace a record. OK once a copy of it is current; with any other code the old one is unchanged. `feed` is called between flash
    operations.
    """
    held = read(path)
    if held and held[1] >= REVISION_MAX:
        return replies.STORE_FULL
    data = frame(held[1] + 1 if held else 1, body)
    slot = 1 - held[2] if held else 0
    code = _put(path, slot, data, feed)
    if code == replies.OK and _put(path, 1 - slot, data, feed) != replies.OK:
        remove_file(
            path + "." + str(1 - slot)
        )  # one copy is better than one with outdated contents
    return code


def _put(path: str, slot: int, data: bytes, feed: "Callable[..., Any]" = nothing) -> int:
    aside = path + ASIDE
    try:
        with open(aside, "wb") as file:
            file.write(data)
        feed()
        if file_bytes(aside) != data:
            return replies.READ_BACK_DIFFERS
        os.rename(aside, path + "." + str(slot))
    except OSError:
        return replies.STORE_FULL
    feed()
    return replies.OK if file_bytes(path + "." + str(slot)) == data else replies.READ_BACK_DIFFERS


def repair(path: str) -> bytes | None:
    """Repair a record: make both copies equal. Return its body, None when no copy is valid."""
    first = copy_of(path, 0)
    second = copy_of(path, 1)
    slot = 1 if second and (first is None or second[0] > first[0]) else 0
    held = second if slot else first
    if held and first != second:
        _put(path, 1 - slot, frame(held[0], held[1]))
    return held[1] if held else None


def remove_file(path: str) -> bool:
    """Remove a file. True if it is gone."""
    try:
        os.remove(path)
    except OSError:
        return not exists(path)
    return True


def exists(path: str) -> bool:
    """Return True if a file or folder of this name exists."""
    try:
        os.stat(path)
    except OSError:
        return False
    return True


def names(folder: str) -> list[str]:
    """List the names in a folder; none when it cannot be read."""
    try:
        return os.listdir(folder)
    except OSError:
        return []


def make_folder(path: str) -> bool:
    """Create a folder. True if it exists."""
    try:
        os.mkdir(path)
    except OSError:
        return exists(path)
    return True
