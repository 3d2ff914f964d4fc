"""The kernels' machine code from the very files that `rimward install` puts on a board."""

from functools import cache

from rimward.device.install import plan

from tests import made
from tests.machine import mpyfile, paths


@cache
def files(bench: bool = False) -> dict[str, bytes]:
    """Path on the board -> bytes. `bench`: of a proof bench."""
    return {item.path: item.data for item in made.items(bench)}


def kernel(name: str, bench: bool = False) -> mpyfile.Module:
    """The module of `guard`, `fill` or `tick`."""
    return paths.load(files(bench)[f"{plan.KERNELS}{name}.mpy"])
