"""The assembler: one function that does what several modules of plain functions do, and refusals of what it cannot keep."""

import random

import pytest
from rimward.kernels import assemble as assembler
from rimward.kernels.assemble import assemble
from rimward_fw.kernels import fill, guard

from tests.interpreter import kernel_pairs

HEAD = "from rimward_protocol.compat import const, ptr32\n"


def run(source):
    """Names of a module after it ran."""
    space = {"__name__": "planted"}
    exec(compile(source, "planted", "exec"), space)
    return space


@pytest.fixture
def planted(monkeypatch, tmp_path):
    """Put modules in place of the firmware's: returns the plain and the assembled one of the last."""

    def place(*texts):
        names = [f"rimward_fw.planted_{i}" for i in range(len(texts))]
        for name, text in zip(names, texts, strict=True):
            (tmp_path / f"{name}.py").write_text(HEAD + text, encoding="utf-8")
        monkeypatch.setattr(assembler, "source_path", lambda name: tmp_path / f"{name}.py")
        plain = "\n".join(
            line
            for text in texts
            for line in (HEAD + text).split("\n")
            if not line.startswith("from rimward_fw")
        )
        return run(plain), assemble(names[-1])

    return place


RETURNS = {
    "first, in the middle, last": "def _h(a, b):\n    if a > 5:\n        return 1\n    b = b + a\n    if b > 7:\n        return b\n    return -b\n",
    "in the else only": "def _h(a, b):\n    if a > 5:\n        b = 3 * b\n    else:\n        return b\n    return b + 1\n",
    "nested, going on": "def _h(a, b):\n    if a > 2:\n        if b > 4:\n            return 9\n        a = a + 1\n    b = b + a\n    if b == 6:\n        return a\n    return b\n",
    "both sides may go on": (
        "def _h(a, b):\n    if a > 2:\n        if b > 4:\n            return 9\n    elif b > 3:\n        if a == 1:\n            return 8\n"
        "        b = 1\n    if b > a:\n        if a == 0:\n            return 5\n    a = a + b\n    return a\n"
    ),
    "every branch": "def _h(a, b):\n    if a > 2:\n        return b\n    elif a > 1:\n        return a\n    else:\n        return 0\n",
}


@pytest.mark.parametrize("where", RETURNS)
def test_early_returns_in_every_position(planted, where):
    text = (
        RETURNS[where]
        + "def step(f, y):\n    f[0] = _h(f[0], y[0]) + 10 * _h(y[0], f[1])\n    return _h(f[0], f[1])\n"
    )
    plain, text = planted(text)
    assert "_h(" not in text
    made = run(text)
    for a in range(9):
        for b in range(9):
            one, two = [a, 3], [a, 3]
            assert plain["step"](one, [b]) == made["step"](two, [b]) and one == two, (a, b)


class Program:
    """A made-up kernel: helpers with ifs and returns anywhere, which call earlier ones in any operand."""

    def __init__(self, seed):
        self.dice = random.Random(seed)
        self.made = []

    def expression(self, names, depth):
        dice = self.dice
        kind = dice.randrange(9) if depth else dice.randrange(3)
        if kind == 0:
            return str(dice.randrange(9))
        if kind == 1:
            return dice.choice(names)
        if kind == 2:
            return f"f[{dice.randrange(4)}]"
        a, b = (self.expression(names, depth - 1) for _ in range(2))
        if kind == 3 and self.made:
            return f"{dice.choice(self.made)}(f, {a}, {b})"
        if kind == 4:
            return f"({a} if {self.condition(names, depth - 1)} else {b})"
        return f"({a} {dice.choice(('+', '-', '*'))} {b}) & 255"

    def condition(self, names, depth):
        dice = self.dice
        one = f"{self.expression(names, depth)} {dice.choice(('<', '==', '!=', '>='))} {self.expression(names, depth)}"
        if depth and dice.random() < 0.4:
            return f"({one} {dice.choice(('and', 'or'))} {self.condition(names, depth - 1)})"
        return one

    def block(self, names, depth, indent):
        lines = []
        for _ in range(self.dice.randrange(1, 4)):
            kind = self.dice.randrange(6)
            if kind < 2:
                lines.append(f"{indent}{self.dice.choice(names)} = {self.expression(names, 2)}")
            elif kind == 2:
                lines.append(f"{indent}f[{self.dice.randrange(4)}] = {self.expression(names, 2)}")
            elif kind == 3 and depth < 3:
                lines.append(f"{indent}return {self.expression(names, 2)}")
            elif depth:
                lines.append(f"{indent}if {self.condition(names, 2)}:")
                lines += self.block(names, depth - 1, indent + "    ")
                if self.dice.random() < 0.5:
                    lines += [f"{indent}else:", *self.block(names, depth - 1, indent + "    ")]
        return lines or [f"{indent}f[0] = 1"]

    def source(self):
        text = ""
        for i in range(4):
            names = ["a", "b", "c"]
            body = [
                "    c = 1",
                *self.block(names, 3, "    "),
                f"    return {self.expression(names, 1)}",
            ]
            text += f"def _h{i}(f, a, b):\n" + "\n".join(body) + "\n\n\n"
            self.made.append(f"_h{i}")
        return (
            text
            + "def step(f, y):\n    u = _h3(f, y[0], f[1])\n    f[2] = f[0] + _h2(f, u, _h1(f, u, y[0]))\n    return _h3(f, u, 3)\n"
        )


@pytest.mark.parametrize("seed", range(60))
def test_made_up_kernels_do_the_same(planted, seed):
    plain, text = planted(Program(seed).source())
    made = run(text)
    for n in range(60):
        one = [n & 7, n >> 3, 3 * n & 15, n]
        two = list(one)
        assert plain["step"](one, [n]) == made["step"](two, [n]) and one == two, (n, text)


def test_modules_become_one_and_constants_stand_once(planted):
    first = "_A = const(1)\n\n\ndef _low(f):\n    return f[_A]\n"
    second = "from rimward_fw.planted_0 import _low\n_A = const(1)\n_B = const(2)\n\n\ndef step(f: ptr32, y: ptr32) -> int:\n    return _low(f) + y[_B]\n"
    plain, text = planted(first, second)
    assert (
        text.count("_A = const(1)") == 1
        and "def step(f: ptr32, y: ptr32) -> int:" in text
        and "_low(" not in text
    )
    assert run(text)["step"]([1, 5], [0, 0, 7]) == plain["step"]([1, 5], [0, 0, 7]) == 12


def test_a_kept_function_and_a_parameter_stay_calls(planted):
    _, text = planted(
        "def _helper(x):\n    return x + 1\n\n\ndef step(guard, g):\n    return int(guard(g, _helper(g[0])))\n\n\ndef interrupt(timer):\n    step(timer, timer)\n"
    )
    assert "int(guard(g, " in text and "    step(timer, timer)" in text and "_helper" not in text


def test_limits_replace_constants_and_must_name_one(planted):
    planted("_TOP = const(900_000)\n\n\ndef step(f, y):\n    return _TOP\n")
    made = run(assemble("rimward_fw.planted_0", {"_TOP": 5}))
    assert made["step"]([], []) == 5
    with pytest.raises(ValueError, match="no constant of this kernel is called _TAP"):
        assemble("rimward_fw.planted_0", {"_TAP": 5})


REFUSED = {
    "min is not a function of this kernel": "def step(f, y):\n    return min(f[0], y[0])\n",
    "calls itself": "def _h(a):\n    if a > 0:\n        return _h(a - 1)\n    return 0\n\n\ndef step(f, y):\n    return _h(f[0])\n",
    "may end without a return": "def _h(a):\n    if a > 0:\n        return 1\n\n\ndef step(f, y):\n    return 1 + _h(f[0])\n",
    "return inside a loop": "def _h(a):\n    while a > 0:\n        return 1\n    return 0\n\n\ndef step(f, y):\n    return 1 + _h(f[0])\n",
    "takes 1 arguments by position": "def _h(a):\n    return a\n\n\ndef step(f, y):\n    return _h(f[0], 1)\n",
    "write the truth of 'f\\[0\\] == 1' as 1 if": "def step(f, y):\n    return f[0] == 1\n",
    "outside the kernels' subset": "def step(f, y):\n    for i in y:\n        f[0] = i\n    return 0\n",
    "holds imports, constants and functions only": "class Kernel:\n    pass\n",
    "write a constant as _NAME": "_A = 1\n\n\ndef step(f, y):\n    return _A\n",
    "defined twice": "def step(f, y):\n    return 0\n\n\ndef step(f, y):\n    return 1\n",
}


@pytest.mark.parametrize("why", REFUSED)
def test_what_is_outside_the_subset_is_refused(planted, why):
    with pytest.raises(ValueError, match=why):
        planted(REFUSED[why])


def test_constants_that_differ_are_refused(planted):
    with pytest.raises(ValueError, match="_A is 1 in another module"):
        planted(
            "_A = const(1)\n",
            "from rimward_fw.planted_0 import _A\n_A = const(2)\n\n\ndef step(f, y):\n    return _A\n",
        )


def test_names_of_a_loop_are_not_shared_inside_it(planted):
    text = "def _twice(a):\n    b = a + a\n    return b\n\n\ndef step(f, y):\n    i = 0\n    while i < 3:\n        f[0] = f[0] + _twice(f[1])\n        f[1] = _twice(i) + y[0]\n        i = i + 1\n    return f[0]\n"
    plain, text = planted(text)
    one, two = [1, 2], [1, 2]
    assert plain["step"](one, [4]) == run(text)["step"](two, [4]) and one == two


@pytest.mark.parametrize("seed", (3, 8))
def test_the_assembled_fill_does_the_same_over_guided_ticks(seed):
    made = run(assemble("rimward_fw.kernels.fill"))
    assert made["step"] is not fill.step
    assert kernel_pairs.run(guard.step, made["step"], seed, 10_000, True) == 10_000


def test_a_pointer_keeps_its_name(planted):
    text = "def _fill(a, n):\n    b = n + 1\n    a[0] = b\n\n\ndef step(c: ptr32):\n    _fill(ptr32(c[0]), 1)\n    _fill(ptr32(c[1]), 2)\n    _fill(ptr32(c[2]), 3)\n"
    plain, text = planted(text)
    one, two = ([[0], [0], [0]] for _ in range(2))
    plain["step"](one)
    run(text)["step"](two)
    assert (
        one == two
        and text.count(" = ptr32(c[")
        == len({line.split(" = ")[0] for line in text.split("\n") if " = ptr32(c[" in line})
        == 3
    )


def test_what_is_private_and_unused_is_left_out(planted):
    _, text = planted(
        "def _unused(a):\n    return a\n\n\ndef step(f, y):\n    return 0\n\n\ndef boot(f):\n    f[0] = 1\n"
    )
    assert "_unused" not in text and "def boot(f):" in text
