"""Which wheels and presets were used last: one small record of their ids, the newest first. Main loop only."""

_NAME = "used"
_ID_BYTES = 8
KEPT = 24


def used(store):
    """Ids, the newest first."""
    held = store.get(_NAME)
    body = held[0] if held else b""
    return [body[i : i + _ID_BYTES] for i in range(0, len(body) - _ID_BYTES + 1, _ID_BYTES)]


def note(store, one):
    """Keep that this wheel or preset was chosen. Nothing is written where it is the newest already, or while air may move."""
    old = used(store)
    if old[:1] != [one]:
        store.put(_NAME, b"".join([one] + [each for each in old if each != one])[: _ID_BYTES * KEPT])


def ordered(store, every):
    """The ids of `every`, those used last first."""
    recent = [each for each in used(store) if each in every]
    return recent + [each for each in every if each not in recent]
