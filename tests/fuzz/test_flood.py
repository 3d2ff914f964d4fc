"""Attacks on the line during a fill, each compared with the same fill without the attack."""

import dataclasses

import pytest

from tests.fuzz import flood


@pytest.mark.parametrize("name", flood.ATTACKS)
def test_the_fill_continues_and_the_link_works_afterwards(name: str) -> None:
    seen = flood.attack(name, 3.0)
    assert seen.air_ticks_alone > 1000
    assert not flood.problems_of(seen), (flood.problems_of(seen), seen)


@pytest.mark.parametrize(
    ("air", "rest"),
    [
        ([1] * 9, 9),
        ([0, 1, 0, 0, 0, 1, 1, 0, 0, 1, 0], 2),  # what ends or begins the list is no rest
        ([1, 0, 0, 0], 4),
    ],
)
def test_a_rest_lies_between_two_runs(air: list[int], rest: int) -> None:
    assert flood.shortest_rest(air) == rest


def test_a_source_that_drops_out_is_found() -> None:
    seen = flood.Seen("name", 9, 9, 0, 1.0, "none", 1_980, 2_000, 60, True)
    assert not flood.problems_of(seen)
    assert len(flood.problems_of(dataclasses.replace(seen, shortest_rest=59))) == 1
    assert len(flood.problems_of(dataclasses.replace(seen, air_ticks=1_959))) == 1
