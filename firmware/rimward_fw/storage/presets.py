"""Riders' presets: one stored record each. Main loop only."""

import struct

from rimward_protocol import layout, preset, replies
from rimward_protocol.compat import TYPE_CHECKING, sha256

from rimward_fw.storage import records

if TYPE_CHECKING:
    from typing import Any

    from rimward_fw.storage.store import Store


PRESETS_MAX = 40
_ID = layout.index(layout.PRESET, "preset_id")
_ISSUE = layout.index(layout.PRESET, "issue")
_RUN = "<I"  # number of the last run; then the preset, empty once deleted
_RUN_BYTES = 4


class Presets:
    """The presets of a `Store`."""

    def __init__(self, store: "Store") -> None:
        self.store = store

    def _folder(self) -> str:
        return self.store.folder + "/r"

    def _path(self, preset_id: bytes) -> str:
        return self._folder() + "/" + bytes(preset_id).hex()

    def _body(self, preset_id: bytes) -> bytes | None:
        held = records.read(self._path(preset_id))
        return held[0] if held and len(held[0]) == _RUN_BYTES + preset.PRESET_BYTES else None

    def list(self) -> list[bytes]:
        """Sorted ids of the stored presets."""
        found = set()
        for name in records.names(self._folder()):
            stem = name.split(".")[0]
            if len(stem) == 16:
                found.add(bytes.fromhex(stem))
        return sorted(found)

    def get(self, preset_id: bytes) -> bytes | None:
        """Bytes of a preset, or None."""
        body = self._body(preset_id)
        return body[_RUN_BYTES:] if body else None

    def put(self, data: bytes) -> tuple[int, bytes]:
        """Store a checked preset. Return (code, SHA-256 of the bytes read back). An issue number below the stored one is refused."""
        values = struct.unpack_from(preset.FORMAT, data, 0)
        body = self._body(values[_ID])
        if body:
            held = struct.unpack_from(preset.FORMAT, body, _RUN_BYTES)
            if values[_ISSUE] < held[_ISSUE] or (
                values[_ISSUE] == held[_ISSUE] and body[_RUN_BYTES:] != data
            ):
                return replies.ISSUE_NOT_NEWER, b""
        elif len(self.list()) >= PRESETS_MAX:
            return replies.STORE_FULL, b""
        records.make_folder(self._folder())
        code = self.store.write(
            self._path(values[_ID]),
            (body[:_RUN_BYTES] if body else bytes(_RUN_BYTES)) + bytes(data),
        )
        back: "Any" = self.get(values[_ID])
        if code == replies.OK and back != data:
            code = replies.READ_BACK_DIFFERS
        return (code, sha256(back)) if code == replies.OK else (code, b"")

    def run(self, preset_id: bytes) -> int:
        """Count a run of this preset. Return its number, which joins the records of both wheels; 0 if it cannot be stored."""
        body = self._body(preset_id)
        if not body:
            return 0
        number = struct.unpack_from(_RUN, body, 0)[0] + 1
        return (
            number
            if self.store.write(
                self._path(preset_id), struct.pack(_RUN, number) + body[_RUN_BYTES:]
            )
            == replies.OK
            else 0
        )

    def delete(self, preset_id: bytes) -> int:
        """Delete a preset."""
        if self.store.locked():
            return replies.BUSY_FILLING
        if not self._body(preset_id):
            return replies.NOT_FOUND
        gone = [records.remove_file(self._path(preset_id) + "." + str(slot)) for slot in (0, 1)]
        return replies.OK if all(gone) else replies.STORE_FULL
