"""The files that `rimward install` puts on a board, as it makes them."""

from functools import cache

from rimward.install import plan

from tests.machine import mpyfile, paths


@cache
def files() -> dict[str, bytes]:
    """Path on the board -> bytes."""
    return {item.path: item.data for item in plan.items(compiled=True)}


def kernel(name: str) -> mpyfile.Module:
    """The machine code of `guard`, `fill` or `tick`."""
    return paths.load(files()[f"/lib/rimward_fw/fast/{name}.mpy"])
