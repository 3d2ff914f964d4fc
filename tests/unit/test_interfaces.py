"""The board's interface: every board has all of it, with the same parameters, and the firmware uses nothing else of one."""

import ast
import re
from pathlib import Path

import pytest
from rimward_fw import shapes

TOP = Path(__file__).parents[2]
FIRMWARE = TOP / "firmware" / "rimward_fw"
BOARDS = {
    "pico": FIRMWARE / "board" / "pico.py",
    "simulated": FIRMWARE / "board" / "simulated.py",
    "in memory": TOP / "tests" / "fuzz" / "device.py",
}


def members(tree: ast.Module, name: str = "Board") -> dict[str, int | None]:
    """Member of a class -> number of its parameters; None for a value."""
    (board,) = [node for node in tree.body if isinstance(node, ast.ClassDef) and node.name == name]
    found: dict[str, int | None] = {}
    for node in ast.walk(board):
        if isinstance(node, ast.Attribute) and ast.unparse(node.value) == "self":
            found.setdefault(node.attr, None)
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            found.setdefault(node.id, None)
    for node in board.body:
        if isinstance(node, ast.FunctionDef):
            found[node.name] = None if node.decorator_list else len(node.args.args) - 1
    return found


def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


SHAPES = parsed(Path(shapes.__file__))
WANTED = members(SHAPES, "Wire") | members(SHAPES)


@pytest.mark.parametrize("board", BOARDS)
def test_a_board_has_the_whole_interface(board: str) -> None:
    has = members(parsed(BOARDS[board]))
    assert set(WANTED) - set(has) == set()
    methods = {name for name, count in WANTED.items() if count is not None}
    assert {name: has[name] for name in methods} == {name: WANTED[name] for name in methods}


def used() -> dict[str, str]:
    """Attribute of a board that the firmware uses -> the first file that does."""
    found: dict[str, str] = {}
    for path in sorted(FIRMWARE.rglob("*.py")):
        if path.parent.name == "board":
            continue
        for node in ast.walk(parsed(path)):
            if isinstance(node, ast.Attribute) and re.search(
                r"(^|\.)_?board$", ast.unparse(node.value)
            ):
                found.setdefault(node.attr, path.name)
    return found


def test_the_firmware_uses_nothing_else_of_a_board() -> None:
    modules = {path.stem for path in (FIRMWARE / "board").glob("*.py")}
    others = {name: file for name, file in used().items() if name not in {*WANTED, *modules}}
    assert others == {}, "add it to rimward_fw/shapes.py and to every board"


def test_a_board_that_lacks_a_method_is_found() -> None:
    text = (
        BOARDS["in memory"].read_text(encoding="utf-8").replace("def feed(self)", "def fed(self)")
    )
    assert "feed" in set(WANTED) - set(members(ast.parse(text)))
