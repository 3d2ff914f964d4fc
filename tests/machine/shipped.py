"""The kernels' machine code as it goes on a board."""

import tempfile
from functools import cache
from pathlib import Path

from rimward.kernels.assemble import assemble

from tests.machine import mpyfile, paths
from tests.machine.cycles import VIPER

ENTRY = {"guard": "step", "fill": "step", "tick": "interrupt"}


@cache
def kernel(name: str) -> mpyfile.Module:
    """The machine code of `guard`, `fill` or `tick`."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{name}.py"
        path.write_text(assemble(f"rimward_fw.kernels.{name}", entry=ENTRY[name]), encoding="utf-8")
        return paths.load(mpyfile.compiled(path, *VIPER))
