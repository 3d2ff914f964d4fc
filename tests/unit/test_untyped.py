"""Annotations never reach a board: the install's text is the same with and without them."""

import ast

import pytest
from rimward.device.install import plan
from rimward.device.install.untyped import FOR_TYPES, untyped

from tests import made

TYPED = '''"""Module."""

from rimward_protocol.compat import TYPE_CHECKING, const

if TYPE_CHECKING:
    from rimward_fw.shapes import Board

WIDTH: int = const(3)


class Part:
    """Part of something."""

    size: int

    def __init__(self, board: "Board", *more: int, width: int = WIDTH) -> None:
        self.board: "Board | None" = board
'''
PLAIN = '''"""Module."""

from rimward_protocol.compat import const

WIDTH = const(3)


class Part:
    """Part of something."""

    def __init__(self, board, *more, width=WIDTH):
        self.board = board
'''


def typed_parts(tree: ast.Module) -> list[str]:
    """Everything in a module that only a type checker reads."""
    return [
        ast.unparse(node)
        for node in ast.walk(tree)
        if isinstance(node, ast.AnnAssign)
        or (isinstance(node, ast.arg) and node.annotation)
        or (isinstance(node, ast.FunctionDef) and node.returns)
        or (isinstance(node, ast.Name) and node.id == FOR_TYPES)
        or (isinstance(node, ast.alias) and node.name in (FOR_TYPES, "shapes"))
    ]


def test_what_only_a_type_checker_reads_is_taken_out() -> None:
    assert untyped(TYPED) == ast.unparse(ast.parse(PLAIN)) + "\n"
    assert untyped(PLAIN) == untyped(untyped(TYPED))


@pytest.mark.parametrize("text", ["if TYPE_CHECKING:\n    a = 1\nelse:\n    b = 2\n", "b = 2\n"])
def test_the_branch_that_runs_is_kept(text: str) -> None:
    assert untyped(text) == "b = 2\n"


def test_a_board_gets_no_annotation_outside_the_kernels() -> None:
    texts = made.ready()[0]
    kernels = {path for path in texts if path in plan.VIPER}
    assert any(typed_parts(ast.parse(texts[path])) for path in kernels), "viper needs its types"
    assert not any("shapes" in path for path in texts)
    rest = {
        path: typed_parts(ast.parse(text)) for path, text in texts.items() if path not in kernels
    }
    assert {path: parts for path, parts in rest.items() if parts} == {}
