"""Longest paths through machine code: counted by hand for small functions, and what must be refused."""

import subprocess
import sys
from pathlib import Path

import pytest

from tests.machine import cycles, paths, runtime

# Entry of a function with one array, as mpy-cross makes it: push of 8 registers 9; four loads 8; three moves 3; compare 1, branch taken 2;
# number of arguments 2, branch over the refusal not taken 1, jump 2; argument: load 2, type 1, load of the entry 2, call 2, keep 1.
ENTRY = 9 + 8 + 3 + 3 + 5 + 8
EXIT = (
    1 + 2 + 2 + 2 + 11
)  # type of the result, load of the entry, call, jump to the end, pop of 8 registers with the program counter


def module(folder: Path, text: str):
    path = folder / "small.py"
    path.write_text(text, encoding="utf-8")
    return cycles.machine_code(path)


def bound(folder: Path, text: str, name: str = "f", **more):
    made = module(folder, text)
    return paths.bound(paths.Function(made, paths.function(made, name), **more))


def charge(*kinds: int) -> int:
    return sum(runtime.TABLE[kind].cycles for kind in kinds)


def test_a_straight_function_costs_what_its_instructions_add_up_to(tmp_path):
    found = bound(tmp_path, "def f(a: ptr32) -> int:\n    return a[1]\n")
    assert found.cycles == ENTRY + 2 + EXIT + charge(runtime.FROM_OBJECT, runtime.TO_OBJECT)
    assert not found.problems


def test_the_longer_of_two_ways_counts(tmp_path):
    short = bound(
        tmp_path, "def f(a: ptr32) -> int:\n    if a[0] > 3:\n        a[1] = 1\n    return a[1]\n"
    )
    long = bound(
        tmp_path,
        "def f(a: ptr32) -> int:\n    if a[0] > 3:\n        a[1] = 1\n        a[2] = 1\n    else:\n        a[3] = 1\n    return a[1]\n",
    )
    assert long.cycles == short.cycles + 3 + 2  # constant and store; the jump over the other way


def test_a_loop_needs_a_stated_bound_and_counts_by_it(tmp_path):
    text = "def f(a: ptr32) -> int:\n    i = 0\n    while i < 4:\n        a[i] = i\n        i += 1\n    return i\n"
    with pytest.raises(ValueError, match="has 1 loops .* 0 stated bounds: state how often"):
        bound(tmp_path, text)
    one, two, nine = (bound(tmp_path, text, loops={"f": (times,)}).cycles for times in (1, 2, 9))
    assert two > one and nine - two == 7 * (two - one)


def test_a_called_function_is_included_in_cycles_and_stack(tmp_path):
    leaf = "def g(a: ptr32) -> int:\n    return a[0] // 3\n"
    alone = bound(tmp_path, leaf, "g")
    whole = bound(tmp_path, leaf + "def f(a: ptr32) -> int:\n    return int(g(a))\n")
    assert whole.calls["floor division"] == 1 and whole.calls["load global"] == 1
    assert whole.cycles > alone.cycles + charge(
        runtime.LOAD_GLOBAL, runtime.CALL, runtime.SWAP_GLOBALS, runtime.SWAP_GLOBALS
    )
    assert whole.stack_bytes > alone.stack_bytes + runtime.TABLE[runtime.CALL].stack_bytes


def test_a_function_given_as_parameter_is_included_once_named(tmp_path):
    made = module(
        tmp_path,
        "def g(a: ptr32) -> int:\n    return a[0]\ndef f(s, a) -> int:\n    return int(s(a))\n",
    )
    code = paths.function(made, "f")
    assert paths.bound(paths.Function(made, code)).problems == [
        "call of parameter 0, which is no machine code of this module"
    ]
    leaf = paths.Function(made, paths.function(made, "g"))
    whole = paths.bound(paths.Function(made, code, {0: leaf}))
    assert (
        not whole.problems
        and whole.cycles
        == paths.bound(paths.Function(made, code)).cycles + paths.bound(leaf).cycles
    )


def test_what_a_tick_may_not_do_is_a_problem(tmp_path):
    assert bound(tmp_path, "def f(a) -> int:\n    return int(a[0])\n").problems == [
        "not allowed in a tick: subscript of an object"
    ]
    assert (
        "not allowed in a tick: load method"
        in bound(tmp_path, "def f(a) -> int:\n    a.append(1)\n    return 0\n").problems
    )


def test_a_function_that_calls_itself_is_refused(tmp_path):
    with pytest.raises(ValueError, match="f calls itself"):
        bound(tmp_path, "def f(a: ptr32) -> int:\n    return int(f(a))\n")


def test_a_far_jump_is_followed(tmp_path):
    body = "".join(f"        a[{i}] = {i}\n" for i in range(700))
    text = f"def f(a: ptr32) -> int:\n    if a[0] > 3:\n{body}    return a[1]\n"
    found = bound(tmp_path, text)
    assert found.steps > 1400


def test_the_command_prints_figures_and_fails_on_problems(tmp_path):
    path = tmp_path / "small.py"
    path.write_text(
        "def f(a: ptr32) -> int:\n    return a[1]\ndef g(a) -> int:\n    return int(a[0])\n",
        encoding="utf-8",
    )
    run = [sys.executable, "-m", "tests.machine.cycles", str(path)]
    good = subprocess.run([*run, "f"], capture_output=True, text=True, check=False)
    assert good.returncode == 0 and "longest path" in good.stdout
    both = subprocess.run(run, capture_output=True, text=True, check=False)
    assert (
        both.returncode == 1
        and "PROBLEM: not allowed in a tick: subscript of an object" in both.stdout
    )
