"""The step compiled by numba, for campaigns: `plant_tick` and `fault_events` as in `rimward.plant.step`, on numpy arrays."""

from rimward.plant.jit import compile_modules

MODULES = tuple(f"rimward.plant.{name}" for name in ("actuators", "flow", "source", "tyre", "air", "sensing", "step"))  # in order of use
FUNCTIONS = compile_modules(MODULES)
plant_tick = FUNCTIONS["plant_tick"]
fault_events = FUNCTIONS["fault_events"]
