"""The whole tick, from the timer's callback to the end of recording: on CPython over arrays and as machine code over mapped registers.

A recorded row becomes what converters, pins and clock would show: a level at the pins, codes in the ring that DMA fills, a word from the
SPI converter. Sums and ratio are chosen so that the tick reads exactly the row's fast inputs, where a row can be read at all.
"""

import random
from array import array
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np
from rimward_fw.board.pins import ADC_SUPPLY_MILLI
from rimward_fw.kernels import fill, guard, tick
from rimward_protocol import kernel_slots as slots

from tests.interpreter import identical_run as run
from tests.machine import chip, counter, mpyfile, runtime

# the tick's context: arrays in the heap, then the samples, then register blocks (address, words)
WORDS = (run.G, run.X, run.F, run.Y, slots.WORDS_T, slots.RING_TICKS * slots.RING_WORDS)
G, X, F, Y, T, RING, SIO, SAMPLES, DMA, SPI, CLOCK = range(11)
REGISTERS = {
    SIO: (0xD000_0000, 8),
    DMA: (0x5000_0000, 4),
    SPI: (0x4003_C000, 4),
    CLOCK: (0x4005_4028, 1),
}
SAMPLE_COUNT = 16
KEPT = (G, X, F, Y, T, SIO, SPI)  # compared after every tick, with the ring's row
PINS = range(slots.T_PIN_RUN, slots.T_SUPPLY_GAIN)
SWITCH_PINS = {  # switch bit -> word with its pin's mask
    1: slots.T_PIN_RUN, 2: slots.T_PIN_KEY_LOW, 4: slots.T_PIN_KEY_HIGH, 8: slots.T_PIN_CUTOFF, 512: slots.T_PIN_UP, 1024: slots.T_PIN_DOWN,
    2048: slots.T_PIN_ENTER, 4096: slots.T_PIN_WORKSHOP,
}  # fmt: skip
CUTOFF, WANT = 8, 16
GAIN = 3300 * 1000 // ADC_SUPPLY_MILLI
NOT_EMPTY = 4
UNIT_SHIFT = 7
CODE_MAX = 4095
PART_MAX = 16_384  # shifted by 16 it stays in 31 bits
HEAD_MASK = 0x3FFF_FFFF


@cache
def sums(ratio: int) -> tuple[int, int]:
    """(sum of B's codes, filtered sum of the supply) whose ratio in 1/65536 is exactly this.

    A few ratios that simulated sensors give need a supply that a 12-bit converter cannot show; near full scale the clamped one is left.
    """
    for whole in (*range(4 * CODE_MAX, 255, -1), *range(4 * CODE_MAX + 1, 1 << 16)):
        part = -(-ratio * whole >> 16)
        if part <= PART_MAX and (part << 16) // whole == ratio:
            return part, whole
    return 4 * CODE_MAX, 4 * CODE_MAX


@cache
def supply(units: int) -> int:
    """Sum of the supply's codes that is shown as so many units; the largest there is where none is."""
    return min(-(-((units << 20) - 0x80000) // GAIN), 4 * CODE_MAX) if units else 0


@cache
def filtered_before(whole: int, total: int) -> int:
    """The filtered supply before a tick that leaves `whole` after it."""
    guess = (64 * whole - 16 * total) // 3
    for before in range(guess - 64, guess + 64):
        if before + ((total << 4) - before >> 2) >> 4 == whole:
            return before
    raise ValueError(f"no filtered supply becomes {whole}")


class World:
    """CPython's blocks, bound to the plain tick, and what converters, pins and main loop put into them.

    `guard_step`, `fill_step`: a proof bench's kernels in place of the ordinary ones.
    """

    def __init__(
        self, seed: int = 3, guard_step: Any = guard.step, fill_step: Any = fill.step
    ) -> None:
        self.dice = random.Random(seed)
        self.blocks: list[Any] = [array("i", [0] * count) for count in WORDS] + [
            array("I", [0] * 8),
            array("H", [0] * SAMPLE_COUNT),
        ]
        self.blocks += [array("I", [0] * REGISTERS[which][1]) for which in (DMA, SPI, CLOCK)]
        t = self.blocks[T]
        for bit, word in enumerate(PINS):
            t[word] = 1 << bit
        t[slots.T_SUPPLY_GAIN] = GAIN
        self.pins = {bit: t[word] for bit, word in SWITCH_PINS.items()}
        tick.bind(guard_step, fill_step, self.blocks)

    def begin(self, start: Any) -> None:
        """Memory of the kernels as `start` says, the tick's own as after a reset."""
        for words, values in zip(self.blocks, run.memory(start)):
            words[:] = values
        self.blocks[T][: PINS.start] = array("i", [0] * PINS.start)
        self.blocks[DMA][2] = 1 << 28

    def show(self, row: Sequence[int]) -> None:
        """Put a row's fast inputs where the tick reads them, and its slow words where the main loop puts them. `row`: a record of `identical_run`."""
        blocks, t = self.blocks, self.blocks[T]
        _, event, state, a, b, switches, load, gap, units = row[: run.HEAD + slots.FAST_INPUTS]
        self.happen(event, state)
        blocks[SPI][2], blocks[SPI][3] = a & 0xFFFF, NOT_EMPTY if a else 0
        part, whole = sums(min(max(b, 0), 0xFFFF))
        total = supply(min(max(units, 0), 255))
        for number, value in enumerate((part, total)):
            for i in range(4):
                blocks[SAMPLES][number + 4 * i] = value + i >> 2
        t[slots.T_SUPPLY_F] = filtered_before(whole, total)
        blocks[DMA][2] -= 40
        blocks[SIO][1] = sum(
            pin for bit, pin in self.pins.items() if bool(switches & bit) != (bit == CUTOFF)
        )
        t[slots.T_ANSWERS] = switches & 0xFFFF & ~sum(SWITCH_PINS) & ~WANT
        blocks[CLOCK][0] = t[slots.T_BEGAN_US] + (gap << UNIT_SHIFT) & HEAD_MASK
        t[slots.T_LOAD_US] = max(load, 0) << UNIT_SHIFT & HEAD_MASK
        self.slow(row[run.HEAD + slots.FAST_INPUTS :])

    def slow(self, wanted: Sequence[int]) -> None:
        """One changed slow word goes through the slot, several at once straight to their places, as at the start of a span."""
        x, y, t = self.blocks[X], self.blocks[Y], self.blocks[T]
        inputs = run.X - slots.FAST_INPUTS
        have = [*x[slots.FAST_INPUTS :], *y[run.SLOW :]]
        if wanted == have:
            return
        changed = [i for i, value in enumerate(wanted) if value != have[i]]
        if len(changed) == 1:
            i = changed[0]
            t[slots.T_SLOT] = (
                i + slots.FAST_INPUTS if i < inputs else i - inputs + run.SLOW + slots.FIRST_Y_SLOT
            )
            t[slots.T_VALUE] = wanted[i]
        else:
            x[slots.FAST_INPUTS :] = array("i", wanted[:inputs])
            y[run.SLOW :] = array("i", wanted[inputs:])

    def happen(self, event: int, state: int) -> None:
        """Changes to memory that a row states: a reset, a flipped bit, a state of the fill."""
        g = self.blocks[G]
        if event == -2:
            guard.boot(g)
        elif event >= 0:
            g[event & 63] ^= 1 << (event >> 6)
        if state >= 0:
            self.blocks[F][0] = state

    def disturb(self) -> None:
        """Sometimes: a frozen converter, buttons, a lease, a halted tick."""
        blocks, t, dice = self.blocks, self.blocks[T], self.dice
        if dice.random() < 0.02:
            blocks[DMA][2] += 40
        if dice.random() < 0.1:
            blocks[SIO][1] ^= t[slots.T_PIN_UP + dice.randrange(4)]
        if dice.random() < 0.01:
            t[slots.T_LEASED], t[slots.T_LEASE] = dice.randrange(2), dice.randrange(4)
        if dice.random() < 0.01:
            t[slots.T_HELD] = dice.choice((0, 748, 749, 750))
        t[slots.T_HALT] = 1 if dice.random() < 0.002 else 0


def left(blocks: Sequence[Any]) -> bytes:
    """Everything that a tick may change: kernels' words, the tick's own, registers, the ring's row."""
    at = (blocks[T][slots.T_HEAD] - 1 & slots.RING_TICKS - 1) * slots.RING_WORDS
    return (
        b"".join(blocks[which].tobytes() for which in KEPT)
        + blocks[RING][at : at + slots.RING_WORDS].tobytes()
    )


@dataclass
class Codes:
    """The three modules' machine code."""

    tick: mpyfile.Module
    guard: mpyfile.Module
    fill: mpyfile.Module


class Machine:
    """The shipped tick with both kernels in one emulated chip."""

    def __init__(self, code: Codes, counted: bool = True) -> None:
        self.chip = chip.Chip()
        self.loaded = [self.chip.load(module) for module in (code.guard, code.fill, code.tick)]
        guard_code, fill_code, tick_code = self.loaded
        memory: list[chip.Memory] = [self.chip.array(count) for count in WORDS]
        samples = self.chip.array(SAMPLE_COUNT // 2)
        registers = {
            which: self.chip.registers(address, count)
            for which, (address, count) in REGISTERS.items()
        }
        blocks = [
            *memory,
            registers[SIO],
            samples,
            registers[DMA],
            registers[SPI],
            registers[CLOCK],
        ]
        context = self.chip.array(len(blocks))
        context.words[:] = np.array([block.address for block in blocks], np.uint32).view(np.int32)
        self.chip.define(tick_code, "_guard", self.chip.function(guard_code, "step"))
        self.chip.define(tick_code, "_fill", self.chip.function(fill_code, "step"))
        self.chip.define(tick_code, "_context", context.object)
        self.views = [
            block.words.view(np.uint32).data if which in REGISTERS else block.view
            for which, block in enumerate(blocks)
        ]
        self.views[SAMPLES] = samples.words.view(np.uint16).data
        self.interrupt = self.chip.prepare(
            self.chip.function(tick_code, "interrupt"), [self.chip.none]
        )
        self.counter = counter.count(self.chip, self.loaded, registers=True) if counted else None

    def take(self, blocks: Sequence[Any]) -> None:
        """Copy another side's blocks: what it was shown."""
        for view, block in zip(self.views, blocks):
            view[:] = block


@dataclass
class Found:
    """What a comparison found; cycles tick by tick, dispatch included, and of the kernels in them."""

    ticks: int = 0
    differences: list[str] = field(default_factory=list)
    tick: list[int] = field(default_factory=list)
    guard: list[int] = field(default_factory=list)
    fill: list[int] = field(default_factory=list)
    from_reset: list[str] = field(
        default_factory=list
    )  # sessions whose recorded memory has other words than the kernels
    bridged: int = 0  # most cycles of one tick that the peripheral bridge added
    stack_bytes: int = 0


def compare(
    world: World,
    machine: Machine,
    start: Any,
    rows: Sequence[Sequence[int]],
    found: Found,
    disturbed: bool,
    recorded: Any = None,
) -> None:
    """Run rows on both sides. `recorded`: what the plain kernels alone left, which the whole tick must leave too. The first difference ends it."""
    world.begin(start)
    machine.take(world.blocks)
    for n, row in enumerate(rows):
        world.show(row)
        if disturbed:
            world.disturb()
        machine.take(world.blocks)
        tick.interrupt(None)
        wrong = _one(machine, found)
        found.ticks += 1
        if not wrong and left(world.blocks) != left(machine.views):
            wrong = _where(world.blocks, machine.views)
        if not wrong and recorded is not None:
            mine = [world.blocks[T][slots.T_OUT], *world.blocks[G], *world.blocks[F]]
            wrong = (
                ""
                if mine == recorded[n].tolist()
                else "the whole tick is not what the kernels alone did"
            )
        if wrong:
            found.differences.append(f"tick {n}: {wrong}")
            return


def _one(machine: Machine, found: Found) -> str:
    """One tick of the machine code; why it could not end, else nothing."""
    if machine.counter is None:
        return _run(machine)
    machine.counter.reset()
    wrong = _run(machine)
    cycles = machine.counter.cycles()
    found.tick.append(int(cycles.sum()) + runtime.DISPATCH_CYCLES)
    found.guard.append(int(cycles[1]))
    found.fill.append(int(cycles[2]))
    found.bridged = max(found.bridged, machine.counter.bridged())
    return wrong


def _run(machine: Machine) -> str:
    try:
        machine.interrupt.run()
    except chip.Violation as violation:
        return str(violation)
    return ""


def _where(plain: Sequence[Any], views: Sequence[Any]) -> str:
    """The first word that differs, by block and number."""
    for name, which in zip(["g", "x", "f", "y", "t", "sio", "spi", "ring"], (*KEPT, RING)):
        for i, (mine, other) in enumerate(zip(plain[which].tolist(), views[which].tolist())):
            if mine != other:
                return f"{name}[{i}] is {mine} on CPython and {other} as machine code"
    return "no word differs"
