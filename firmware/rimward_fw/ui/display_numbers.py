"""Numbers as the display shows them: limits round down, a reading above a limit never looks equal to it. Pa gauge in, text out."""

PSI_100 = 68948  # Pa in 10 psi, rounded up: what is shown never lies above the limit


def bar(pa):
    """A limit in bar, rounded down to 0.01."""
    return _dot(max(pa, 0) // 1000, 100)


def bar_up(pa):
    """A guard band in bar, rounded up to 0.01."""
    return _dot(-(-max(pa, 0) // 1000), 100)


def psi(pa):
    """A limit in psi, rounded down to 0.1."""
    return _dot(max(pa, 0) * 100 // PSI_100, 10)


def reading_bar(pa, limit_pa=0):
    """A reading in bar, rounded to 0.01; above a limit it shows more than the limit does."""
    return _dot(_above((max(pa, 0) + 500) // 1000, pa, limit_pa, limit_pa // 1000), 100)


def reading_psi(pa, limit_pa=0):
    """A reading in psi, rounded to 0.1; above a limit it shows more than the limit does."""
    return _dot(_above((max(pa, 0) * 100 + PSI_100 // 2) // PSI_100, pa, limit_pa, limit_pa * 100 // PSI_100), 10)


def limit(pa, in_psi):
    """A limit with its unit, at most eight characters."""
    return _unit(psi(pa), "psi") if in_psi else _unit(bar(pa), "bar")


def reading(pa, in_psi, limit_pa=0):
    """A reading with its unit, at most eight characters."""
    return _unit(reading_psi(pa, limit_pa), "psi") if in_psi else _unit(reading_bar(pa, limit_pa), "bar")


def _unit(number, unit):
    return number + (" " if len(number) < 5 else "") + unit


def label(raw):
    """A label out of its record's bytes, on one line."""
    return whole(str(bytes(raw).rstrip(b"\0"), "utf-8"))


def whole(text):
    """A title of at most one line: whole words, as many as fit; one word that is too long ends in two dots."""
    if len(text) <= 16:
        return text
    end = text.rfind(" ", 0, 17)
    if end > 2 and text[end - 2] == " ":
        end -= 2  # no article alone at the end
    return text[:end].rstrip() if end > 0 else text[:14] + ".."


def celsius(ck):
    """Temperature from 0.01 K, whole degrees."""
    return str((ck - 27315 + 50) // 100)


def _above(shown, pa, limit_pa, limit_shown):
    return limit_shown + 1 if limit_pa and pa > limit_pa and shown <= limit_shown else shown


def _dot(number, parts):
    digits = "00" + str(number % parts)
    return str(number // parts) + "." + digits[-2 if parts == 100 else -1 :]


def wrap(text, width, rows):
    """Words on lines of `width`, a longer word broken, behind a hyphen if it has one; what does not fit into `rows` lines is cut and marked."""
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


def litres(ml):
    """A volume in litres, two decimals, rounded down."""
    return str(ml // 1000) + "." + ("0" + str(ml % 1000 // 10))[-2:]
