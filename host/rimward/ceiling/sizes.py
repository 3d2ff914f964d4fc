"""Rim and tyre sizes: only the two-number forms of ISO 5775 are read; inch and French names are never converted."""

import re
from dataclasses import dataclass

from rimward.units import Refused

_WIDTH = r"\d{1,3}(?:[.,]\d{1,2})?"
_TYPES = r"TSS|SS|HB|TC|C|\?|unknown"
_RIM_DIAMETER_FIRST = re.compile(
    rf"(?P<before>TSS|SS|HB|TC|C|unknown)?\s*(?P<seat>\d{{3}}|\?)?\s*[x×X*]\s*(?P<width>{_WIDTH})\s*(?P<after>{_TYPES})?", re.IGNORECASE
)
_RIM_WIDTH_FIRST = re.compile(
    rf"(?P<width>{_WIDTH})\s*(?P<before>{_TYPES})?\s*[-–]\s*(?P<seat>\d{{3}}|\?)\s*(?P<after>{_TYPES})?", re.IGNORECASE
)
_RIM_WIDTH_ONLY = re.compile(rf"(?P<width>{_WIDTH})\s*(?:mm)?\s*(?P<before>(?:{_TYPES}))?(?P<seat>)(?P<after>)", re.IGNORECASE)
_TYRE = re.compile(rf"(?<![\d.,/x×-])(?P<width>{_WIDTH})\s*[-–]\s*(?P<seat>\d{{3}}|\?)(?![\d.,]*\d)(?P<rest>.*)", re.IGNORECASE)
_INFLATE = re.compile(r"\binflate\s+to\s+(?P<pressure>.+)$", re.IGNORECASE)
_TYRE_NAME = re.compile(r"[\s(]*(?:\d{2,3}(?:\.\d)?\s*[x×]\s*[\d.,/ ]+[A-D]?|\d{2,3}(?:\.\d)?\s*[\"”]?)?[\s)]*", re.IGNORECASE)

_FRENCH = ("650", "700")  # names of outside sizes, not bead seats

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
    """`622x23TSS`, `622×17C`, `19-622`, `SS 400x20`, `622x23?`; `23TSS` and `?x23TSS` have an unknown bead seat. Raises Refused."""
    plain = text.strip()
    match = next((m for m in (form.fullmatch(plain) for form in (_RIM_DIAMETER_FIRST, _RIM_WIDTH_FIRST, _RIM_WIDTH_ONLY)) if m), None)
    width = _number(match["width"]) if match else 0.0
    if not match or not 8 <= width <= 150 or (match["before"] and match["after"]) or match["seat"] in _FRENCH:
        raise Refused("size-not-understood", f"Rim size {plain!r} is not understood.", _RIM_FIX)
    kind = (match["before"] or match["after"] or "unknown").upper()
    return Size(width, _seat(match["seat"]), "unknown" if kind in ("?", "UNKNOWN") else kind)


def read_tyre_size(text: str) -> Size:
    """`28-622`, `32-597 inflate to 400 kPa`, `28-622 (700x28C)`. Inch and French sizes alone are refused. Raises Refused."""
    plain = text.strip()
    found = _TYRE.search(plain)
    width = _number(found["width"]) if found else 0.0
    if not found or not 10 <= width <= 150:
        raise Refused(
            "size-not-understood", f"Tyre size {plain!r} does not tell the bead seat: 26x1.75 is 559, 26x1 3/4 is 571.", _TYRE_FIX
        )
    rest = found["rest"]
    inflate = _INFLATE.search(rest)
    name = rest[: inflate.start()] if inflate else rest
    if not (_TYRE_NAME.fullmatch(name) and _TYRE_NAME.fullmatch(plain[: found.start()])):
        raise Refused("size-not-understood", f"Tyre size {plain!r} is not understood.", _TYRE_FIX)
    return Size(width, _seat(found["seat"]), pressure_text=inflate["pressure"] if inflate else "")


def _seat(text: str | None) -> int | None:
    return int(text) if text and text != "?" else None


def _number(text: str) -> float:
    return float(text.replace(",", "."))
