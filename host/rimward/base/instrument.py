"""Calibration state of an inflator for display: age, due date, and the guard band in force."""

import struct
import time
from dataclasses import dataclass
from typing import Any

from rimward_protocol import codes

from rimward.base.units import show_minimum

GUARD_FORMAT = "<iI"
DAY_S = 86_400
SOON_DAYS = 30
NEVER, CURRENT, SOON, OVERDUE, LOCKED = (
    "never-calibrated",
    "current",
    "due-soon",
    "overdue",
    "locked",
)


@dataclass(frozen=True)
class Instrument:
    """`day`: day of the calibration, counted from 2020-01-01, None if never calibrated; `stored_pa`: guard band of that calibration."""

    day: int | None
    stored_pa: int | None
    age_days: int | None

    @property
    def state(self) -> str:
        """One of the words above; the limits are those of the firmware."""
        if self.age_days is None:
            return NEVER
        for most, word in (
            (codes.CALIBRATION_DUE_DAYS - SOON_DAYS, CURRENT),
            (codes.CALIBRATION_DUE_DAYS, SOON),
            (codes.CALIBRATION_LOCK_DAYS, OVERDUE),
        ):
            if self.age_days <= most:
                return word
        return LOCKED

    @property
    def may_fill(self) -> bool:
        """False once the pump stays locked."""
        return self.state != LOCKED

    def words(self, guard_pa: int | None = None) -> str:
        """Describe it in one line; `guard_pa`: the band in force, if the inflator reports it."""
        band = "" if guard_pa is None else f" Guard band {show_minimum(guard_pa)}."
        if self.day is None:
            return f"Never calibrated: the class bound is its guard band.{band}"
        on = f"Calibrated {date_text(self.day)}, {self.age_days} days ago"
        due, locks = (
            date_text(self.day + days)
            for days in (codes.CALIBRATION_DUE_DAYS, codes.CALIBRATION_LOCK_DAYS)
        )
        return {
            CURRENT: f"{on}; due {due}.{band}",
            SOON: f"{on}; DUE SOON, {due}: calibrate it before then.{band}",
            OVERDUE: f"{on}; OVERDUE since {due}: the guard band is 50 % wider, and from {locks} on no fill is possible.{band}",
            LOCKED: f"{on}; LOCKED since {locks}: calibrate it before the next fill.{band}",
        }[self.state]

    def row(self, guard_pa: int | None = None) -> dict[str, Any]:
        """Return the state for JSON and pages."""
        return {
            "state": self.state,
            "calibrated": date_text(self.day) if self.day is not None else None,
            "age_days": self.age_days,
            "due": date_text(self.day + codes.CALIBRATION_DUE_DAYS)
            if self.day is not None
            else None,
            "locks": date_text(self.day + codes.CALIBRATION_LOCK_DAYS)
            if self.day is not None
            else None,
            "guard_pa": guard_pa if guard_pa is not None else self.stored_pa,
            "words": self.words(guard_pa),
        }


def date_text(day: int) -> str:
    """Format a day counted from 2020-01-01."""
    return time.strftime("%Y-%m-%d", time.gmtime(codes.EPOCH_DAY_UNIX_S + day * DAY_S))


def instrument_of(value: bytes, at_s: float | None = None) -> Instrument:
    """Build from the guard band stored in the inflator or in a record. `at_s`: reference time, unix; None: now; 0: unknown."""
    if len(value) != struct.calcsize(GUARD_FORMAT):
        return Instrument(None, None, None)
    guard_pa, day = struct.unpack(GUARD_FORMAT, value)
    if not day:
        return Instrument(None, guard_pa, None)
    at_s = time.time() if at_s is None else at_s
    return Instrument(day, guard_pa, max(0, int(at_s - codes.EPOCH_DAY_UNIX_S) // DAY_S - day))
