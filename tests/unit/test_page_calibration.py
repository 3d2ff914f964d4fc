"""The inflator's calibration on a page: before a fill it states the wider band after a year and the lock after two."""

import pytest
from rimward.base.instrument import Instrument
from rimward.web.live import calibration


@pytest.mark.parametrize(
    ("age", "state", "words"),
    [
        (10, "current", "due 2022-02-04"),
        (340, "due-soon", "DUE SOON"),
        (366, "overdue", "50 % wider"),
        (731, "locked", "calibrate it before the next fill"),
    ],
)
def test_the_page_shows_the_age_of_the_calibration(age, state, words):
    found = calibration(Instrument(400, 12_000, age), {"guard_pa": 18_000})
    assert (
        found is not None
        and found["state"] == state
        and words in found["words"]
        and "0.18 bar" in found["words"]
    )


def test_without_an_inflator_nothing_is_claimed():
    assert calibration(None, None) is None
    never = calibration(Instrument(None, None, None), None)
    assert never is not None and never["words"].startswith("Never calibrated")
