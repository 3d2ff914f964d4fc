"""No value of the fill passes 30 bits: its own source with every arithmetic result checked, over fills at the edges of what is filled."""

import ast
from pathlib import Path

import pytest
from rimward.kernels.assemble import assemble
from rimward.simulation import loop
from rimward.simulation.loop import Job
from rimward_fw.kernels import fill_search
from rimward_protocol import kernel_slots as slots

from tests.unit.fillbench import words

LIMIT = 1 << 30


def checked(value):
    assert -LIMIT <= value < LIMIT, value
    return value


class Wrap(ast.NodeTransformer):
    """Every sum, product, shift and quotient through `checked`."""

    def visit_BinOp(self, node):
        self.generic_visit(node)
        return ast.copy_location(ast.Call(ast.Name("checked", ast.Load()), [node], []), node)


def measured(source):
    """Names of a kernel's source, its arithmetic checked."""
    tree = Wrap().visit(ast.parse(source))
    space = {"checked": checked, "__name__": "measured_fill"}
    exec(compile(ast.fix_missing_locations(tree), "fill", "exec"), space)
    return space


JOBS = {
    "narrow, compressor": Job(
        tyre_mm=23.0,
        target_pa=700_000,
        ceiling_pa=800_000,
        limit_pa=800_000,
        start_pa=560_000.0,
        rim_class=5,
    ),
    "wide, line": Job(
        tyre_mm=60.0,
        target_pa=780_000,
        ceiling_pa=900_000,
        limit_pa=900_000,
        start_pa=600_000.0,
        kind=1,
        rim_class=5,
        pin_open=True,
    ),
    "narrow, line, high": Job(
        tyre_mm=23.0,
        target_pa=250_000,
        ceiling_pa=400_000,
        limit_pa=400_000,
        start_pa=0.0,
        kind=1,
        ambient_abs_pa=74_692.0,
        pin_open=True,
    ),
    "narrow, compressor, closed core, from empty": Job(
        tyre_mm=23.0,
        target_pa=600_000,
        ceiling_pa=800_000,
        limit_pa=800_000,
        start_pa=0.0,
        rim_class=5,
    ),
}


@pytest.mark.parametrize("name", JOBS)
def test_thirty_bits(monkeypatch, name):
    monkeypatch.setattr(loop, "fill_step", measured(assemble("rimward_fw.kernels.fill"))["step"])
    words = loop.play(JOBS[name], ticks=6_000, fast=False)
    assert words.r[loop.R_FIRST_ON] > 0  # air went in


@pytest.mark.parametrize("took", [1, 255, 256, 1_023, 60_000, 4_999_999, 5_000_001, 0x1FFFFFFF])
def test_no_second_burst_passes_thirty_bits(took):
    spring_again = measured(Path(fill_search.__file__).read_text())["_spring_again"]
    for came in (took // 4 + 1, took, 0x1FFFFFFF):
        for rise in (1, 20_000, 36_000, 900_000):
            state = {"found_air": took, "air": came, "tops": 1, "spring": 28_000, "start": 7_999}
            inputs = {"mean": 35_999 + rise, "chuck": 1, "manifold_ml": 200, "ambient_pa": 20_000}
            f, y = words(state | {"pt": 7_999}, inputs)
            spring_again(f, y)
            assert 2_000 <= f[slots.F_SPRING] <= 28_000 and f[slots.F_FOUND_AIR] == 0


def test_the_check_can_fail():
    with pytest.raises(AssertionError):
        checked(LIMIT)
