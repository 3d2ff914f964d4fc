"""The step compiled by numba, for campaigns: `plant_tick` and `fault_events` as in `rimward.simulation.plant.step`, on numpy arrays."""

from rimward.simulation.plant.jit import compile_modules
from rimward.simulation.plant.kept import MODULES

FUNCTIONS = compile_modules(MODULES)
plant_tick = FUNCTIONS["plant_tick"]
fault_events = FUNCTIONS["fault_events"]
