"""Pressures printed on a rim or a sidewall: one, a range, and the same thing in two units."""

import re
from dataclasses import dataclass
from fractions import Fraction

from rimward.units import ITEM, Refused, not_understood, number, positive, to_pascals, unit_missing

_DASH = re.compile(r"\s*(?:[-–—‒]|\bto\b)\s*", re.IGNORECASE)
_NEXT = re.compile(r"\s*(?:[/(;=|]|,\s)\s*")
_END = re.compile(r"\s*\)?\s*")
_WORD = re.compile(r"^\s*(?:max(?:imum|\.)?|min(?:imum|\.)?)?[:\s]*", re.IGNORECASE)
_AGREE = Fraction(1, 1000)  # '5 bar / 72.5 psi' says one thing; '5 bar / 73 psi' says two


@dataclass(frozen=True)
class Marking:
    """A printed range in gauge pascals; None: not printed. `disagree`: its units do not say the same."""

    min_pa: int | None
    max_pa: int | None
    disagree: bool = False


def no_marking() -> Marking:
    """Nothing printed."""
    return Marking(None, None)


def read_marking(text: str, *, maximum_only: bool = False, minimum_only: bool = False) -> Marking:
    """Reads `5 bar`, `4-6 bar`, `85–120 psi`, `5 bar / 73 psi`, `4-6 bar (58-87 psi)`.

    Where units disagree the lowest maximum and the highest minimum count. A single pressure is a maximum unless `minimum_only`.
    Raises Refused `unit-missing` or `pressure-not-understood`.
    """
    groups = _groups(text)
    if (maximum_only or minimum_only) and any(low is not None for low, _ in groups):
        raise Refused("pressure-not-understood", f"{text.strip()!r} is a range where one pressure is asked for.")
    tops = [top for _, top in groups]
    lows = tops if minimum_only else [low for low, _ in groups if low is not None]
    return Marking(
        max((to_pascals_of(low, text, up=True) for low in lows), default=None),
        None if minimum_only else min(to_pascals_of(top, text) for top in tops),
        _disagree(tops) or _disagree(lows),
    )


Written = tuple[Fraction, str]  # the number and its unit


def to_pascals_of(written: Written, text: str, *, up: bool = False) -> int:
    """Gauge pascals of a number with its unit, above zero."""
    return positive(to_pascals(*written, up=up), text)


def _groups(text: str) -> list[tuple[Written | None, Written]]:
    place, groups = _WORD.match(text).end(), []  # type: ignore[union-attr]
    while True:
        low, top, place = _group(text, place)
        groups.append((low, top))
        end = _END.match(text, place)
        if end and end.end() == len(text):
            return groups
        step = _NEXT.match(text, place)
        if not step:
            raise not_understood(text)
        place = step.end()


def _group(text: str, place: int) -> tuple[Written | None, Written, int]:
    first = ITEM.match(text, place)
    if not first:
        raise not_understood(text)
    dash = _DASH.match(text, first.end())
    second = ITEM.match(text, dash.end()) if dash else None
    if dash and not second:
        raise not_understood(text)
    last = second or first
    if not last["unit"]:
        raise unit_missing(text)
    low = (number(first["number"]), first["unit"] or last["unit"]) if second else None
    return low, (number(last["number"]), last["unit"]), last.end()


def _disagree(written: list[Written]) -> bool:
    pressures = [to_pascals(*one) for one in written]
    return bool(pressures) and max(pressures) - min(pressures) > _AGREE * min(pressures)
