"""JSON files that a person writes: read with a size limit, unknown keys refused, everything wrong as one line with its fix."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from rimward.base.units import Refused

T = TypeVar("T")
WRONG = (
    OSError,
    ValueError,
    KeyError,
    TypeError,
    AttributeError,
    ArithmeticError,
    RecursionError,
    Refused,
)


@dataclass(frozen=True)
class Kind:
    """A kind of file: its name in a refusal, the id of the refusal, what to do, and the most bytes that are read."""

    name: str
    refusal: str
    fix: str
    largest_bytes: int


def read(path: str | Path, kind: Kind, build: Callable[[Any], T]) -> T:
    """Return `build` of the file's content. Raises Refused with the kind's id for a file that cannot be read, or whose content is wrong."""
    try:
        if Path(path).stat().st_size > kind.largest_bytes:
            raise ValueError(f"the file is larger than {kind.largest_bytes // 1000} kB")
        return build(json.loads(Path(path).read_text(encoding="utf-8")))
    except WRONG as wrong:
        what = (
            f"{wrong.args[0]} is missing" if isinstance(wrong, KeyError) else str(wrong).rstrip(".")
        )
        raise Refused(
            kind.refusal, f"{kind.name} {Path(path).name!r} cannot be used: {what}.", kind.fix
        ) from wrong


def refuse_unknown(held: Any, known: frozenset[str], what: str) -> None:
    """Raise ValueError for anything but an object with these keys: a misspelt one would drop a limit."""
    if not isinstance(held, dict):
        raise ValueError(f"{what} is not an object")
    unknown = sorted(set(held) - known)
    if unknown:
        raise ValueError(
            f"{what} has unknown keys: {', '.join(unknown)} (known: {', '.join(sorted(known))})"
        )
