"""No value of the fill passes 30 bits: its own source with every arithmetic result checked, over fills at the edges of what is filled."""

import ast

import pytest
from rimward.kernels.assemble import assemble
from rimward.simulation import loop
from rimward.simulation.loop import Job

LIMIT = 1 << 30


def checked(value):
    assert -LIMIT <= value < LIMIT, value
    return value


class Wrap(ast.NodeTransformer):
    """Every sum, product, shift and quotient through `checked`."""

    def visit_BinOp(self, node):
        self.generic_visit(node)
        return ast.copy_location(ast.Call(ast.Name("checked", ast.Load()), [node], []), node)


def measured_step():
    tree = Wrap().visit(ast.parse(assemble("rimward_fw.kernels.fill")))
    space = {"checked": checked, "__name__": "measured_fill"}
    exec(compile(ast.fix_missing_locations(tree), "fill", "exec"), space)
    return space["step"]


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
}


@pytest.mark.parametrize("name", JOBS)
def test_thirty_bits(monkeypatch, name):
    monkeypatch.setattr(loop, "fill_step", measured_step())
    words = loop.play(JOBS[name], ticks=6_000, fast=False)
    assert words.r[loop.R_FIRST_ON] > 0  # air went in


def test_the_check_can_fail():
    with pytest.raises(AssertionError):
        checked(LIMIT)
