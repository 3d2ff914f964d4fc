"""The kernels' machine code from the very files that `rimward install` puts on a board."""

from functools import cache

from rimward.install import plan

from tests.machine import mpyfile, paths


@cache
def files() -> dict[str, bytes]:
    """Path on the board -> bytes."""
    return {item.path: item.data for item in plan.items()}


def kernel(name: str) -> mpyfile.Module:
    """The module of `guard`, `fill` or `tick`."""
    return paths.load(files()[f"{plan.KERNELS}{name}.mpy"])
