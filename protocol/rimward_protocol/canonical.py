"""Canonical text of every layout and number, identical on every interpreter. A test compares its hash with `layouthash`."""

from . import answers, codes, enumerations, kernel_words, payloads, tables
from .compat import TYPE_CHECKING, sha256
from .layouthash import LAYOUT_HASH

if TYPE_CHECKING:
    from .shapes import Table


def number_tables() -> tuple[tuple[str, "Table"], ...]:
    """Return (title, table of (number, word, ...)) of all numbers that are transmitted."""
    return (
        ("MESSAGES", enumerations.MESSAGES),
        ("RIM_CLASSES", enumerations.RIM_CLASSES),
        ("POSITIONS", enumerations.POSITIONS),
        ("CHUCKS", enumerations.CHUCKS),
        ("LIMIT_SOURCES", enumerations.LIMIT_SOURCES),
        ("PROFILE_FLAGS", enumerations.PROFILE_FLAGS),
        ("PRESET_FLAGS", enumerations.PRESET_FLAGS),
        ("RANGES", enumerations.RANGES),
        ("GUARD_OUTS", enumerations.GUARD_OUTS),
        ("FILL_STATES", enumerations.FILL_STATES),
        ("WAITINGS", enumerations.WAITINGS),
        ("EVENTS", enumerations.EVENTS),
        ("SETTINGS", enumerations.SETTINGS),
        ("META_KEYS", tables.META_KEYS),
        ("CAUSES", enumerations.CAUSES),
        ("REPLIES", answers.REPLIES),
    )


def canonical_text() -> str:
    """Return the text over which the layout hash is computed."""
    records = [
        ("PROFILE", tables.PROFILE),
        ("PRESET", tables.PRESET),
        ("SESSION_HEADER", tables.SESSION_HEADER),
        ("BLOCK_HEADER", tables.BLOCK_HEADER),
    ]
    records += [("CHANGE", tables.CHANGE), ("TRACE_RECORD", tables.TRACE_RECORD)]
    records += [
        ("BLOCK " + str(number) + " " + word, table) for number, word, table in tables.BLOCKS
    ]
    records += [("MESSAGE " + str(row[0]) + " " + row[1], row[2]) for row in payloads.PAYLOADS]
    lines = ["protocol " + str(codes.PROTOCOL_VERSION)]
    for title, table in records:
        lines.append(title)
        lines += [row[0] + " " + row[1] + " " + row[2] for row in table]
    for title, numbers in number_tables():
        lines.append(title)
        lines += [str(row[0]) + " " + row[1] for row in numbers]
    lines += [
        "SETTING " + str(row[0]) + " " + row[2] + " " + row[3] for row in enumerations.SETTINGS
    ]
    for title, words in kernel_words.TABLES:
        lines.append("WORDS " + title)
        lines += [row[0] + " " + row[1] for row in words]
    return "\n".join(lines) + "\n"


def computed_hash() -> bytes:
    """Compute the layout hash: the layouts' serial number, two bytes big-endian, and the first 6 bytes of SHA-256 over `canonical_text`."""
    return LAYOUT_HASH[:2] + sha256(canonical_text().encode())[:6]
