"""The proof bench's firmware, made from the ordinary one: same files, but the guard's compiled ceilings and key position, and the fill.

`guard.py` stays one source. The bench's is that text with the constants of `CONSTANTS` replaced and nothing else; `built_right` of
the firmware tries the result at every start. Used to install a bench (`rimward.install`) and to run one virtually.
"""

import re
import shutil
from functools import cache
from pathlib import Path
from types import ModuleType

from rimward.install.kernels import translate

# Constant of guard.py -> what the bench compiles in. Its key's third position closes both range contacts, which an ordinary guard takes
# for a broken key; no wire sets bit 13, so that there is no other position in which a bench runs.
CONSTANTS = {"_LOW_CEIL": "1_000_000", "_HIGH_CEIL": "1_000_000", "_KEY_LOW": "6", "_KEY_HIGH": "8192"}
ORDINARY_START = "from rimward_fw import app, board"
BENCH_START = "from rimward_fw import board\n        from rimward_fw.bench import app"
NOT_NEEDED = ("__pycache__",)


def bench_guard(source: str) -> str:
    """The bench's guard from the ordinary guard's text. ValueError if a constant does not stand there exactly once."""
    for name, value in CONSTANTS.items():
        source, count = re.subn(rf"^{name} = const\([^)]*\)", f"{name} = const({value})", source, flags=re.MULTILINE)
        if count != 1:
            raise ValueError(f"{name} stands {count} times in the guard, not once")
    return source


def bench_main(source: str) -> str:
    """The bench's main.py. ValueError if the ordinary one does not start as expected."""
    if source.count(ORDINARY_START) != 1:
        raise ValueError("main.py does not start the ordinary inflator as expected")
    return source.replace(ORDINARY_START, BENCH_START)


def write_tree(folder: Path) -> Path:
    """Writes the whole bench firmware (package `rimward_fw` and main.py) into `folder`; gives main.py."""
    from rimward.virtual.interpreter import source_paths

    _protocol, firmware, main = source_paths()
    package = folder / "rimward_fw"
    shutil.copytree(firmware / "rimward_fw", package, ignore=shutil.ignore_patterns(*NOT_NEEDED), dirs_exist_ok=True)
    for name, text in kernel_files().items():
        (package / name).write_text(text, encoding="utf-8")
    start = folder / "main.py"
    start.write_text(bench_main(main.read_text(encoding="utf-8")), encoding="utf-8")
    return start


def kernel_files() -> dict[str, str]:
    """Files of the package that a bench has otherwise: both kernels, plain and as machine code."""
    package = _package()
    guard = bench_guard((package / "kernels" / "guard.py").read_text(encoding="utf-8"))
    fill = (package / "bench" / "fill.py").read_text(encoding="utf-8")
    return {"kernels/guard.py": guard, "kernels/fill.py": fill, "fast/guard.py": translate(guard, "guard"), "fast/fill.py": translate(fill, "fill")}


@cache
def guard_module() -> ModuleType:
    """The bench's guard as a module, for replays and tests."""
    module = ModuleType("rimward_fw.bench_guard")
    exec(compile(bench_guard((_package() / "kernels" / "guard.py").read_text(encoding="utf-8")), "bench guard", "exec"), module.__dict__)
    return module


def _package() -> Path:
    import rimward_fw

    return Path(rimward_fw.__file__).resolve().parent
