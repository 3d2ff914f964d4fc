"""Attacks on the line during a fill, each compared with the same fill without the attack."""

import pytest

from tests.fuzz import flood


@pytest.mark.parametrize("name", flood.ATTACKS)
def test_the_fill_continues_and_the_link_works_afterwards(name: str) -> None:
    seen = flood.attack(name, 3.0)
    assert seen.air_ticks_alone > 1000
    assert not flood.problems_of(seen), (flood.problems_of(seen), seen)
