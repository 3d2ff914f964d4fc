"""The documented JSON answer of `rimward ceiling`."""

from typing import Any

from rimward.ceiling.model import Assessment, Note

ENVELOPE_KEYS = ("fill_ceiling_pa", "highest_gauge_if_filled_to_limit_pa", "highest_gauge_if_filled_to_ceiling_pa", "lowest_gauge_if_filled_to_ceiling_pa")


def notes(items: tuple[Note, ...]) -> list[dict[str, str]]:
    """Refusals or warnings as JSON."""
    return [{"id": note.id, "text": note.text} for note in items]


def answer(found: Assessment) -> dict[str, Any]:
    """All keys are always there. A refused answer has null for ceiling, stop reading, the window's top and the envelope's values."""
    envelope = found.envelope if found.status == "ok" else None
    return {
        "status": found.status,
        "ceiling_pa": found.ceiling_pa,
        "stop_reading_pa": found.stop_reading_pa,
        "governing": found.governing,
        "limits": [{"id": limit.id, "pa": limit.pa, "source": limit.source, "confidence": limit.confidence} for limit in found.limits],
        "window": {"min_pa": found.window.min_pa, "max_pa": found.window.max_pa},
        "envelope": {key: getattr(envelope, key) if envelope else None for key in ENVELOPE_KEYS},
        "refusals": notes(found.refusals),
        "warnings": notes(found.warnings),
    }
