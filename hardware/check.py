"""Result of a rule."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Check:
    """Result of one rule: name, whether it holds, and findings."""

    name: str
    ok: bool
    found: str


def listing(items: list[str]) -> str:
    """Format findings as one line."""
    return "; ".join(items) if items else "nothing against it"
