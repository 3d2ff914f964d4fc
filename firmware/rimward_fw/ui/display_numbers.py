"""Number formats of the display: limits round down, a reading above a limit never looks equal to it. Pa gauge in, text out."""

from rimward_protocol.interval import ABOVE_PA, BELOW_PA

PSI_100 = 68948  # Pa in 10 psi, rounded up: the shown limit never lies above the real one


def bar(pa: int) -> str:
    """Return a limit in bar, rounded down to 0.01."""
    return _dot(max(pa, 0) // 1000, 100)


def bar_up(pa: int) -> str:
    """Return a guard band in bar, rounded up to 0.01."""
    return _dot(-(-max(pa, 0) // 1000), 100)


def psi(pa: int) -> str:
    """Return a limit in psi, rounded down to 0.1."""
    return _dot(max(pa, 0) * 100 // PSI_100, 10)


def reading_bar(pa: int, limit_pa: int = 0) -> str:
    """Return a reading in bar, rounded to 0.01; above a limit it shows more than the limit."""
    return _dot(_above((max(pa, 0) + 500) // 1000, pa, limit_pa, limit_pa // 1000), 100)


def reading_psi(pa: int, limit_pa: int = 0) -> str:
    """Return a reading in psi, rounded to 0.1; above a limit it shows more than the limit."""
    return _dot(
        _above(
            (max(pa, 0) * 100 + PSI_100 // 2) // PSI_100, pa, limit_pa, limit_pa * 100 // PSI_100
        ),
        10,
    )


def limit(pa: int, in_psi: bool) -> str:
    """Return a limit with its unit, at most eight characters."""
    return _unit(psi(pa), "psi") if in_psi else _unit(bar(pa), "bar")


def reading(pa: int, in_psi: bool, limit_pa: int = 0) -> str:
    """Return a reading with its unit, at most eight characters."""
    return (
        _unit(reading_psi(pa, limit_pa), "psi")
        if in_psi
        else _unit(reading_bar(pa, limit_pa), "bar")
    )


def between(pa: int, in_psi: bool) -> str:
    """Return the range of a tyre shown as `pa` behind a closed core, rounded outwards to 0.1 bar or whole psi, at most eleven characters."""
    low, high = max(pa - BELOW_PA, 0), pa + ABOVE_PA
    if in_psi:
        return str(low * 10 // PSI_100) + "-" + str(high * 10 // PSI_100 + 1) + " psi"
    return _dot(low // 10_000, 10) + "-" + _dot(high // 10_000 + 1, 10) + " bar"


def loss(rate: int, spread: int, in_psi: bool) -> str:
    """Return a loss of `rate` Pa a day as one line: `lost 0.04 bar/d`. Where its uncertainty `spread` covers zero: its upper bound, rounded up."""
    most = rate < spread
    pa = max(rate, 0) + (spread if most else 0)
    if in_psi:
        number = _dot(-(-pa * 10 // 6895), 10) if most else reading_psi(pa)
    else:
        number = bar_up(pa) if most else reading_bar(pa)
    return ("lost <" if most else "lost ") + number + (" psi/d" if in_psi else " bar/d")


def _unit(number: str, unit: str) -> str:
    return number + (" " if len(number) < 5 else "") + unit


def label(raw: bytes) -> str:
    """Decode a label from its record's bytes, on one line."""
    return whole(str(bytes(raw).rstrip(b"\0"), "utf-8"))


def whole(text: str) -> str:
    """Shorten a title to one line of whole words; one word that is too long ends in two dots."""
    if len(text) <= 16:
        return text
    end = text.rfind(" ", 0, 17)
    if end > 2 and text[end - 2] == " ":
        end -= 2  # no article alone at the end
    return text[:end].rstrip() if end > 0 else text[:14] + ".."


def celsius(ck: int) -> str:
    """Temperature in whole degrees Celsius, from 0.01 K."""
    return str((ck - 27315 + 50) // 100)


def _above(shown: int, pa: int, limit_pa: int, limit_shown: int) -> int:
    return limit_shown + 1 if limit_pa and pa > limit_pa and shown <= limit_shown else shown


def _dot(number: int, parts: int) -> str:
    digits = "00" + str(number % parts)
    return str(number // parts) + "." + digits[-2 if parts == 100 else -1 :]


def wrap(text: str, width: int, rows: int) -> list[str]:
    """Wrap words to lines of `width`, breaking longer words, at a hyphen if they have one; what exceeds `rows` lines is cut and marked."""
    lines = [""]
    for word in text.split(" "):
        if lines[-1] and len(lines[-1]) + 1 + len(word) > width:
            lines.append("")
        lines[-1] += (" " if lines[-1] else "") + word
        while len(lines[-1]) > width:
            cut = lines[-1].rfind("-", 0, width) + 1 or width
            lines.append(lines[-1][cut:])
            lines[-2] = lines[-2][:cut]
    if len(lines) > rows:
        lines = lines[:rows]
        lines[-1] = lines[-1][: width - 2] + ".."
    return lines


def litres(ml: int) -> str:
    """Return a volume in litres, two decimals, rounded down."""
    return _dot(ml // 10, 100)


def tenths(ml: int) -> str:
    """Return a volume in litres to the nearest tenth."""
    return _dot((ml + 50) // 100, 10)
