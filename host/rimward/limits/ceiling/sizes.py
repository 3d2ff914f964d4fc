"""Rim and tyre sizes: only the two-number forms of ISO 5775 are read; inch and French names are never converted."""

import re
from dataclasses import dataclass

from rimward.base.units import Refused

_WIDTH = r"\d{1,3}(?:[.,]\d{1,2})?"
_TYPES = r"TSS|SS|HB|TC|C|\?|unknown"
_RIM_DIAMETER_FIRST = re.compile(
    rf"(?P<before>TSS|SS|HB|TC|C|unknown)?\s*(?P<seat>\d{{3}}|\?)?\s*[x×X*]\s*(?P<width>{_WIDTH})\s*(?P<after>{_TYPES})?",
    re.IGNORECASE,
)
_RIM_WIDTH_FIRST = re.compile(
    rf"(?P<width>{_WIDTH})\s*(?P<before>{_TYPES})?\s*[-–]\s*(?P<seat>\d{{3}}|\?)\s*(?P<after>{_TYPES})?",
    re.IGNORECASE,
)
_RIM_WIDTH_ONLY = re.compile(
    rf"(?P<width>{_WIDTH})\s*(?:mm)?\s*(?P<before>(?:{_TYPES}))?(?P<seat>)(?P<after>)",
    re.IGNORECASE,
)
_TYRE = re.compile(
    rf"(?<![\d.,/x×-])(?P<width>{_WIDTH})\s*[-–]\s*(?P<seat>\d{{3}}|\?)(?![\d.,]*\d)(?P<rest>.*)",
    re.IGNORECASE,
)
_PRESSURE = re.compile(r"\b(?:inflate\s+to|(?:do\s+)?not\s+exceed|max|min)\b.+$", re.IGNORECASE)
_NUMBER = r"\d{1,3}(?:[.,]\d{1,3})?(?: \d/\d{1,2})?"  # 26, 1.75, 1 3/8
_NAME = re.compile(
    rf"{_NUMBER}[\"”]?(?:\s?[x×]\s?{_NUMBER}){{1,2}}\s?[A-D]?(?![\w.,])|\d{{2}}(?:[.,]\d)?[\"”]",
    re.IGNORECASE,
)  # 700x28C, 28x1 5/8x1 3/8
_BETWEEN = re.compile(r"[\s(),/]+")

_FRENCH = ("650", "700")  # names of outside sizes, not bead seats

_ONE_LINE = "Enter one size on one line, as it is printed."
_TYRE_FIX = "Write the two numbers with a dash from the sidewall, section width and bead seat, such as 28-622."
_RIM_FIX = "Write bead seat x inner width and type from the rim, such as 622x23TSS, 622x19C, 19-622, or 622x23? where the type is unknown."


@dataclass(frozen=True)
class Size:
    """A width and a bead-seat diameter (None: unknown), mm; for a rim its type, for a tyre the pressure in its marking."""

    width_mm: float
    bead_seat_mm: int | None
    type: str = "unknown"
    pressure_text: str = ""


def read_rim_size(text: str) -> Size:
    """Read `622x23TSS`, `622×17C`, `19-622`, `SS 400x20`, `622x23?`; `23TSS` and `?x23TSS` have an unknown bead seat. Raises Refused."""
    plain = _one_line(text, "Rim")
    match = next(
        (
            m
            for m in (
                form.fullmatch(plain)
                for form in (_RIM_DIAMETER_FIRST, _RIM_WIDTH_FIRST, _RIM_WIDTH_ONLY)
            )
            if m
        ),
        None,
    )
    width = _number(match["width"]) if match else 0.0
    if (
        not match
        or not 8 <= width <= 150
        or (match["before"] and match["after"])
        or match["seat"] in _FRENCH
    ):
        raise Refused("size-not-understood", f"Rim size {plain!r} is not understood.", _RIM_FIX)
    kind = (match["before"] or match["after"] or "unknown").upper()
    return Size(width, _seat(match["seat"]), "unknown" if kind in ("?", "UNKNOWN") else kind)


def read_tyre_size(text: str) -> Size:
    """Read `28-622`, `700x28C (28-622)`, `26 x 1.75 (47-559)`, `32-597 inflate to 400 kPa`. Inch and French sizes alone are refused.

    Raises Refused `size-not-understood`.
    """
    plain = _one_line(text, "Tyre")
    found = _TYRE.search(plain)
    width = _number(found["width"]) if found else 0.0
    if not found or not 10 <= width <= 150:
        raise Refused(
            "size-not-understood",
            f"Tyre size {plain!r} does not state the bead seat: 26x1.75 is 559, 26x1 3/4 is 571.",
            _TYRE_FIX,
        )
    rest = found["rest"]
    pressure = _PRESSURE.search(rest)
    name = rest[: pressure.start()] if pressure else rest
    if not (_only_names(name) and _only_names(plain[: found.start()])):
        raise Refused("size-not-understood", f"Tyre size {plain!r} is not understood.", _TYRE_FIX)
    return Size(width, _seat(found["seat"]), pressure_text=pressure[0] if pressure else "")


def _only_names(text: str) -> bool:
    """Return True if `text` consists only of other names of the size, such as `700x28C` or `29"`."""
    place = 0
    while place < len(text):
        found = _BETWEEN.match(text, place) or _NAME.match(text, place)
        if not found:
            return False
        place = found.end()
    return True


def _one_line(text: str, what: str) -> str:
    """Return `text` without surrounding space. Raises Refused for a second line, which could be another size."""
    plain = text.strip()
    if len(plain.splitlines()) > 1:
        raise Refused(
            "size-not-understood", f"{what} size {plain!r} has more than one line.", _ONE_LINE
        )
    return plain


def _seat(text: str | None) -> int | None:
    return int(text) if text and text != "?" else None


def _number(text: str) -> float:
    return float(text.replace(",", "."))
