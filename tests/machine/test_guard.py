"""The shipped guard against CPython, tick by tick; its cycles within its longest path; differences planted in it are found."""

import random

import numpy as np
import pytest

from tests.interpreter import identical
from tests.interpreter import identical_run as run
from tests.machine import chip, counter, paths, planted, shipped

TICKS = 3000


class Guard:
    """The guard alone, over guided ticks with the wish as CPython's fill had it."""

    def __init__(self, module, counted=False):
        self.chip = chip.Chip()
        self.loaded = self.chip.load(module)
        self.g, self.x = self.chip.array(run.G), self.chip.array(run.X)
        self.step = self.chip.prepare(self.chip.function(self.loaded, "step"), [self.g.object, self.x.object])
        self.counter = counter.count(self.chip, [self.loaded]) if counted else None

    def run(self, rows, left):
        """Cycles of every tick, and the first tick that differs (-1: none)."""
        boot, cycles = run.memory()[0], []
        self.g.words[:] = boot
        for n, row in enumerate(rows):
            if row[1] == -2:
                self.g.words[:] = boot
            elif row[1] >= 0:
                self.g.words[row[1] & 63] ^= 1 << (row[1] >> 6)
            self.x.words[:] = row[run.HEAD : run.HEAD + run.X]
            if row[0] == 0:
                self.x.words[2] = self.x.words[2] & 0xFFEF | (left[n][0] >> 8 & 1) << 4
            if self.counter:
                self.counter.reset()
            out = self.step.run()
            if self.counter:
                cycles.append(int(self.counter.cycles().sum()))
            if out != left[n][0] & 255 or not np.array_equal(self.g.words, left[n][1 : 1 + run.G]):
                return cycles, n
        return cycles, -1


@pytest.fixture(scope="module")
def ticks():
    kept = identical.guided(12, TICKS)
    return np.frombuffer(kept.records, np.int32).reshape(-1, run.RECORD), np.frombuffer(kept.left, np.int32).reshape(-1, run.WIDTH)


def test_every_tick_is_that_of_cpython_and_within_the_longest_path(ticks):
    module = shipped.kernel("guard")
    longest = paths.bound(paths.Function(module, paths.function(module, "step")))
    assert not longest.problems
    guard = Guard(module, counted=True)
    guard.chip.paint_stack()
    cycles, differs = guard.run(*ticks)
    assert differs == -1 and len(cycles) == TICKS
    assert 300 < min(cycles) and max(cycles) <= longest.cycles
    assert guard.chip.stack_used() <= longest.stack_bytes


def test_differences_planted_in_its_code_are_found(ticks):
    module = shipped.kernel("guard")
    guard = Guard(module)
    ran = planted.executed(guard.chip, guard.loaded, lambda: guard.run(*ticks))
    changes = planted.changes(paths.function(module, "step"), ran["step"], 24, random.Random(4))
    missed = []
    for change in changes:
        try:
            if Guard(planted.with_change(module, change)).run(*ticks)[1] == -1:
                missed.append(str(change))
        except chip.Violation:
            pass
    assert len(changes) == 24 and len(missed) <= 4, missed
