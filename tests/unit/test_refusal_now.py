"""Whether the newest profile of a wheel could be made again: for its own place, ride and target, none of them assumed."""

from types import SimpleNamespace
from typing import Any

import pytest
from rimward.base.errors import Refusal
from rimward.limits.ceiling import Place, Ride
from rimward.wheels.keys import Key, Ring
from rimward.wheels.profiles import Asked, issue, refusal_now

from tests.unit.test_profiles import WHEEL, WHEEL_ID

RIDE = Ride.of(2_400, 45)
HIGH, LOW = Place.of(18, 2_000), Place.of(18, 0)


def issued(
    target_pa: int, place: Place, ride: Ride | None, key: Ring | None = None
) -> dict[str, Any]:
    now = SimpleNamespace(values=dict(WHEEL), wheel_id=WHEEL_ID.hex())
    desk = SimpleNamespace(record=lambda _wheel, make, _who: now.values.update(make(now)))
    issue(desk, now, Asked(target_pa, place, ride), key)
    return dict(now.values)


def highest(place: Place, ride: Ride | None) -> int:
    """Highest target here, found by trying in steps of 1 kPa."""
    for target_pa in range(500_000, 0, -1_000):
        try:
            issued(target_pa, place, ride)
        except Refusal:
            continue
        return target_pa
    raise AssertionError


@pytest.mark.parametrize("place", [LOW, HIGH])
def test_a_profile_at_its_highest_target_could_be_made_again(place: Place) -> None:
    values = issued(highest(place, RIDE), place, RIDE)
    assert refusal_now(values) == ""


def test_each_part_of_its_record_counts() -> None:
    """In thin air at the fill a higher target holds the same limit on the ride; without the height it does not."""
    assert highest(HIGH, RIDE) > highest(LOW, RIDE) + 10_000
    values = issued(highest(HIGH, RIDE), HIGH, RIDE)
    for name, value in (
        ("fill_altitude_m", 0),
        ("fill_altitude_m", 500),
        ("fill_ck", HIGH.temp_ck - 500),
        ("ride_altitude_max_m", 3_000),
        ("ride_temp_max_ck", 33_000),
        ("target_pa", values["profile"]["target_pa"] + 5_000),
    ):
        changed = values | {"profile": values["profile"] | {name: value}}
        assert "ceiling" in refusal_now(changed), name


@pytest.mark.parametrize("tagged", [True, False])
def test_a_tagged_profile_needs_a_marking_still(tagged: bool) -> None:
    key = Ring((Key(bytes(range(32)), "2025-01-01"),), "here") if tagged else None
    values = issued(300_000, LOW, RIDE, key)
    bare = {name: held for name, held in values.items() if name not in ("rim_max", "tyre_range")}
    assert refusal_now(values) == ""
    assert ("No pressure is marked" in refusal_now(bare)) is tagged
