"""Where the machine code of the simulated world is kept, and whether it is. Without numba, so that asking costs nothing."""

import hashlib
import importlib.util
import sys
from pathlib import Path

import platformdirs

MODULES = tuple(
    f"rimward.simulation.plant.{name}"
    for name in ("actuators", "flow", "source", "tyre", "air", "sensing", "step")
)  # of the plant, in order of use


def source_of(name: str) -> Path:
    """Return the source file of module `name`."""
    spec = importlib.util.find_spec(name)
    if spec is None or spec.origin is None:
        raise ImportError(f"no source for {name}")
    return Path(spec.origin)


def digest(names: tuple[str, ...]) -> str:
    """Fingerprint of every source file beside the modules `names`: numba itself checks one file only and would run stale code."""
    folders = sorted({source_of(name).parent for name in names})
    total = hashlib.sha256()
    for folder in folders:
        for path in sorted(folder.glob("*.py")):
            total.update(path.name.encode() + b"\0" + path.read_bytes())
    return total.hexdigest()[:16]


def folder_for(names: tuple[str, ...]) -> Path:
    """Folder of the machine code of exactly these sources at this place: numba does not use what the same sources elsewhere left."""
    place = hashlib.sha256(str(source_of(names[0]).parent.resolve()).encode()).hexdigest()[:8]
    return Path(platformdirs.user_cache_dir("rimward")) / "compiled" / f"{digest(names)}-{place}"


def is_kept(names: tuple[str, ...] = MODULES, function: str = "plant_tick") -> bool:
    """Return True if machine code of these sources for this Python is stored: the first use after a change compiles them, which takes a while.

    `function` is the one that is compiled last: while another process is still compiling, nothing is taken as kept.
    """
    python = f"py{sys.version_info.major}{sys.version_info.minor}"
    return any(folder_for(names).rglob(f"*.{function}-*.{python}.nbi"))
