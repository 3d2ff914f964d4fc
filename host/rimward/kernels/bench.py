"""Firmware of the proof bench, made from the ordinary one: the same files except both kernels and main.py.

The guard is `kernels/guard.py` with the constants of `rimward_fw.bench.limits`; the fill controller is `bench/fill.py`. The firmware's
`built_right` tests the result at every start. Used for installing a bench and for running one virtually.
"""

import shutil
from functools import cache
from pathlib import Path
from types import ModuleType

import rimward_fw
from rimward_fw.bench.limits import LIMITS

from rimward.kernels.assemble import assemble
from rimward.kernels.sources import source_paths

GUARD, FILL = "rimward_fw.kernels.guard", "rimward_fw.bench.fill"
ORDINARY_START = "from rimward_fw import app, board"
BENCH_START = "from rimward_fw import board\n        from rimward_fw.bench import app"
NOT_NEEDED = ("__pycache__",)


def bench_guard() -> str:
    """Source of the bench's guard. ValueError for an unknown constant."""
    return assemble(GUARD, LIMITS)


def bench_main(source: str) -> str:
    """Source of the bench's main.py. ValueError if the ordinary one does not start as expected."""
    if source.count(ORDINARY_START) != 1:
        raise ValueError("main.py does not start the ordinary inflator as expected")
    return source.replace(ORDINARY_START, BENCH_START)


def write_tree(folder: Path) -> Path:
    """Write the complete bench firmware (package `rimward_fw` and main.py) into `folder`. Return main.py."""
    _protocol, firmware, main = source_paths()
    package = folder / "rimward_fw"
    shutil.copytree(
        firmware / "rimward_fw",
        package,
        ignore=shutil.ignore_patterns(*NOT_NEEDED),
        dirs_exist_ok=True,
    )
    for name, text in kernel_files().items():
        (package / name).write_text(text, encoding="utf-8")
    start = folder / "main.py"
    start.write_text(bench_main(main.read_text(encoding="utf-8")), encoding="utf-8")
    return start


def kernel_files() -> dict[str, str]:
    """Files of the firmware's package that differ on a bench, with their text."""
    return {"kernels/guard.py": bench_guard(), "kernels/fill.py": assemble(FILL)}


@cache
def guard_module() -> ModuleType:
    """Bench's guard as a module, for replays and tests."""
    module = ModuleType("rimward_fw.bench_guard")
    exec(compile(bench_guard(), "bench guard", "exec"), module.__dict__)
    return module


def _package() -> Path:
    return Path(rimward_fw.__file__).resolve().parent
