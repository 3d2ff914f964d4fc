"""Simulated world: the unchanged firmware against a plant of source, hose, valve, tyre and sensors, with every fault by name.

The semiconductor sticks on in mid-fill; the guard sees the rise, drops the contact in series and latches:

>>> from rimward.simulation import FAULTS, Person, Scenario, VirtualInflator, fault_rows, plant_of, profile_of
>>> scenario = Scenario(tyre="32-622")
>>> with VirtualInflator(plant_of(scenario), faults=fault_rows("gate_stuck_on", tick=4000)) as inflator:
...     person = Person(inflator)
...     stored = person.bring(profile_of(scenario))
...     person.choose(scenario.wheel_id())
...     last = person.fill(60.0)
...     peak_pa = inflator.plant.peak_pa
>>> FAULTS["gate_stuck_on"].set, last["state"], last["cause"], peak_pa < 350_000
('D', 'tripped', 'rising-while-off', True)

How a fault or a scenario is added is written in DEVELOPERS.md, "Add a fault or a scenario".
"""

from typing import TYPE_CHECKING

from rimward.base import lazy

if TYPE_CHECKING:
    from rimward.simulation.person import Person
    from rimward.simulation.plant import PlantParams, compressor, line
    from rimward.simulation.plant.faults import FAULTS, Fault
    from rimward.simulation.plant.faults import events as fault_rows
    from rimward.simulation.record import record_fill
    from rimward.simulation.scenario import Scenario, plant_of, profile_of
    from rimward.simulation.virtual import VirtualInflator, Where, find_interpreter

PLACES = {
    "FAULTS": "rimward.simulation.plant.faults",
    "Fault": "rimward.simulation.plant.faults",
    "Person": "rimward.simulation.person",
    "PlantParams": "rimward.simulation.plant",
    "Scenario": "rimward.simulation.scenario",
    "VirtualInflator": "rimward.simulation.virtual",
    "Where": "rimward.simulation.virtual",
    "compressor": "rimward.simulation.plant",
    "fault_rows": "rimward.simulation.plant.faults:events",
    "find_interpreter": "rimward.simulation.virtual",
    "line": "rimward.simulation.plant",
    "plant_of": "rimward.simulation.scenario",
    "profile_of": "rimward.simulation.scenario",
    "record_fill": "rimward.simulation.record",
}
__getattr__ = lazy.exports(__name__, PLACES)

__all__ = [
    "FAULTS",
    "Fault",
    "Person",
    "PlantParams",
    "Scenario",
    "VirtualInflator",
    "Where",
    "compressor",
    "fault_rows",
    "find_interpreter",
    "line",
    "plant_of",
    "profile_of",
    "record_fill",
]
