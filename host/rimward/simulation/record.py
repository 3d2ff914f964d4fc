"""Recorded fill of the simulated world in one call."""

from collections.abc import Iterable
from pathlib import Path

from rimward.device.link import verbs
from rimward.simulation.person import Person
from rimward.simulation.scenario import Scenario, plant_of, profile_of
from rimward.simulation.virtual import VirtualInflator, Where


def record_fill(
    scenario: Scenario,
    to: Path,
    hold_s: float = 240.0,
    faults: Iterable[tuple[int, int, float]] = (),
    where: Where | None = None,
) -> Path:
    """Fill a scenario's wheel at a virtual inflator and write the session to `to`.

    The person holds the run control for `hold_s` seconds, or until the fill is done. `faults` are rows of `fault_rows`.
    """
    with VirtualInflator(plant_of(scenario), faults=tuple(faults), where=where) as inflator:
        person = Person(inflator)
        person.bring(profile_of(scenario))
        person.choose(scenario.wheel_id())
        person.fill(hold_s)
        person.let_settle()
        person.choose(bytes(8))
        mine = [
            row
            for row in verbs.list_sessions(person.client)
            if row["wheel_id"] == scenario.wheel_id().hex()
        ]
        verbs.pull_session(person.client, mine[0]["session"], to)
    return to
