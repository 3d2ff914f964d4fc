"""Copies of syntax trees are equal to their originals and independent of them."""

import ast
from pathlib import Path

from rimward.kernels import inline
from rimward.kernels.copies import copied


def test_a_copy_is_equal_and_its_own() -> None:
    tree = ast.parse(Path(inline.__file__).read_text(encoding="utf-8"))
    before = ast.dump(tree, include_attributes=True)
    made = copied(tree)
    assert ast.dump(made, include_attributes=True) == before
    own = {id(node) for node in ast.walk(tree) if node._fields or isinstance(node, ast.stmt)}
    assert not own & {id(node) for node in ast.walk(made)}
    for node in ast.walk(made):
        for value in vars(node).values():
            if isinstance(value, list):
                value.clear()
    assert ast.dump(tree, include_attributes=True) == before
