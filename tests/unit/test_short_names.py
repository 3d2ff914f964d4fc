"""Names that one module alone uses become short for the chip; what other modules, keywords, texts or the interpreter know stays."""

import ast
import re

import pytest
from rimward.device.install import names, plan

from tests import made
from tests.rig import chip_names

ONE = """
import gc
from two import Base, offered
class Kind(Base):
    def __init__(self, count, sized=3):
        self._kept = count
        self.alone = sized
        self.shared = count
    def read(self, wanted):
        return [self._hidden(item, lambda wanted: wanted + self.alone) for item in wanted if item not in (self._kept,)]
    def _hidden(self, item, how):
        def inner(item):
            return how(item) + self.shared
        return inner(item)
def helper(first, *, named=1):
    global _last
    _last = first + named
    return _last
r = Kind(offered(5)).read([1, 2]), helper(4, named=3), getattr(Kind(1), "looked", 9), Kind(2)._inherited()
"""
TWO = """
class Base:
    looked = 6
    def _inherited(self):
        self._kept_too = self.shared
        return self._kept_too
def offered(value):
    return value + 1
"""


def run(sources: dict[str, str]) -> object:
    """`r` of module one."""
    two: dict[str, object] = {}
    exec(sources["two"], two)
    one = {"Base": two["Base"], "offered": two["offered"]}
    exec(re.sub(r"from two import .*", "", sources["one"]), one)
    return one["r"]


def test_the_same_result_with_fewer_names() -> None:
    before, after = (
        {"one": ONE, "two": TWO},
        names.shortened({"one": ONE, "two": TWO}, ["import one\n"]),
    )
    assert run(after) == run(before) == ([10, 11], 7, 6, 2)
    for word in (
        "_kept",
        "_hidden",
        "alone",
        "helper",
        "wanted",
        "how",
        "sized",
        "_inherited",
        "_last",
    ):
        assert not re.search(rf"\b{word}\b", after["one"] + after["two"]), word
    for word in ("self", "offered", "Base", "looked", "named", "read"):
        assert word in after["one"] + after["two"], word


@pytest.mark.parametrize(
    ("one", "two"),
    [
        ("class A:\n def __init__(self):\n  self._x1 = 1\n", "def f(a):\n return a._x1\n"),
        ("class A:\n _x1 = 1\n def f(self):\n  return getattr(self, '_x1')\n", ""),
        ("def f(self, name):\n return getattr(self, name)\n", ""),
        ("def _f1(a): pass\n", "from one import _f1\n"),
    ],
    ids=[
        "another's attribute",
        "private name in a text",
        "a name worked out",
        "another's function",
    ],
)
def test_names_that_cannot_be_shortened_are_refused(one: str, two: str) -> None:
    with pytest.raises(ValueError):
        names.shortened({"one": one, "two": two})


def test_no_name_of_the_interpreter_becomes_short() -> None:
    """What MicroPython's modules for the board offer and the firmware defines too is listed as external."""
    known = chip_names.known()
    assert {"Pin", "mem32", "deinit", "readfrom_mem_into", "fill_rect"} <= known
    before = {
        name
        for path, file in plan.sources()
        if not path.startswith(plan.KERNELS)
        for name in names._names(list(ast.walk(ast.parse(file.read_text()))))
    }
    after = {
        name
        for text in made.ready()[0].values()
        for name in names._names(list(ast.walk(ast.parse(text))))
    }
    parameters = {
        node.arg
        for _, file in plan.sources()
        for node in ast.walk(ast.parse(file.read_text()))
        if isinstance(node, ast.arg)
    }
    gone = {
        name for name in before - after if not name.startswith("_") and not name.isupper()
    } - parameters
    assert len(gone) > 100 and sorted((gone & known) - names.EXTERNAL) == [], (
        "add them to names.HARDWARE"
    )
