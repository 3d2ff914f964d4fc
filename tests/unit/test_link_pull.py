"""Pulling a session uses the line: payload over what the line could have carried, in plant time, headers and all."""

from collections.abc import Iterator

import pytest
from rimward.device.link import verbs
from rimward.simulation.person import Person
from rimward.simulation.scenario import Scenario, plant_of
from rimward.simulation.virtual import VirtualInflator

from tests.unit.linkbench import profile, pull_ratio

# name -> (bytes a second, least ratio): 115,200 baud and 1 Mbaud with start and stop bit; USB full speed, 19 packets of 64 bytes a ms.
LINES = {
    "115200 baud": (11_520.0, 0.90),
    "1 Mbaud": (100_000.0, 0.90),
    "12 Mbit USB": (1_216_000.0, 0.90),
}


@pytest.fixture(scope="module")
def recorded() -> Iterator[tuple[VirtualInflator, int, int]]:
    """An inflator with the session of a fill in it: (inflator, number, bytes)."""
    with VirtualInflator(plant_of(Scenario())) as made:
        person = Person(made)
        person.bring(profile())
        person.choose(Scenario().wheel_id())
        person.fill(90.0)
        made.advance(5.0)
        person.choose(bytes(8))
        row = verbs.list_sessions(person.client)[0]
        person.client.close()
        yield made, row["session"], row["bytes"]


@pytest.mark.parametrize("line", LINES)
def test_pull_fills_the_line(recorded: tuple[VirtualInflator, int, int], line: str) -> None:
    inflator, session, size = recorded
    assert size > 30_000
    rate, least = LINES[line]
    ratio, payload = pull_ratio(inflator, session, size, rate)
    assert len(payload) == size and payload[:3] == b"RWS"
    print(f"{line}: {size} bytes, payload over line {ratio:.3f}")
    assert least <= ratio < 1.0
