"""The step compiled by numba, for campaigns: `plant_tick` and `fault_events` as in `rimward.plant.step`, on numpy arrays."""

from rimward.plant.jit import compile_modules

FUNCTIONS = compile_modules(
    ("rimward.plant.actuators", "rimward.plant.air", "rimward.plant.sensing", "rimward.plant.step"),
)
plant_tick = FUNCTIONS["plant_tick"]
fault_events = FUNCTIONS["fault_events"]
