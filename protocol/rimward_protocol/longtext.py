"""Long texts with marks: a string or a dict in memory, or on the chip a file, whose name is bytes.

Only a few screens and reasons are read in a day; as strings they would take 9 KB of the heap all the time.
"""

PIECE = 512  # bytes of one read


def between(text: str | bytes, begin: str, end: str) -> str | None:
    """Return the text between two marks, or None."""
    if isinstance(text, bytes):
        return _in_file(text, begin.encode(), end.encode())
    at = text.find(begin)
    if at < 0:
        return None
    at += len(begin)
    return text[at : text.find(end, at)]


def entry(table: bytes | dict[str, str], name: str) -> str | None:
    """Return one text of a dict; in a file it lies between `\\0name\\n` and the next `\\0`. None for an unknown name."""
    return between(table, "\0" + name + "\n", "\0") if isinstance(table, bytes) else table.get(name)


def _in_file(name: bytes, begin: bytes, end: bytes) -> str | None:
    held = b""
    found = False
    try:
        with open(str(name, "utf-8"), "rb") as file:
            while True:
                piece = file.read(PIECE)
                held += piece
                if not found:
                    at = held.find(begin)
                    found = at >= 0
                    held = held[at + len(begin) :] if found else held[-len(begin) :]
                at = held.find(end) if found else -1
                if at >= 0:
                    return str(held[:at], "utf-8")
                if not piece:
                    return None
    except OSError:
        return None
