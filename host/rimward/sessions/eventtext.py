"""One line of text for an event of a session: what happened, with its figures and answers in words."""

from collections.abc import Callable, Mapping
from typing import Any

from rimward_protocol import causes, codes, enumerations, replies

from rimward.base.units import show_limit, show_reading

Row = Mapping[str, Any]
WAITINGS = {number: (word, meaning) for number, word, meaning in enumerations.WAITINGS}
SETTINGS = {row[0]: row[1] for row in enumerations.SETTINGS}
STOOD = {0: "no", 1: "yes", 2: "air was added by hand"}
PRESSURES = (codes.WAIT_PRINTED_MAXIMUM, codes.WAIT_TARGET)


def _answer(row: Row) -> str:
    asked, said = row["value"], row["value2"]
    word = WAITINGS.get(asked, (f"question {asked}", ""))[0].replace("-", " ")
    if asked == codes.WAIT_STOOD:
        return f"{word}: {STOOD.get(said) or f'no, the tyre is at {(said - 27315) / 100:.0f} °C'}"
    if asked in PRESSURES:
        return f"{word}: {show_limit(said)}"
    return f"{word}: {'yes' if said else 'no'}"


def _at(row: Row) -> str:
    return f"at {show_reading(row['value'])}"


# event -> what follows its word
MORE: dict[str, Callable[[Row], str]] = {
    "wheel-chosen": lambda row: f"profile revision {row['value']}" if row["value"] else "",
    "armed": lambda row: (
        f"ceiling {show_limit(row['value'])}, stops at {show_limit(row['value2'])}"
    ),
    "run-held": _at,
    "run-released": _at,
    "bead-confirmed": _at,
    "tripped": lambda row: f"{causes.row_of(row['cause'])[1].replace('-', ' ')}, {_at(row)}",
    "cleared": lambda row: causes.row_of(row["value"])[1].replace("-", " "),
    "answer": _answer,
    "profile-stored": lambda row: f"revision {row['value']}",
    "profile-deleted": lambda row: f"revision {row['value']}",
    "setting-stored": lambda row: SETTINGS.get(row["value"], f"number {row['value']}").replace(
        "-", " "
    ),
    "target-chosen": lambda row: (
        f"{show_limit(row['value'])}, before it {show_limit(row['value2'])}"
    ),
    "refused": lambda row: str(replies.row_of(row["value"])[2]),
    "cutoff-compared": lambda row: f"differs by {row['value'] / 1e5:+.3f} bar",
}


def event_text(row: Row) -> str:
    """Return an event of `SessionLog.events` as one line: `answer: stood an hour: yes`."""
    more = MORE[row["event"]](row) if row["event"] in MORE else ""
    word = row["event"].replace("-", " ")
    return f"{word}: {more}" if more else word
