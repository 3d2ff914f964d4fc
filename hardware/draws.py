"""Statistical meaning of a number of draws, stated beside every maximum of a campaign."""

CONFIDENCE = 0.95


def above_share(count: int) -> float:
    """Largest share of all cases that may lie above the highest of `count` independent draws, at 95 % confidence (Wilks, first order)."""
    if count < 1:
        raise ValueError("draws: at least one is needed")
    return float(1 - (1 - CONFIDENCE) ** (1 / count))


def text(count: int) -> str:
    """Format the same as text for tables."""
    return f"highest of {count} draws: with 95 % confidence at most {100 * above_share(count):.2g} % of all cases lie above it"
