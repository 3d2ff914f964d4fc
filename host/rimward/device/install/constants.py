"""Constant folding across modules before mpy-cross compiles the firmware for a board.

mpy-cross folds a constant only inside its own module; a public one costs a string and a row in its module's dictionary. All of them
together take 20 KB of the heap (`python -m tests.rig.heap` measures it), and 90 KB have to stay free. Rules of the firmware that make
this safe: constants are in capitals, assigned once at the top of a module, and no parameter or local name is in capitals.
"""

import ast
import re
from typing import cast

CAPITALS = re.compile(r"_?[A-Z][A-Z0-9_]*$")
OPERATORS = {
    ast.Add: int.__add__,
    ast.Sub: int.__sub__,
    ast.Mult: int.__mul__,
    ast.FloorDiv: int.__floordiv__,
    ast.LShift: int.__lshift__,
    ast.RShift: int.__rshift__,
    ast.BitOr: int.__or__,
    ast.BitAnd: int.__and__,
    ast.BitXor: int.__xor__,
}
Known = dict[str, int]  # "module.NAME" -> value


def folded(sources: dict[str, str]) -> dict[str, str]:
    """Return all modules (dotted name -> text) with every integer constant replaced by its number and its definition removed."""
    trees = {name: _one_by_one(ast.parse(text)) for name, text in sources.items()}
    names = {name: _imported(name, tree) for name, tree in trees.items()}
    known: Known = {}
    size = -1
    while len(known) > size:
        size = len(known)
        for name, tree in trees.items():
            known.update(
                {
                    f"{name}.{target}": value
                    for target, node in _assigned(tree)
                    if (value := _value(node, names[name], known)) is not None
                }
            )
    for name, tree in trees.items():
        _Fold(names[name], known).visit(tree)
        tree.body = [node for node in tree.body if not _defines(node, name, known)]
    return {
        name: ast.unparse(ast.fix_missing_locations(tree)) + "\n" for name, tree in trees.items()
    }


def _one_by_one(tree: ast.Module) -> ast.Module:
    """Write `A, B = 1, 2` at the top of a module as two assignments."""
    body: list[ast.stmt] = []
    for node in tree.body:
        pair = isinstance(node, ast.Assign) and (node.targets[0], node.value)
        if pair and all(isinstance(side, ast.Tuple) for side in pair):
            names, values = (cast(ast.Tuple, side).elts for side in pair)
            body += [
                ast.Assign([name], value, lineno=node.lineno)
                for name, value in zip(names, values, strict=True)
            ]
        else:
            body.append(node)
    tree.body = body
    return tree


def _imported(module: str, tree: ast.Module) -> dict[str, str]:
    """Local name -> dotted name of its target; the module's own constants included."""
    found = {target: f"{module}.{target}" for target, _ in _assigned(tree)}
    package = module.rpartition(".")[0]
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            where = (
                f"{package}.{node.module}"
                if node.level and node.module
                else package
                if node.level
                else node.module
            )
            found.update(
                {alias.asname or alias.name: f"{where}.{alias.name}" for alias in node.names}
            )
    return found


def _assigned(tree: ast.Module) -> list[tuple[str, ast.expr]]:
    """Return (name, expression) of every constant at the top of a module. ValueError for one assigned more than once."""
    tops = [
        n
        for n in tree.body
        if isinstance(n, ast.Assign)
        and isinstance(n.targets[0], ast.Name)
        and CAPITALS.match(n.targets[0].id)
    ]
    found = [(cast(ast.Name, node.targets[0]).id, node.value) for node in tops]
    again = [name for name, _ in found if [n for n, _ in found].count(name) > 1]
    again += [
        name
        for node in ast.walk(tree)
        if isinstance(node, ast.Global)
        for name in node.names
        if CAPITALS.match(name)
    ]
    if again:
        raise ValueError(
            f"{again[0]} is assigned more than once: write the name of a variable in lower case"
        )
    return found


def _value(node: ast.expr, names: dict[str, str], known: Known) -> int | None:
    """Integer value of an expression of literals, `const(...)` and constants, or None."""
    if isinstance(node, ast.Constant):
        return node.value if type(node.value) is int else None
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "const":
        return _value(node.args[0], names, known)
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        inner = _value(node.operand, names, known)
        return None if inner is None else -inner
    if isinstance(node, ast.BinOp) and type(node.op) in OPERATORS:
        left, right = _value(node.left, names, known), _value(node.right, names, known)
        return None if left is None or right is None else OPERATORS[type(node.op)](left, right)
    return known.get(_dotted(node, names))


def _dotted(node: ast.expr, names: dict[str, str]) -> str:
    """Dotted target of a name or `module.NAME`; empty if it is neither."""
    if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
        return f"{names.get(node.value.id, '')}.{node.attr}"
    return names.get(node.id, "") if isinstance(node, ast.Name) else ""


def _defines(node: ast.stmt, module: str, known: Known) -> bool:
    return (
        isinstance(node, ast.Assign)
        and isinstance(node.targets[0], ast.Name)
        and f"{module}.{node.targets[0].id}" in known
    )


class _Fold(ast.NodeTransformer):
    """Replace constants where they are read, and remove them from from-imports."""

    def __init__(self, names: dict[str, str], known: Known) -> None:
        self.names = names
        self.known = known

    def _number(self, node: ast.expr) -> ast.expr:
        value = (
            self.known.get(_dotted(node, self.names))
            if isinstance(getattr(node, "ctx", None), ast.Load)
            else None
        )
        if value is None:
            return node
        return ast.copy_location(
            ast.Constant(value) if value >= 0 else ast.UnaryOp(ast.USub(), ast.Constant(-value)),
            node,
        )

    def visit_Name(self, node: ast.Name) -> ast.expr:
        """Replace a name that is a constant."""
        return self._number(node)

    def visit_Attribute(self, node: ast.Attribute) -> ast.expr:
        """Replace `module.NAME` that is a constant."""
        done = self._number(node)
        if done is node:
            self.generic_visit(node)
        return done

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.ClassDef:
        """Visit a class: its own names hide the module's once assigned; methods reach them through `self` only."""
        own: set[str] = set()
        for statement in [n for n in node.body if isinstance(n, ast.Assign)]:
            read = {n.id for n in ast.walk(statement.value) if isinstance(n, ast.Name)}
            if read & own & set(self.names):
                raise ValueError(
                    f"class {node.name} reads {sorted(read & own)[0]}, which is a constant of its module too: rename one"
                )
            own |= {t.id for t in statement.targets if isinstance(t, ast.Name)}
        self.generic_visit(node)
        return node

    def visit_ImportFrom(self, node: ast.ImportFrom) -> ast.ImportFrom | None:
        """Drop constants from a from-import."""
        node.names = [
            alias
            for alias in node.names
            if self.names[alias.asname or alias.name] not in self.known
        ]
        return node if node.names else None
