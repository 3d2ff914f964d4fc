"""Search for wheels by a few letters, a size or a tag."""

import unicodedata
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rimward.wheels.register.store import Wheel

ID_LETTERS_MIN = 4
SEARCHED = ("label", "owner", "position", "rim", "tyre", "tags")


def folded(text: str) -> str:
    """Fold case and accents, so that `zoe` finds `Zoë`; `×` equals `x`."""
    plain = unicodedata.normalize("NFKD", text.replace("×", "x"))
    return "".join(c for c in plain if not unicodedata.combining(c)).casefold()


def haystack(wheel: "Wheel") -> str:
    """Text in which search words are looked up."""
    parts = [wheel.values.get(name, "") for name in SEARCHED]
    return folded(" ".join(" ".join(p) if isinstance(p, list) else str(p) for p in parts))


def matching(
    wheels: Sequence["Wheel"], words: str = "", size: str = "", tag: str = ""
) -> list["Wheel"]:
    """Wheels that contain every word, have the size in rim or tyre, and have the tag."""
    wanted = folded(words).split()
    sized, tagged = folded(size), folded(tag)
    return [
        w
        for w in wheels
        if all(word in haystack(w) for word in wanted)
        and (not sized or any(sized in folded(w.values.get(part, "")) for part in ("tyre", "rim")))
        and (not tagged or tagged in [folded(t) for t in w.values.get("tags", [])])
    ]


def named(wheels: Sequence["Wheel"], wanted: str) -> list["Wheel"]:
    """Wheels that `wanted` may name, strictest match first: id, exact label, label, start of an id, words."""
    text = folded(wanted).strip()
    if not text:
        return []
    readings = (
        [w for w in wheels if w.wheel_id == text],
        [w for w in wheels if w.label == wanted.strip()],
        [w for w in wheels if folded(w.label) == text],
        [w for w in wheels if len(text) >= ID_LETTERS_MIN and w.wheel_id.startswith(text)],
        matching(wheels, wanted),
    )
    return next((found for found in readings if found), [])
