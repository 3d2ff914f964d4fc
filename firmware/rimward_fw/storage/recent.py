"""Wheels and presets by last use: one small record of their ids, newest first. Main loop only."""

from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from rimward_fw.storage.store import Store

_NAME = "used"
_ID_BYTES = 8
KEPT = 24


def used(store: "Store") -> list[bytes]:
    """Ids, newest first."""
    held = store.get(_NAME)
    body = held[0] if held else b""
    return [body[i : i + _ID_BYTES] for i in range(0, len(body) - _ID_BYTES + 1, _ID_BYTES)]


def note(store: "Store", one: bytes) -> None:
    """Record that this wheel or preset was selected. Nothing is written if it is the newest already, or while air may move."""
    old = used(store)
    if old[:1] != [one]:
        store.put(
            _NAME, b"".join([one] + [each for each in old if each != one])[: _ID_BYTES * KEPT]
        )


def ordered(store: "Store", every: list[bytes]) -> list[bytes]:
    """Sort the ids `every` by last use."""
    recent = [each for each in used(store) if each in every]
    return recent + [each for each in every if each not in recent]
