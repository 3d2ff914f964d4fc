"""The fill's machine code: its longest path within the budget, and nothing on it that a tick may not do."""

from rimward.kernels.assemble import assemble

from tests.machine import cycles, paths, runtime

BUDGET_US = 160  # design: 200


def test_the_longest_path_of_the_fill_is_within_its_budget(tmp_path):
    path = tmp_path / "fill.py"
    path.write_text(assemble("rimward_fw.kernels.fill"), encoding="utf-8")
    module = cycles.machine_code(path)
    found = paths.bound(paths.Function(module, paths.function(module, "step")))
    assert found.problems == []
    assert runtime.microseconds(found.cycles) <= BUDGET_US
    assert found.stack_bytes <= 600
