"""Fields of a wheel as a table: meaning, check, and dependence on rim or tyre.

Limits are stored as printed (`85-120 psi`), never converted: the ceiling engine reads the marking itself.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from rimward.base.errors import Refusal
from rimward.limits.ceiling.markings import read_marking
from rimward.limits.ceiling.model import Rim, Tyre

TEXT_MAX = 60
TAGS_MAX = 12


@dataclass(frozen=True)
class Field:
    """One field: name, part it is read from, help text, check (text in, value out, Refusal on error)."""

    name: str
    part: str  # "wheel", "rim" or "tyre"
    says: str
    check: Callable[[Any], Any]
    required: bool = False


def one_line(value: Any) -> str:
    """Check a one-line printable text. Refusal otherwise."""
    text = str(value).strip()
    if not text or len(text) > TEXT_MAX or not text.isprintable():
        raise Refusal(
            f"'{text[:TEXT_MAX]}' is empty, too long or not printable.",
            f"Give 1 to {TEXT_MAX} printable characters.",
        )
    return text


def one_of(*allowed: str) -> Callable[[Any], str]:
    """Return a check for one of the allowed words."""

    def check(value: Any) -> str:
        text = str(value).strip().lower()
        if text not in allowed:
            raise Refusal(f"'{text}' is not one of {', '.join(allowed)}.", "Give one of these.")
        return text

    return check


def tags(value: Any) -> list[str]:
    """Parse tags from a list or a comma-separated text: short, lower case, each once."""
    given = value.split(",") if isinstance(value, str) else list(value)
    found = sorted({str(t).strip().casefold() for t in given if str(t).strip()})
    if len(found) > TAGS_MAX or any(not re.fullmatch(r"[\w .+-]{1,24}", t) for t in found):
        raise Refusal(
            "The tags are too many or contain other characters.",
            f"Give at most {TAGS_MAX} tags of up to 24 letters and digits, separated by commas.",
        )
    return found


def rim_size(value: Any) -> str:
    """Check a rim size. Refusal otherwise."""
    text = one_line(value)
    Rim.parse(text)
    return text


def tyre_size(value: Any) -> str:
    """Check a tyre size. Refusal otherwise."""
    text = one_line(value)
    Tyre.parse(text)
    return text


def marking(**how: bool) -> Callable[[Any], str]:
    """Return a check for a printed pressure, stored as printed."""

    def check(value: Any) -> str:

        text = one_line(value)
        read_marking(text, **how)
        return text

    return check


def as_is(value: Any) -> Any:
    """Accept records made by Rimward: a rim type check, an issued profile."""
    if not isinstance(value, (dict, bool)):
        raise TypeError(f"a record was expected, not {type(value).__name__}")
    return value


FIELDS: dict[str, Field] = {
    f.name: f
    for f in (
        Field("label", "wheel", "the name on the tag", one_line, required=True),
        Field("owner", "wheel", "owner of the wheel", one_line),
        Field("position", "wheel", "front, rear or any", one_of("front", "rear", "any")),
        Field("tags", "wheel", "search words", tags),
        Field("chuck", "wheel", "pin-open or pressure-open", one_of("pin-open", "pressure-open")),
        Field(
            "rim", "rim", "rim size, as 622x23TSS; ? for an unknown type", rim_size, required=True
        ),
        Field("rim_max", "rim", "maximum marked on the rim", marking(maximum_only=True)),
        Field("tyre", "tyre", "tyre size, as 28-622", tyre_size, required=True),
        Field("tyre_range", "tyre", "pressure range printed on the tyre", marking()),
        Field("tyre_min", "tyre", "minimum printed on the tyre", marking(minimum_only=True)),
        Field("tyre_max", "tyre", "maximum printed on the tyre", marking(maximum_only=True)),
        Field(
            "approved",
            "tyre",
            "approved for straight-side rims: yes, no or unknown",
            one_of("yes", "no", "unknown"),
        ),
        Field("bead", "tyre", "rigid, folding or unknown", one_of("rigid", "folding", "unknown")),
        Field("air", "tyre", "tube, tubeless or unknown", one_of("tube", "tubeless", "unknown")),
        Field("rim_type", "rim", "the check that identified the rim type", as_is),
        Field("profile", "wheel", "the newest profile issued", as_is),
        Field("air_by_hand", "wheel", "by session: whether air was added by hand before", as_is),
        Field("retired", "wheel", "taken out of use", as_is),
    )
}

# Fields entered by people; the others are written by Rimward only.
ENTERED = tuple(name for name, f in FIELDS.items() if f.check is not as_is)

# Fields that depend on a part and are removed when it changes.
FORGETS = {
    "rim": ("rim_max", "rim_type"),
    "tyre": ("tyre_range", "tyre_min", "tyre_max", "approved", "bead", "air"),
}

# Fields that a profile depends on: a change here outdates an issued profile and its tag.
LIMITING = (
    "rim",
    "rim_max",
    "tyre",
    "tyre_range",
    "tyre_min",
    "tyre_max",
    "approved",
    "bead",
    "air",
    "position",
    "chuck",
)


def check_values(values: Mapping[str, Any]) -> dict[str, Any]:
    """Check each value by its field; None stays None (value removed). Raises Refusal naming the field."""
    out: dict[str, Any] = {}
    for name, value in values.items():
        if name not in ENTERED:
            raise Refusal(f"A wheel has no field '{name}'.", f"It has: {', '.join(ENTERED)}.")
        if value is None and FIELDS[name].required:
            raise Refusal(f"A wheel needs {name}.", "Give a value.")
        try:
            out[name] = None if value is None else FIELDS[name].check(value)
        except Refusal as wrong:
            raise Refusal(f"{name.replace('_', '-')}: {wrong.text}", wrong.fix) from None
    return out
