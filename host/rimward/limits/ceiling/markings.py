"""Pressures printed on a rim or a sidewall: single, a range, or the same in two units, with the words that name the end.

`max` and `min` decide the meaning of a pressure. Words before their pressures (`MAX PRESSURE 73 PSI / 5.0 BAR`) or after them (`5 BAR MAX`)
are read, but not a mixture of both, since a word between two pressures could belong to either.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from rimward.base.units import (
    ITEM,
    Refused,
    not_understood,
    number,
    positive,
    to_pascals,
    unit_missing,
)

MAX, MIN, RECOMMENDED, PLAIN = "max", "min", "inflate", ""
_NOUN = r"(?:\s*(?:inflation|tyre|tire|air)?\s*(?:pressure|press\.?)|\s*inflation\b)?\s*:?"
_WORD = re.compile(
    rf"(?P<max>(?:do\s+)?not\s+exceed|max(?:imum\b|\.|\b){_NOUN})|(?P<min>min(?:imum\b|\.|\b){_NOUN})|(?P<inflate>inflate\s+to\s*:?|recommended{_NOUN})",
    re.IGNORECASE,
)
_DASH = re.compile(r"\s*(?:[-–—‒]|\bto\b)\s*", re.IGNORECASE)
_SPACE = re.compile(r"\s+")
_SEPARATOR = re.compile(r"[/(;=|)]|,(?=\s)|[-–—‒](?=\s*m(?:ax|in))", re.IGNORECASE)
_DOTTED_PSI = re.compile(r"\bp\.\s?s\.\s?i\.?", re.IGNORECASE)
_LOWER_COUNTS = re.compile(
    r"\s*,?\s*which\s?ever\s+is\s+(?:the\s+)?(?:lower|less)\s*\.?\s*$", re.IGNORECASE
)
_AGREE = Fraction(1, 1000)  # '5 bar / 72.5 psi' agrees; '5 bar / 73 psi' does not
_FIX = "Write it as printed, such as '5 BAR MAX', '4-6 bar' or 'min 4 bar / max 6 bar'."

Written = tuple[Fraction, str]  # number and unit


@dataclass(frozen=True)
class Marking:
    """Printed range in gauge pascals; None: not printed. `disagree`: its units disagree."""

    min_pa: int | None
    max_pa: int | None
    disagree: bool = False


@dataclass(frozen=True)
class Group:
    """One pressure (`low` is None) or one range, and its word."""

    low: Written | None
    top: Written
    word: str = PLAIN


def no_marking() -> Marking:
    """Return an empty marking."""
    return Marking(None, None)


def read_marking(text: str, *, maximum_only: bool = False, minimum_only: bool = False) -> Marking:
    """Read `5 bar`, `4-6 bar`, `85–120 psi`, `5 bar / 73 psi`, `5 BAR MAX`, `MAX PRESSURE 73 PSI / 5.0 BAR`, `4.1-5.9 bar 60-85 psi`.

    Where units disagree the lowest maximum and the highest minimum count. A single pressure without a word is a maximum unless
    `minimum_only`; a word that says the other end than the one asked for is refused.
    Raises Refused `unit-missing` or `pressure-not-understood`.
    """
    groups = _with_words(text)
    lows = [
        group.low or group.top for group in groups if group.low or _is_minimum(group, minimum_only)
    ]
    tops = [group.top for group in groups if group.low or not _is_minimum(group, minimum_only)]
    for asked, wrong, name, other in (
        (maximum_only, lows, "maximum", "minimum"),
        (minimum_only, tops, "minimum", "maximum"),
    ):
        if asked and wrong:
            raise Refused(
                "pressure-not-understood",
                f"{text.strip()!r} gives a {other} or a range where the {name} is asked for.",
                f"Read the marking again and enter its {name} alone, or all of it as a range.",
            )
    return Marking(
        max((to_pascals_of(low, text, up=True) for low in lows), default=None),
        min((to_pascals_of(top, text) for top in tops), default=None),
        _disagree(tops) or _disagree(lows),
    )


def to_pascals_of(written: Written, text: str, *, up: bool = False) -> int:
    """Gauge pascals of a positive number with its unit."""
    return positive(to_pascals(*written, up=up), text)


def _is_minimum(group: Group, minimum_only: bool) -> bool:
    return group.word == MIN or (group.word == PLAIN and minimum_only)


def _with_words(text: str) -> list[Group]:
    """Return the groups of `text` with their words: the last one before each, or the next one after it. Refuses a mixture of both orders."""
    parts = list(_parts(_DOTTED_PSI.sub("psi", _LOWER_COUNTS.sub("", text))))
    if not any(isinstance(part, Group) for part in parts):
        raise not_understood(text)
    before = isinstance(parts[0], str)
    if not before:
        parts.reverse()
    groups, word, named = [], PLAIN, False
    for i, part in enumerate(parts):
        if isinstance(part, str):
            if word == part or (i + 1 == len(parts)) or isinstance(parts[i + 1], str):
                raise not_understood(text)
            word, named = part, True
        else:
            groups.append(replace(part, word=word))
    if not before:
        groups.reverse()
        if named and groups[-1].word == PLAIN:  # '4 bar min 6 bar': the word may belong to either
            raise Refused(
                "pressure-not-understood", f"{text.strip()!r} can be read two ways.", _FIX
            )
    groups = [_with_unit(groups, i, text) for i in range(len(groups))]
    for group in groups:
        if group.low and group.word in (MAX, MIN):
            raise Refused(
                "pressure-not-understood",
                f"{text.strip()!r} calls a range a {group.word}imum.",
                _FIX,
            )
    _refuse_repeated_units(groups, text)
    return groups


def _with_unit(groups: list[Group], i: int, text: str) -> Group:
    """Group with its unit; in `min 4 max 6 bar` the first takes the unit of the next. Raises Refused without one."""
    group = groups[i]
    if group.top[1]:
        return group
    following = groups[i + 1] if i + 1 < len(groups) else group
    if group.low or {group.word, following.word} != {MIN, MAX} or not following.top[1]:
        raise unit_missing(text)
    return replace(group, top=(group.top[0], following.top[1]))


def _refuse_repeated_units(groups: list[Group], text: str) -> None:
    """Refuse two pressures in one unit under one word: these are two markings, not one in two units."""
    seen = [(group.word, group.low is None, group.top[1].lower()) for group in groups]
    if any(group.word != PLAIN for group in groups) and len(set(seen)) != len(seen):
        raise Refused(
            "pressure-not-understood",
            f"{text.strip()!r} gives two pressures in the same unit.",
            _FIX,
        )


def _parts(text: str) -> Iterator[Group | str]:
    """Split into words and groups in their order. Raises Refused for anything else."""
    place, free = 0, True  # free: preceded by a separator or a space, so a new part may begin
    while place < len(text):
        step = _SPACE.match(text, place) or _SEPARATOR.match(text, place)
        if step:
            place, free = step.end(), True
            continue
        word = _WORD.match(text, place)
        if word:
            yield word.lastgroup or PLAIN
            place, free = word.end(), True
            continue
        if not free:
            raise not_understood(text)
        group, place = _group(text, place)
        free = False
        yield group


def _group(text: str, place: int) -> tuple[Group, int]:
    first = ITEM.match(text, place)
    if not first:
        raise not_understood(text)
    dash = _DASH.match(text, first.end())
    second = ITEM.match(text, dash.end()) if dash else None
    last = second or first
    low = (number(first["number"]), first["unit"] or last["unit"] or "") if second else None
    return Group(low, (number(last["number"]), last["unit"] or "")), last.end()


def _disagree(written: list[Written]) -> bool:
    pressures = [to_pascals(*one) for one in written]
    return bool(pressures) and max(pressures) - min(pressures) > _AGREE * min(pressures)
