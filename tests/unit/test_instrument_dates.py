"""Age of a calibration in days, dates and words, at each bound: 335 days current, 365 due, 730 locked."""

import struct
from typing import Any

import pytest
from rimward.base import instrument as module
from rimward.base.instrument import Instrument, date_text, instrument_of

DAY_S, START_S = 86_400, 1_577_836_800  # 2020-01-01T00:00:00Z
HELD = struct.pack("<iI", 12_000, 2_000)  # 2025-06-23

AGES = [
    (0, "current"), (335, "current"), (336, "due-soon"), (365, "due-soon"), (366, "overdue"), (730, "overdue"), (731, "locked"), (9_999, "locked"),
]  # fmt: skip


@pytest.mark.parametrize(("age", "state"), AGES)
@pytest.mark.parametrize("seconds", [0, 1, DAY_S - 1])
def test_the_state_of_an_age(age: int, state: str, seconds: int) -> None:
    found = instrument_of(HELD, START_S + (2_000 + age) * DAY_S + seconds)
    assert found == Instrument(2_000, 12_000, age)
    assert (found.state, found.may_fill) == (state, state != "locked")


WORDS = {
    0: "Calibrated 2025-06-23, 0 days ago; due 2026-06-23.",
    340: "Calibrated 2025-06-23, 340 days ago; DUE SOON, 2026-06-23: calibrate it before then.",
    400: "Calibrated 2025-06-23, 400 days ago; OVERDUE since 2026-06-23: the guard band is 50 % wider, and from 2027-06-23 on no fill is possible.",
    800: "Calibrated 2025-06-23, 800 days ago; LOCKED since 2027-06-23: calibrate it before the next fill.",
}


@pytest.mark.parametrize("age", WORDS)
def test_an_age_in_words_and_as_a_row(age: int) -> None:
    found = Instrument(2_000, 12_000, age)
    assert found.words() == WORDS[age]
    assert found.words(12_345) == f"{WORDS[age]} Guard band 0.13 bar (1.8 psi)."
    row: dict[str, Any] = {
        "state": found.state, "calibrated": "2025-06-23", "age_days": age, "due": "2026-06-23", "locks": "2027-06-23", "guard_pa": 12_000,
        "words": WORDS[age],
    }  # fmt: skip
    assert found.row() == row
    assert found.row(12_345) == row | {"guard_pa": 12_345, "words": found.words(12_345)}
    assert found.row(0) == row | {"guard_pa": 0, "words": found.words(0)}


@pytest.mark.parametrize(
    ("value", "stored"), [(b"", None), (HELD[:-1], None), (HELD + b"\0", None), (struct.pack("<iI", 9_000, 0), 9_000)]
)  # fmt: skip
def test_what_was_never_calibrated(value: bytes, stored: int | None) -> None:
    found = instrument_of(value, START_S)
    assert found == Instrument(None, stored, None)
    assert (found.state, found.may_fill) == ("never-calibrated", True)
    assert found.words(10_000).startswith(
        "Never calibrated: the class bound is its guard band. Guard"
    )
    row = found.row()
    assert (row["calibrated"], row["due"], row["locks"], row["guard_pa"]) == (
        None, None, None, stored
    )  # fmt: skip


def test_a_calibration_of_the_second_day_of_2020_is_one() -> None:
    assert instrument_of(struct.pack("<iI", 9_000, 1), START_S + DAY_S).age_days == 0


@pytest.mark.parametrize("at_s", [0, START_S, START_S + 1_999 * DAY_S])
def test_a_time_that_is_unknown_or_earlier_is_no_age(at_s: int) -> None:
    assert instrument_of(HELD, at_s) == Instrument(2_000, 12_000, 0)


def test_the_present_where_no_time_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module.time, "time", lambda: START_S + 2_007.5 * DAY_S)
    assert instrument_of(HELD).age_days == 7
    assert (date_text(0), date_text(366)) == ("2020-01-01", "2021-01-01")
