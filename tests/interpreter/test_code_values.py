"""The published values of tests/outside/code_values on both MicroPython builds: the device's own digest and frame path."""

import shutil
from pathlib import Path

from tests.outside import code_values


def test_published_values_on_micropython(micropython, device_folder: Path) -> None:
    shutil.copy(Path(code_values.__file__), device_folder)
    assert micropython("import code_values; print(code_values.problems())").strip() == "([], 26)"
