"""A check in tests/outside compares a published value with this project's code: one that reaches none of it only checks itself."""

import ast
from pathlib import Path

import pytest

OUTSIDE = Path(__file__).parents[1] / "outside"
PROJECT = ("rimward", "rimward_fw", "rimward_protocol", "hardware", "tests.outside")
# checks of the yardstick itself: the data file and the oracle by hand, and that a wrong engine would be seen
OF_THE_YARDSTICK = {
    "test_the_file_is_the_one_whose_figures_are_quoted",
    "test_the_oracle_by_hand",
    "test_the_comparison_can_fail",
    "test_the_bound_falls_with_the_bend_and_has_its_closed_form",
    "test_slower_than_a_tenth_of_the_noise_no_estimator_keeps_to_two_samples",
}


def of_project(module: str) -> bool:
    return any(module == one or module.startswith(f"{one}.") for one in PROJECT)


def bound_by_imports(tree: ast.AST) -> set[str]:
    """Names that an import of this project's code binds, anywhere in `tree`."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and of_project(node.module or ""):
            found |= {alias.asname or alias.name for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {
                (alias.asname or alias.name).split(".")[0]
                for alias in node.names
                if of_project(alias.name)
            }
    return found


def idle_checks(source: str) -> list[str]:
    """Names of the tests in a module that reach no name of this project, directly or by the module's own functions and values."""
    tree = ast.parse(source)
    reaches = bound_by_imports(tree)
    uses: dict[str, set[str]] = {}
    for node in tree.body:
        names = {one.id for one in ast.walk(node) if isinstance(one, ast.Name)} | {
            one.arg for one in ast.walk(node) if isinstance(one, ast.arg)
        }
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            uses[node.name] = names
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            for target in targets:
                uses |= {
                    one.id: names - {one.id}
                    for one in ast.walk(target)
                    if isinstance(one, ast.Name)
                }
    grown = True
    while grown:
        more = {name for name, names in uses.items() if name not in reaches and names & reaches}
        grown, reaches = bool(more), reaches | more
    return [name for name in uses if name.startswith("test_") and name not in reaches]


@pytest.mark.parametrize("path", sorted(OUTSIDE.glob("test_*.py")), ids=lambda path: path.stem)
def test_every_check_reaches_the_code_that_it_checks(path: Path) -> None:
    assert set(idle_checks(path.read_text(encoding="utf-8"))) <= OF_THE_YARDSTICK


def test_an_idle_check_is_seen() -> None:
    text = "from rimward.base.units import a\nK = 3\ndef help():\n    return a(K)\ndef test_one():\n    assert K == 3\ndef test_two():\n    assert help() == 4\n"
    assert idle_checks(text) == ["test_one"]
