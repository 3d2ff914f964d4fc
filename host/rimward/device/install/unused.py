"""Functions that no module of the firmware uses, left out before mpy-cross compiles it for a board: those of the host or of tests alone."""

import ast
from collections.abc import Iterable


def used_names(trees: Iterable[ast.AST]) -> set[str]:
    """Return every name that these texts read, as a name, an attribute or an import."""
    found: set[str] = set()
    for tree in trees:
        for node in ast.walk(tree):
            if isinstance(node, ast.Name):
                found.add(node.id)
            elif isinstance(node, ast.Attribute):
                found.add(node.attr)
            elif isinstance(node, ast.ImportFrom | ast.Import):
                found.update(alias.name for alias in node.names)
    return found


def dropped(texts: dict[str, str], fixed: Iterable[str]) -> dict[str, str]:
    """Return the modules (dotted name -> text) without the functions at their top that nothing uses. `fixed`: texts beside them."""
    trees = {name: ast.parse(text) for name, text in texts.items()}
    others = [ast.parse(text) for text in fixed]
    while True:
        used = used_names([*trees.values(), *others])
        idle = {
            name: [n for n in tree.body if isinstance(n, ast.FunctionDef) and n.name not in used]
            for name, tree in trees.items()
        }
        if not any(idle.values()):
            break
        for name, tree in trees.items():
            tree.body = [node for node in tree.body if node not in idle[name]]
    return {name: ast.unparse(tree) + "\n" for name, tree in trees.items()}
