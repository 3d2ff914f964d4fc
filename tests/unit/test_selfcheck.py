"""The self-check after an install: what it finds on an inflator that runs, and what it says of one that does not."""

import pytest
from rimward.base.errors import Refusal
from rimward.device.install import selfcheck

from tests.unit.linkbench import Inflator, Shop

FIGURES = {
    "boots": 3,
    "ticks_a_second": 500.0,
    "tick_us": 256,
    "heap_free": 91_000,
    "wheels": 0,
    "sessions": 0,
    "trips": 0,
}
WELL = {"cause": "none"}


def test_the_command_checks_an_inflator_that_runs(tmp_path):
    shop = Shop(tmp_path)
    inflator = Inflator(shop)
    try:
        done = shop.run(
            "install",
            "--check-only",
            "--port",
            inflator.port,
            "--json",
            "--wait",
            "200",
            limit_s=300,
        )
        found = shop_json(done.stdout)["check"]
        assert (
            found["boots"] == 1
            and found["wheels"] == 0
            and found["heap_free"] > 0
            and found["firmware"]
        )
        assert found["ok"] == (not found["problems"]) and done.returncode == (
            0 if found["ok"] else 1
        )
        assert found["ticks_a_second"] > 0
    finally:
        inflator.close()


def shop_json(text):
    import json

    return json.loads(text)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({}, ""),
        ({"boots": 0}, "does not count starts"),
        ({"ticks_a_second": 481.0}, "481.0 ticks a second instead of 500"),
        ({"tick_us": 640}, "A tick took 640 us"),
        ({"heap_free": 12_000}, "12000 bytes of memory are free"),
    ],
)
def test_each_problem_is_named(change, says):
    found = selfcheck.problems(FIGURES | change, WELL)
    assert found == [] if not says else len(found) == 1 and says in found[0]


def test_a_latched_inflator_is_named_with_its_next_step():
    latched = {
        "cause": "barometer",
        "cause_reason": "the barometer is missing",
        "cause_next": "check the cable",
    }
    assert selfcheck.problems(FIGURES, latched) == [
        "A cause is latched: barometer, the barometer is missing; check the cable."
    ]


def test_an_inflator_that_does_not_start_is_said_in_one_line_with_the_way_to_check_later(tmp_path):
    told = []
    with pytest.raises(Refusal, match="did not start within 0 s") as refused:
        selfcheck.wait_for(str(tmp_path / "nothing"), 0, told.append)
    assert "--check-only" in str(refused.value)
