"""The fields of a wheel as a table: what each is, how it is checked, and what goes when its part is changed.

Limits are kept as they are printed (`85-120 psi`), never converted: the ceiling engine reads the marking itself.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from rimward.errors import Refusal

TEXT_MAX = 60
TAGS_MAX = 12


@dataclass(frozen=True)
class Field:
    """One field: its name, the part it was read from, what it says, its check (text in, value out, Refusal on error)."""

    name: str
    part: str  # "wheel", "rim" or "tyre"
    says: str
    check: Callable[[Any], Any]
    required: bool = False


def one_line(value: Any) -> str:
    text = str(value).strip()
    if not text or len(text) > TEXT_MAX or not text.isprintable():
        raise Refusal(f"'{text[:TEXT_MAX]}' cannot be entered.", f"Give 1 to {TEXT_MAX} printable characters.")
    return text


def one_of(*allowed: str) -> Callable[[Any], str]:
    def check(value: Any) -> str:
        text = str(value).strip().lower()
        if text not in allowed:
            raise Refusal(f"'{text}' is not one of {', '.join(allowed)}.", "Give one of these.")
        return text

    return check


def tags(value: Any) -> list[str]:
    """Tags from a list or a text with commas: short, without case, each once."""
    given = value.split(",") if isinstance(value, str) else list(value)
    found = sorted({str(t).strip().casefold() for t in given if str(t).strip()})
    if len(found) > TAGS_MAX or any(not re.fullmatch(r"[\w .+-]{1,24}", t) for t in found):
        raise Refusal("The tags cannot be entered.", f"Give at most {TAGS_MAX} tags of up to 24 letters and digits, with commas between.")
    return found


def rim_size(value: Any) -> str:
    from rimward.ceiling.model import Rim

    text = one_line(value)
    Rim.parse(text)
    return text


def tyre_size(value: Any) -> str:
    from rimward.ceiling.model import Tyre

    text = one_line(value)
    Tyre.parse(text)
    return text


def marking(**how: bool) -> Callable[[Any], str]:
    """A check for a printed pressure, kept as it is printed."""

    def check(value: Any) -> str:
        from rimward.ceiling.markings import read_marking

        text = one_line(value)
        read_marking(text, **how)
        return text

    return check


def as_is(value: Any) -> Any:
    """Records that Rimward itself makes: a walk to the rim type, an issued profile."""
    if not isinstance(value, (dict, bool)):
        raise TypeError(f"a record was expected, not {type(value).__name__}")
    return value


FIELDS: dict[str, Field] = {
    f.name: f
    for f in (
        Field("label", "wheel", "the name on the tag", one_line, required=True),
        Field("owner", "wheel", "whose wheel it is", one_line),
        Field("position", "wheel", "front, rear or any", one_of("front", "rear", "any")),
        Field("tags", "wheel", "words to find it by", tags),
        Field("chuck", "wheel", "pin-open or pressure-open", one_of("pin-open", "pressure-open")),
        Field("rim", "rim", "rim size, as 622x23TSS; ? for an unknown type", rim_size, required=True),
        Field("rim_max", "rim", "maximum marked on the rim", marking(maximum_only=True)),
        Field("tyre", "tyre", "tyre size, as 28-622", tyre_size, required=True),
        Field("tyre_range", "tyre", "pressure range printed on the tyre", marking()),
        Field("tyre_min", "tyre", "minimum printed on the tyre", marking(minimum_only=True)),
        Field("tyre_max", "tyre", "maximum printed on the tyre", marking(maximum_only=True)),
        Field("approved", "tyre", "approved for straight-side rims: yes, no or unknown", one_of("yes", "no", "unknown")),
        Field("bead", "tyre", "rigid, folding or unknown", one_of("rigid", "folding", "unknown")),
        Field("air", "tyre", "tube, tubeless or unknown", one_of("tube", "tubeless", "unknown")),
        Field("rim_type", "rim", "the walk that told the rim type", as_is),
        Field("profile", "wheel", "the newest profile issued", as_is),
        Field("air_by_hand", "wheel", "by session: whether air was added by hand before it", as_is),
        Field("retired", "wheel", "taken out of use", as_is),
    )
}

# The person's own fields; the others are written by Rimward only.
ENTERED = tuple(name for name, f in FIELDS.items() if f.check is not as_is)

# A changed part takes what was read from the old one with it.
FORGETS = {
    "rim": ("rim_max", "rim_type"),
    "tyre": ("tyre_range", "tyre_min", "tyre_max", "approved", "bead", "air"),
}

# Fields that a profile depends on: a change here makes an issued profile and its tag out of date.
LIMITING = ("rim", "rim_max", "tyre", "tyre_range", "tyre_min", "tyre_max", "approved", "bead", "air", "position", "chuck")


def check_values(values: Mapping[str, Any]) -> dict[str, Any]:
    """Checks each value by its field; None stays None (a value taken away). Raises Refusal naming the field."""
    out: dict[str, Any] = {}
    for name, value in values.items():
        if name not in ENTERED:
            raise Refusal(f"A wheel has no field '{name}'.", f"It has: {', '.join(ENTERED)}.")
        if value is None and FIELDS[name].required:
            raise Refusal(f"A wheel cannot be without {name}.", "Give a value.")
        try:
            out[name] = None if value is None else FIELDS[name].check(value)
        except Refusal as wrong:
            raise Refusal(f"{name.replace('_', '-')}: {wrong.text}", wrong.fix) from None
    return out
