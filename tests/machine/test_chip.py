"""The emulated processor: arithmetic and calls as CPython has them, refusals with their reason, cycles against every single instruction."""

import random
from pathlib import Path

import pytest
import unicorn

from tests.machine import chip, counter, cycles, mpyfile, paths, thumb

SOURCE = """
def quotient(a: ptr32) -> int:
    return a[0] // a[1]
def remainder(a: ptr32) -> int:
    return a[0] % a[1]
def both(a: ptr32) -> int:
    if a[0] > 100:
        return int(quotient(a)) * 2
    return int(quotient(a)) + int(remainder(a)) + a[40]
def given(s, a: ptr32, b) -> int:
    a[2] = int(s(b)) + 1
    return a[2]
def loop(a: ptr32) -> int:
    i = 0
    while i < 5:
        a[i] = a[i] + i
        i += 1
    return i
def first(a: ptr32) -> int:
    return a[0]
def element(a) -> int:
    return int(a[0])
def foreign(a: ptr32) -> int:
    return int(elsewhere(a))
def pins(a: ptr32) -> int:
    a[5] = 8
    return a[1]
"""


@pytest.fixture(scope="module")
def module(tmp_path_factory) -> mpyfile.Module:
    path = tmp_path_factory.mktemp("source") / "small.py"
    path.write_text(SOURCE, encoding="utf-8")
    return cycles.machine_code(Path(path))


class Small:
    """One chip with the small module."""

    def __init__(
        self, module: mpyfile.Module, counted: bool = False, registers: bool = False
    ) -> None:
        self.chip = chip.Chip()
        self.loaded = self.chip.load(module)
        self.a = self.chip.array(64)
        self.counter = counter.count(self.chip, [self.loaded], registers) if counted else None

    def call(self, name: str, *more: int) -> int:
        return self.chip.call(self.chip.function(self.loaded, name), [*more, self.a.object])


def test_division_is_that_of_cpython(module):
    small, dice = Small(module), random.Random(5)
    quotient, remainder = (
        small.chip.prepare(small.chip.function(small.loaded, name), [small.a.object])
        for name in ("quotient", "remainder")
    )
    for _ in range(3000):
        a, b = (
            dice.choice((dice.randrange(-(1 << 30), 1 << 30), dice.randrange(-20, 20)))
            for _ in "ab"
        )
        small.a.words[:2] = a, b or 1
        assert (quotient.run(), remainder.run()) == (a // (b or 1), a % (b or 1)), (a, b)


def test_functions_call_each_other_by_name_and_as_parameters(module):
    small = Small(module)
    small.a.words[:2], small.a.words[40] = (-77, 10), 1000
    assert small.call("both") == -8 + 3 + 1000
    first = small.chip.function(small.loaded, "first")
    other = small.chip.array(1)
    other.words[0] = 41
    assert (
        small.chip.call(
            small.chip.function(small.loaded, "given"), [first, small.a.object, other.object]
        )
        == 42
    )
    assert small.a.words[2] == 42


@pytest.mark.parametrize(
    "name, words, why",
    [
        ("first", (1 << 30,), "an integer past 30 bits, which allocates"),
        ("first", (-(1 << 30) - 1,), "an integer past 30 bits, which allocates"),
        ("quotient", (5, 0), "division by zero"),
        ("element", (5,), "subscript of an object"),
        ("foreign", (5,), "a global that the module does not have"),
    ],
)
def test_what_a_tick_may_not_do_ends_the_run_with_the_reason(module, name, words, why):
    small = Small(module)
    small.a.words[: len(words)] = words
    with pytest.raises(chip.Violation, match=why):
        small.call(name)
    small.a.words[:2] = 9, 4
    assert small.call("quotient") == 2, "the chip can be used after a refusal"


def test_a_wrong_number_of_arguments_is_refused(module):
    with pytest.raises(chip.Violation, match="refuse the number of arguments"):
        Small(module).call("first", 3)


def test_small_integers_reach_both_ends(module):
    small = Small(module)
    for value in ((1 << 30) - 1, -(1 << 30), 0, -1):
        small.a.words[0] = value
        assert small.call("first") == value


def by_instruction(small: Small, act) -> int:
    """Cycles summed over every single instruction: what the count by blocks must equal."""
    steps = {
        at + place: step
        for at, code in small.loaded.code_at.values()
        for place, step in thumb.steps(code.data).items()
    }
    charges, seen = chip.runtime_charges(small.chip), []
    handle = small.chip.uc.hook_add(
        unicorn.UC_HOOK_CODE, lambda _uc, at, _size, _user: seen.append(at)
    )
    act()
    small.chip.uc.hook_del(handle)
    total = sum(charges.get(at, 0) for at in seen)
    for at, after in zip(seen, [*seen[1:], 0]):
        if at in steps:
            total += steps[at].cycles + (steps[at].taken if after != at + steps[at].size else 0)
    return total


@pytest.mark.parametrize(
    "name, words", [("both", (7, 3)), ("both", (700, 3)), ("loop", (1, 2)), ("first", (1,))]
)
def test_cycles_by_block_are_those_of_every_instruction_and_within_the_longest_path(
    module, name, words
):
    fast, slow = Small(module, counted=True), Small(module)
    for small in (fast, slow):
        small.a.words[: len(words)] = words
    fast.call(name)
    found = int(fast.counter.cycles().sum())
    assert found == by_instruction(slow, lambda: slow.call(name))
    longest = paths.bound(
        paths.Function(module, paths.function(module, name), loops={"loop": (5,)})
    )
    assert 0 < found <= longest.cycles
    if name == "first":
        assert found == longest.cycles


def test_the_stack_stays_within_its_bound(module):
    small = Small(module)
    small.a.words[:2] = 7, 3
    small.chip.paint_stack()
    small.call("both")
    used = small.chip.stack_used()
    assert (
        0 < used <= paths.bound(paths.Function(module, paths.function(module, "both"))).stack_bytes
    )


def test_register_blocks_are_memory_with_their_own_cost(module):
    small = Small(module, counted=True, registers=True)
    sio, adc = small.chip.registers(0xD0000000, 16), small.chip.registers(0x4004C000, 16)
    pins = small.chip.function(small.loaded, "pins")
    sio.words[1] = 99
    found = []
    for block in (small.a, sio, adc):
        small.counter.reset()
        assert small.chip.call(pins, [block.object]) == block.words[1]
        assert block.words[5] == 8
        found.append(int(small.counter.cycles().sum()))
    assert found[1] == found[0] - 2, "one cycle each instead of two"
    assert found[2] == found[0] + 5, "a write three cycles more across the bridge, a read two"


def test_code_that_was_not_read_before_is_not_counted_as_free(module):
    small = Small(module, counted=True)
    other = small.chip.load(module)
    small.a.words[:2] = 7, 3
    small.chip.call(small.chip.function(other, "quotient"), [small.a.object])
    with pytest.raises(ValueError, match="that was not read before"):
        small.counter.cycles()
