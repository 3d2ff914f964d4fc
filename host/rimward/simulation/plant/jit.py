"""Compilation of plain scalar modules with numba, without changes to the modules. Importing this needs numba (extra `sim`)."""

import importlib.util
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import FunctionType, ModuleType
from typing import Any

from numba import config as numba_config
from numba import njit
from numba.core.compiler import Compiler

from rimward.simulation.plant.kept import folder_for, source_of

config: Any = numba_config


class Apart(Compiler):
    """Compile on the promise that no two arrays of one call share memory: a value need not be read again after a write to another array."""

    def __init__(
        self,
        typingctx: Any,
        targetctx: Any,
        library: Any,
        args: Any,
        return_type: Any,
        flags: Any,
        names: Any,
    ) -> None:
        flags.noalias = True
        super().__init__(typingctx, targetctx, library, args, return_type, flags, names)  # type: ignore[no-untyped-call]


# No reference counts: with them every inner call with arrays costs two atomic operations, and a tick 2.5 times as much. A caller
# that wants this speed passes the same options and allocates nothing.
OPTIONS: dict[str, Any] = {
    "error_model": "numpy",
    "_nrt": False,
    "cache": True,
    "pipeline_class": Apart,
}
INNER: dict[str, Any] = OPTIONS | {"inline": "always"}


@contextmanager
def cache_for(names: tuple[str, ...]) -> Iterator[None]:
    """Store the compiled code of functions decorated inside in a folder that belongs to exactly these sources."""
    before = config.CACHE_DIR
    config.CACHE_DIR = str(folder_for(names))
    try:
        yield
    finally:
        config.CACHE_DIR = before


def second_copy(name: str) -> ModuleType:
    """Fresh module from the source of `name`, under its own name so that caching and pickling find it."""
    spec = importlib.util.spec_from_file_location(
        "compiled_" + name.replace(".", "_"), source_of(name)
    )
    if spec is None or spec.loader is None:
        raise ImportError(f"no loader for {name}")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def compile_modules(names: tuple[str, ...], **options: Any) -> dict[str, Any]:
    """Compile every function of the modules `names`, listed in order of use. Return functions by name.

    A function must be defined before the functions that call it, in its module or an earlier one.
    """
    done: dict[str, Any] = {}
    with cache_for(names):
        for name in names:
            module = second_copy(name)
            for key, value in list(vars(module).items()):
                if isinstance(value, FunctionType):
                    if value.__module__ == module.__name__:
                        done[key] = njit(**(INNER | options))(value)
                    if key in done:
                        setattr(module, key, done[key])
    return done
