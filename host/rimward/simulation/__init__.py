"""The simulated world: the unchanged firmware against a plant of source, hose, valve, tyre and sensors, with every fault by name.

The semiconductor sticks on in mid-fill; the guard sees the rise, drops the contact in series and latches:

>>> from rimward.simulation import FAULTS, Person, Scenario, VirtualInflator, fault_rows, plant_of, profile_of
>>> scenario = Scenario(tyre="32-622")
>>> with VirtualInflator(plant_of(scenario), faults=fault_rows("gate_stuck_on", tick=6000)) as inflator:
...     person = Person(inflator)
...     stored = person.bring(profile_of(scenario))
...     person.choose(scenario.wheel_id())
...     last = person.fill(60.0)
...     peak_pa = inflator.plant.peak_pa
>>> FAULTS["gate_stuck_on"].set, last["state"], last["cause"], peak_pa < 350_000
('D', 'tripped', 'rising-while-off', True)

How a fault or a scenario is added is written in DEVELOPERS.md, "Add a fault or a scenario".
"""

from rimward.plant import PlantParams, compressor, line
from rimward.plant.faults import FAULTS, Fault
from rimward.plant.faults import events as fault_rows
from rimward.simulation.person import Person
from rimward.simulation.record import record_fill
from rimward.simulation.scenario import Scenario, plant_of, profile_of
from rimward.virtual import VirtualInflator, Where, find_interpreter

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
