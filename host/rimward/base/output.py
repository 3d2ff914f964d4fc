"""Output of commands: rich text for people, JSON for programs, never mixed on standard output."""

import codecs
import json
import sys
import unicodedata
from typing import Any, TextIO

from rich.console import Console


class _Console(Console):
    def on_broken_pipe(self) -> None:
        """Leave a closed output to the caller, which reports it; the library would end the process silently."""
        raise BrokenPipeError


console = _Console(highlight=False, soft_wrap=True)
progress_console = Console(stderr=True, highlight=False)

FALLBACK = "rimward-plain"
# characters of Rimward's own texts -> replacement where the output's codec lacks them
PLAIN = {
    "→": "->",
    "−": "-",
    "–": "-",
    "—": "-",
    "×": "x",
    "…": "...",
    "°": "deg ",
    "±": "+/-",
    "≤": "<=",
    "≥": ">=",
    "·": "*",
    "²": "2",
    "³": "3",
    "✓": "ok",
}
_printed = False


def emit_json(obj: Any) -> None:
    """Print one JSON document on standard output, in ASCII where the output cannot take every character."""
    global _printed
    _printed = True
    print(json.dumps(obj, indent=2, ensure_ascii=not takes_all(sys.stdout), allow_nan=False))


def emit_json_line(obj: Any) -> None:
    """Print one JSON document on one line of standard output, for streams of them."""
    global _printed
    _printed = True
    print(json.dumps(obj, ensure_ascii=not takes_all(sys.stdout), allow_nan=False), flush=True)


def json_printed() -> bool:
    """Return True if this process has printed a JSON document."""
    return _printed


def takes_all(stream: TextIO) -> bool:
    """Return True if a stream can encode every character."""
    return (stream.encoding or "").lower().replace("_", "-").startswith("utf-")


def plain(error: UnicodeError) -> tuple[str, int]:
    """Codec error handler: replace characters that the output lacks by plain equivalents."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return "".join(_plain(letter) for letter in error.object[error.start : error.end]), error.end


def _plain(letter: str) -> str:
    bare = "".join(part for part in unicodedata.normalize("NFKD", letter) if part.isascii())
    return PLAIN.get(letter) or bare or "?"


def begin() -> None:
    """Let standard output and error print any text whatever their codec; no JSON has been printed yet."""
    global _printed
    _printed = False
    codecs.register_error(FALLBACK, plain)
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors=FALLBACK)
