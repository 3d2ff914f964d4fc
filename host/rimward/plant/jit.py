"""Compile plain scalar modules with numba, without the modules knowing of it. Importing this needs numba (extra `sim`)."""

import hashlib
import importlib.util
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

import platformdirs
from numba import config as numba_config
from numba import njit
from numba.core.compiler import Compiler

config: Any = numba_config


class Apart(Compiler):
    """Compiles on the promise that no two arrays of one call share memory: what stands in one need not be read again after a write to another."""

    def __init__(self, typingctx: Any, targetctx: Any, library: Any, args: Any, return_type: Any, flags: Any, names: Any) -> None:
        flags.noalias = True
        super().__init__(typingctx, targetctx, library, args, return_type, flags, names)


# No reference counts: with them every inner call that takes arrays costs two atomic operations, and a tick 2.5 times as much. A caller
# that wants this speed passes the same options and allocates nothing itself.
OPTIONS: dict[str, Any] = {"error_model": "numpy", "_nrt": False, "cache": True, "pipeline_class": Apart}
INNER: dict[str, Any] = OPTIONS | {"inline": "always"}


def source_of(name: str) -> Path:
    """The source file of module `name`."""
    spec = importlib.util.find_spec(name)
    if spec is None or spec.origin is None:
        raise ImportError(f"no source for {name}")
    return Path(spec.origin)


def digest(names: tuple[str, ...]) -> str:
    """Fingerprint of every source file beside the modules `names`: numba itself looks at one file only and would run stale code."""
    folders = sorted({source_of(name).parent for name in names})
    total = hashlib.sha256()
    for folder in folders:
        for path in sorted(folder.glob("*.py")):
            total.update(path.name.encode() + b"\0" + path.read_bytes())
    return total.hexdigest()[:16]


def folder_for(names: tuple[str, ...]) -> Path:
    """Where the machine code of exactly these sources is kept."""
    return Path(platformdirs.user_cache_dir("rimward")) / "compiled" / digest(names)


def is_kept(names: tuple[str, ...]) -> bool:
    """Whether machine code of these sources is kept: the first use after a change compiles them, which takes a while."""
    return any(folder_for(names).rglob("*.nbi"))


@contextmanager
def cache_for(names: tuple[str, ...]) -> Iterator[None]:
    """Functions decorated inside keep their compiled code in a folder that belongs to exactly these sources."""
    before = config.CACHE_DIR
    config.CACHE_DIR = str(folder_for(names))
    try:
        yield
    finally:
        config.CACHE_DIR = before


def second_copy(name: str) -> ModuleType:
    """A fresh module from the source of `name`, under a name of its own so that caching and pickling find it."""
    spec = importlib.util.spec_from_file_location("compiled_" + name.replace(".", "_"), source_of(name))
    if spec is None or spec.loader is None:
        raise ImportError(f"no loader for {name}")
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def compile_modules(names: tuple[str, ...], **options: Any) -> dict[str, Any]:
    """Compile every function of the modules `names`, listed in order of use; returns functions by name.

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
