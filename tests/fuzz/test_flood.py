"""Attacks on the line in mid-fill, each beside the same fill left alone."""

import pytest

from tests.fuzz import flood


@pytest.mark.parametrize("name", flood.ATTACKS)
def test_fill_goes_on_and_the_talk_after_it(name: str) -> None:
    seen = flood.attack(name, 3.0)
    assert seen.air_ticks_alone > 1000
    assert not flood.problems_of(seen), (flood.problems_of(seen), seen)
