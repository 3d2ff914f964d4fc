"""The board's machine code against CPython, its cycles and its bounds: the figures of `python -m tests.machine`."""

import statistics
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.interpreter import identical
from tests.interpreter import identical_run as run
from tests.machine import chip, engine, paths, runtime, whole
from tests.sessions.cases import CASES

SEED = 12
CHUNK = 5000
WORDS = run.G + run.X + run.F + run.Y
TICK_US_MAX, MEDIAN_US_MAX, FILL_US_MAX = 300, 200, 200
Tell = Callable[[str, int], None]


@dataclass
class Bounds:
    """Longest paths without the peripheral bridge's cycles; the tick with the interrupt's dispatch."""

    tick: paths.Bound
    guard: paths.Bound
    fill: paths.Bound

    def problems(self) -> list[str]:
        """What a tick may not do, each once."""
        return sorted(
            {problem for one in (self.tick, self.guard, self.fill) for problem in one.problems}
        )


@dataclass
class Figures:
    """All that was found."""

    bounds: Bounds
    found: whole.Found = field(default_factory=whole.Found)

    def with_flash_waits_us(self) -> float:
        """Estimate of the longest tick where the runtime functions run from flash: they alone wait, machine code of modules is in RAM."""
        called = (
            sum(
                runtime.BY_NAME[name].cycles * count
                for name, count in self.bounds.tick.calls.items()
            )
            + runtime.DISPATCH_CYCLES
        )
        return runtime.microseconds(
            self.bounds.tick.cycles + self.found.bridged + called * (runtime.FLASH_WAITS - 1)
        )

    def row(self) -> dict[str, Any]:
        """The figures as they are printed."""
        bounds, found = self.bounds, self.found
        made = {
            "ticks": found.ticks,
            "differences": len(found.differences),
            "tick_us_worst": runtime.microseconds(bounds.tick.cycles + found.bridged),
            "tick_us_median": runtime.microseconds(statistics.median(found.tick or [0])),
            "guard_us_worst": runtime.microseconds(bounds.guard.cycles),
            "fill_us_worst": runtime.microseconds(bounds.fill.cycles),
            "bytecode_calls": len(bounds.problems()),
            "stack_bytes_worst": bounds.tick.stack_bytes,
        }
        within = (
            made["tick_us_worst"] <= TICK_US_MAX
            and made["tick_us_median"] <= MEDIAN_US_MAX
            and made["fill_us_worst"] <= FILL_US_MAX
        )
        counted = (
            max(found.tick, default=0) <= bounds.tick.cycles + found.bridged
            and found.stack_bytes <= bounds.tick.stack_bytes
        )
        return {"ok": not found.differences and not bounds.problems() and within and counted} | made


def bounds(code: whole.Codes) -> Bounds:
    """Longest path and deepest stack of both kernels and of the whole tick."""
    guard, fill = (
        paths.Function(module, paths.function(module, "step")) for module in (code.guard, code.fill)
    )
    tick = paths.Function(
        code.tick, paths.function(code.tick, "interrupt"), {"_guard": guard, "_fill": fill}
    )
    whole_tick = paths.bound(tick)
    whole_tick.cycles += runtime.DISPATCH_CYCLES
    whole_tick.stack_bytes += runtime.DISPATCH_STACK
    return Bounds(whole_tick, paths.bound(guard), paths.bound(fill))


def chunks(ticks: int) -> Iterable[tuple[int, Any]]:
    """(number, guided ticks by CPython), so many in all."""
    for number in range(-(-ticks // CHUNK)):
        yield number, identical.guided(SEED + number, min(CHUNK, ticks - number * CHUNK))


def kernels_alone(code: whole.Codes, kept: Any) -> str:
    """The first difference of both kernels over guided ticks, the guard with the wish as recorded where the record says so."""
    try:
        return identical.differs(
            kept.left, engine.Engine(code.guard, code.fill).run(None, kept.records.tobytes())
        )
    except chip.Violation as violation:
        return str(violation)


def rows_of(records: Any) -> list[list[int]]:
    """Records of `identical_run` as rows."""
    made: list[list[int]] = np.frombuffer(records, np.int32).reshape(-1, run.RECORD).tolist()
    return made


def guided(code: whole.Codes, ticks: int, found: whole.Found, tell: Tell) -> None:
    """Guided ticks: kernels alone, then the whole tick, every other chunk with its plumbing disturbed."""
    world, machine = whole.World(), whole.Machine(code)
    machine.chip.paint_stack()
    for number, kept in chunks(ticks):
        wrong = kernels_alone(code, kept)
        if wrong:
            found.differences.append(f"guided {number}, kernels alone: {wrong}")
        whole.compare(world, machine, None, rows_of(kept.records.tobytes()), found, number % 2 == 1)
        tell(f"guided ticks, part {number + 1}", found.ticks)
    found.stack_bytes = max(found.stack_bytes, machine.chip.stack_used() + runtime.DISPATCH_STACK)


def recorded(code: whole.Codes, names: Iterable[str], found: whole.Found, tell: Tell) -> None:
    """Recorded sessions: the whole tick, which must leave what the kernels alone leave on CPython."""
    world, machine = whole.World(), whole.Machine(code)
    machine.chip.paint_stack()
    for name in names:
        for start, records in identical.corpus(name):
            if (
                len(start) != WORDS
            ):  # recorded by kernels with other words: the same inputs from a reset on
                start = None
                found.from_reset.append(name)
            left = np.frombuffer(identical.by_cpython(start, records), np.int32).reshape(
                -1, run.WIDTH
            )
            before = len(found.differences)
            whole.compare(world, machine, start, rows_of(records), found, False, left)
            found.differences[before:] = [f"{name}: {text}" for text in found.differences[before:]]
        tell(name, found.ticks)
    found.stack_bytes = max(found.stack_bytes, machine.chip.stack_used() + runtime.DISPATCH_STACK)


def sessions() -> list[str]:
    """Names of all recorded sessions."""
    return [case.name for case in CASES]


def measure(
    code: whole.Codes, ticks: int, names: Iterable[str], tell: Tell = lambda *_: None
) -> Figures:
    """Everything: bounds, guided ticks, recorded sessions."""
    figures = Figures(bounds(code))
    guided(code, ticks, figures.found, tell)
    recorded(code, names, figures.found, tell)
    return figures
