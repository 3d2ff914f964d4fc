"""Both kernels as machine code over recorded ticks: what each tick leaves, and the cycles of both."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from rimward_fw.kernels import order

from tests.interpreter import identical_run as run
from tests.machine import chip, counter, mpyfile


@dataclass
class Counted:
    """Cycles tick by tick, while counting is on; bytes of stack."""

    guard: list[int] = field(default_factory=list)
    fill: list[int] = field(default_factory=list)


class Engine:
    """Guard and fill on one chip. `counted` True: cycles are kept too, for about five times the time."""

    def __init__(self, guard: mpyfile.Module, fill: mpyfile.Module, counted: bool = False) -> None:
        self.chip = chip.Chip()
        self.loaded = modules = [self.chip.load(guard), self.chip.load(fill)]
        self.g, self.x, self.f, self.y = (
            self.chip.array(size) for size in (run.G, run.X, run.F, run.Y)
        )
        self.calls = [
            self.chip.prepare(
                self.chip.function(modules[0], "step"), [self.g.object, self.x.object]
            ),
            self.chip.prepare(
                self.chip.function(modules[1], "step"), [self.f.object, self.y.object]
            ),
        ]
        self.counter = counter.count(self.chip, modules) if counted else None
        self.kept = Counted()

    def guard_step(self, _g: Any, _x: Any) -> int:
        """The guard over its memory in the emulator, which is what it is called with."""
        return self._step(0, self.kept.guard)

    def fill_step(self, _f: Any, _y: Any) -> int:
        """The fill likewise."""
        return self._step(1, self.kept.fill)

    def _step(self, which: int, kept: list[int]) -> int:
        if self.counter is None:
            return self.calls[which].run()
        self.counter.reset()
        out = self.calls[which].run()
        kept.append(int(self.counter.cycles().sum()))
        return out

    def run(self, start: Any, records: Any) -> np.ndarray:
        """What the machine code leaves over records of `identical_run`, a row a tick."""
        memory = (self.g, self.x, self.f, self.y)
        for made, words in zip(memory, run.memory(start)):
            made.words[:] = words
        rows = np.frombuffer(bytes(records), np.int32)
        count = len(rows) // run.RECORD
        left = np.zeros(count * run.WIDTH, np.int32)
        run.run_block(
            self.guard_step,
            boot,
            self.fill_step,
            order.couple,
            *(made.view for made in memory),
            rows.data,
            count,
            left.data,
        )
        return left.reshape(count, run.WIDTH)


def boot(g: Any) -> None:
    """The guard's memory after a reset."""
    for i, value in enumerate(run.memory()[0]):
        g[i] = value
