"""Compiled engines: `faulted.session`, the baselines and the ideal fill with the kernels' own files and the plant. Needs numba (extra
`sim`).
"""

from functools import cache
from types import FunctionType, ModuleType
from typing import Any

from rimward.kernels.assemble import gathered
from rimward.simulation.plant.kept import MODULES

GUARD, FILL, TICK = (
    tuple(gathered("rimward_fw.kernels.guard")),
    tuple(gathered("rimward_fw.kernels.fill")),
    ("rimward_fw.kernels.order",),
)
KERNELS = GUARD + FILL + TICK
LOOPS = ("rimward.simulation.faulted", "rimward.simulation.baselines", "rimward.simulation.ideal")
SOURCES = KERNELS + MODULES + LOOPS
COPIED_IN = (
    "drive_of",
    "question",
    "filling",
    "drawn",
    "held",
    "refused",
    "person",
    "standing_still",
    "own_air",
    "inflow",
    "over_for",
    "measure",
    "ended",
    "gauge",
    "next_event",
)  # each array passed costs seven words a call
CALLED = ("reset", "chosen_again", "session", "baseline", "feed")


@cache
def compiled() -> dict[str, Any]:
    """Functions by name: `guard_step`, `guard_boot`, `fill_step`, `tick`, `plant_tick`, `session`, `baseline`, `feed`."""
    from numba import njit

    from rimward.simulation.plant.jit import OPTIONS, cache_for, compile_modules, second_copy

    found = kernels()
    plant = compile_modules(MODULES)
    with cache_for(SOURCES):
        for name in (
            "plant_tick",
            "fault_events",
            "random_word",
        ):  # called, not inlined: compiled once for all loops
            found[name] = njit(**OPTIONS, forceinline=name == "plant_tick")(plant[name].py_func)
        for source in LOOPS:
            _compile_loop(
                second_copy(source),
                found,
                lambda f: njit(
                    **OPTIONS | {"inline": "always" if f.__name__ in COPIED_IN else "never"}
                )(f),
            )
    return found


@cache
def kernels() -> dict[str, Any]:
    """Return the firmware's kernels alone: `guard_step`, `guard_boot`, `fill_step`, `tick`."""
    from rimward.simulation.plant.jit import compile_modules

    options = {
        "inline": "never",
        "forceinline": True,
        "error_model": "python",
    }  # as Python: // rounds down
    guards = compile_modules(
        GUARD, **options | {"forceinline": False}
    )  # long: alone it has the registers
    found = {"guard_step": guards["step"], "guard_boot": guards["boot"]}
    found["fill_step"] = compile_modules(FILL, **options)["step"]
    # Never cached separately: a later process could not distinguish the kernels in its signature from its own.
    found["tick"] = compile_modules(TICK, **options | {"cache": False})["couple"]
    return found


def _compile_loop(module: ModuleType, found: dict[str, Any], make: Any) -> None:
    """Compile the loop functions of `module` with its kernels and plant bound to those in `found`; add them there."""
    for name, value in list(vars(module).items()):
        if name in COPIED_IN + CALLED and isinstance(value, FunctionType):
            found[name] = make(value)
        if name in found:
            setattr(module, name, found[name])
