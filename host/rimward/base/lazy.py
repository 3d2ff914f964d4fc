"""Names of a room that are imported from its modules at first use: importing a room, or one module of it, must not load all of it."""

import importlib
from collections.abc import Callable, Mapping
from typing import Any


def exports(package: str, places: Mapping[str, str]) -> Callable[[str], Any]:
    """Return the `__getattr__` of `package`: `places` gives for each exported name its place as `module:name`, or `module` for the same name.

    A type checker sees the same names as imports under `if TYPE_CHECKING`; `tests/unit/test_library.py` compares both.
    """

    def find(name: str) -> Any:
        if name not in places:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        module, _, own = places[name].partition(":")
        value = getattr(importlib.import_module(module), own or name)
        setattr(importlib.import_module(package), name, value)
        return value

    return find
