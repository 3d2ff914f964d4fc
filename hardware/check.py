"""What a rule answers."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Check:
    """One rule: name, whether it holds, and what was found."""

    name: str
    ok: bool
    found: str


def listing(items: list[str]) -> str:
    """Findings as one line."""
    return "; ".join(items) if items else "nothing against it"
