"""A recorded fill, made in lockstep by the present firmware."""

import functools
from unittest import mock

from rimward.simulation.person import Person
from rimward.simulation.scenario import Scenario, plant_of, profile_of
from rimward.simulation.virtual import VirtualInflator, Where, find_interpreter

PATIENCE_S = 20.0  # an overloaded machine does not count as a halted processor here
WHEN_S = 1_773_000_000  # 2026-03-08, an invented Sunday


@functools.cache
def recorded() -> bytes:
    """The session file of one short fill of the demo wheel."""
    import tempfile
    from dataclasses import replace
    from pathlib import Path

    from rimward.device.link import verbs
    from rimward.simulation.virtual import process

    scenario = Scenario()
    with (
        mock.patch.object(process, "ANSWER_S", PATIENCE_S),
        VirtualInflator(
            replace(plant_of(scenario), tyre_pa=320_000.0),
            interpreter=find_interpreter(),
            where=Where(unix_s=WHEN_S),
        ) as inflator,
    ):
        person = Person(inflator)
        person.bring(profile_of(scenario))
        person.choose(scenario.wheel_id())
        person.fill()
        person.let_settle()
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "session.rws"
            verbs.pull_session(person.client, 0, path)
            return path.read_bytes()
