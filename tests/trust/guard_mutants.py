"""Mutants: single changes of a syntax tree, of the guard and of the profile check.

Comparisons, bounds and constants by one, arithmetic, negation, junctions, arms, removed statements. A mutant is named by the line
of source text it changes and the text of the changed piece, so that a proof of equivalence keyed by it outlives moved lines.
"""

import ast
import copy
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

_COMPARE: dict[type, tuple[type, ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq, ast.LtE, ast.GtE),
    ast.NotEq: (ast.Eq, ast.Lt, ast.Gt),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
}
_ARITHMETIC: dict[type, type] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Add,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.BitXor: ast.BitOr,
}


Change = tuple[str, Callable[[Any], ast.AST]]


LONG = 160


@dataclass(frozen=True)
class Mutant:
    """`key`: the text before and after, with a running number where the same change is possible twice."""

    key: str
    line: int
    number: int
    change: Callable[[Any], ast.AST]
    tree: ast.Module

    def build(self) -> ast.Module:
        """The mutated module. The original tree is unchanged."""
        changed = _Replace(self.number, self.change).visit(copy.deepcopy(self.tree))
        return ast.fix_missing_locations(changed)

    def source(self) -> str:
        return ast.unparse(self.build())


def _compare(node: ast.Compare) -> Iterator[Change]:
    for i, op in enumerate(node.ops):
        for other in _COMPARE[type(op)]:

            def change(n: ast.Compare, i: int = i, other: type = other) -> ast.AST:
                n.ops[i] = other()
                return n

            yield "comparison", change


def _binop(node: ast.BinOp) -> Iterator[Change]:
    def change(n: ast.BinOp) -> ast.AST:
        n.op = _ARITHMETIC[type(n.op)]()
        return n

    yield "arithmetic", change


def _augmented(node: ast.AugAssign) -> Iterator[Change]:
    yield "arithmetic", lambda n: ast.AugAssign(n.target, _ARITHMETIC[type(n.op)](), n.value)
    yield "statement removed", lambda n: ast.Pass()


def _constant(node: ast.Constant) -> Iterator[Change]:
    if type(node.value) is bool:
        yield "constant", lambda n: ast.Constant(not n.value)
    if type(node.value) is int:
        for by in (-1, 1):
            yield "constant", partial(_moved, by)


def _boolop(node: ast.BoolOp) -> Iterator[Change]:
    yield (
        "junction",
        lambda n: ast.BoolOp(ast.Or() if isinstance(n.op, ast.And) else ast.And(), n.values),
    )
    for i, operand in enumerate(node.values):
        yield f"operand removed: {_text(operand)}", partial(_without, i)


def _moved(by: int, node: ast.Constant) -> ast.expr:
    assert isinstance(node.value, int)
    return ast.Constant(node.value + by)


def _without(i: int, node: ast.BoolOp) -> ast.expr:
    values = node.values[:i] + node.values[i + 1 :]
    return values[0] if len(values) == 1 else ast.BoolOp(node.op, values)


def _unary(node: ast.UnaryOp) -> Iterator[Change]:
    yield "negation removed", lambda n: n.operand


def _call(node: ast.Call) -> Iterator[Change]:
    if isinstance(node.func, ast.Name) and node.func.id in ("min", "max"):
        yield (
            "min and max",
            lambda n: ast.Call(
                ast.Name("max" if n.func.id == "min" else "min", ast.Load()), n.args, []
            ),
        )
        yield "first argument alone", lambda n: n.args[0]
        yield "second argument alone", lambda n: n.args[1]
    if isinstance(node.func, ast.Name) and node.func.id == "abs":
        yield "abs removed", lambda n: n.args[0]


def _ifexp(node: ast.IfExp) -> Iterator[Change]:
    yield "arms exchanged", lambda n: ast.IfExp(n.test, n.orelse, n.body)
    yield "first arm alone", lambda n: n.body
    yield "second arm alone", lambda n: n.orelse


def _if(node: ast.If) -> Iterator[Change]:
    yield "condition negated", lambda n: ast.If(ast.UnaryOp(ast.Not(), n.test), n.body, n.orelse)
    yield "body always", lambda n: ast.If(ast.Constant(True), n.body, n.orelse)
    yield "body never", lambda n: ast.If(ast.Constant(False), n.body, n.orelse)


def _assign(node: ast.Assign) -> Iterator[Change]:
    yield "statement removed", lambda n: ast.Pass()


def _return(node: ast.Return) -> Iterator[Change]:
    yield "returns nothing driven", lambda n: ast.Return(ast.Constant(0))


def _loop(node: ast.For | ast.While) -> Iterator[Change]:
    yield "loop removed", lambda n: ast.Pass()


_MUTATORS: dict[type, Callable[..., Iterator[Change]]] = {
    ast.Compare: _compare, ast.BinOp: _binop, ast.Constant: _constant, ast.BoolOp: _boolop, ast.UnaryOp: _unary, ast.Call: _call,
    ast.IfExp: _ifexp, ast.If: _if, ast.Assign: _assign, ast.Return: _return,
    ast.AugAssign: _augmented, ast.For: _loop, ast.While: _loop,
}  # fmt: skip


_SHARED = (
    ast.expr_context,
    ast.operator,
    ast.cmpop,
    ast.boolop,
    ast.unaryop,
)  # one object for all trees: its number may be of another


class _Replace(ast.NodeTransformer):
    """Applies one change to the node that carries the number."""

    def __init__(self, number: int, change: Callable[[Any], ast.AST]):
        self.number, self.change = number, change

    def generic_visit(self, node: ast.AST) -> ast.AST:
        if not isinstance(node, _SHARED) and getattr(node, "number", None) == self.number:
            return self.change(node)
        return super().generic_visit(node)


def _targets(tree: ast.Module, functions: tuple[str, ...]) -> Iterator[tuple[ast.AST, ast.AST]]:
    """Every node of the functions' bodies and of the constants, with its context: its statement, or one operand of a long one."""
    for statement in tree.body:
        if isinstance(statement, ast.Assign):
            for node in ast.walk(statement.value):
                if not isinstance(statement.value, ast.Call) or node is not statement.value:
                    yield node, statement
        elif isinstance(statement, ast.FunctionDef) and statement.name in functions:
            for node in ast.walk(statement):
                if (
                    isinstance(node, ast.stmt)
                    and node is not statement
                    and not isinstance(node, ast.Expr)
                ):
                    yield node, node
                    for field in ast.iter_child_nodes(node):
                        if isinstance(field, ast.expr):
                            yield from _within(field, node)


def _within(expression: ast.expr, place: ast.AST) -> Iterator[tuple[ast.AST, ast.AST]]:
    operands = (
        expression.values
        if isinstance(expression, ast.BoolOp) and len(ast.unparse(expression)) > LONG
        else []
    )
    for operand in operands:
        yield from _within(operand, operand)
    seen = {id(inner) for operand in operands for inner in ast.walk(operand)}
    for inner in ast.walk(expression):
        if id(inner) not in seen:
            yield inner, place


def mutants(source: str, functions: tuple[str, ...] = ("step",)) -> list[Mutant]:
    """Every mutant of some functions and of the module's constants."""
    tree = ast.parse(source)
    for number, node in enumerate(ast.walk(tree)):
        node.number = number  # type: ignore[attr-defined]
    found: list[Mutant] = []
    count: dict[str, int] = {}
    seen: set[int] = set()
    for node, statement in _targets(tree, functions):
        if id(node) in seen:
            continue
        seen.add(id(node))
        for kind, change in _MUTATORS.get(type(node), lambda n: iter(()))(node):
            key = f"{_text(statement)} | {kind}: {_text(node)} -> {_text(change(copy.deepcopy(node)))}"
            key = f"{_text(statement)} | {kind}" if len(key) > 2 * LONG else key
            count[key] = count.get(key, 0) + 1
            name = key if count[key] == 1 else f"{key} #{count[key]}"
            found.append(Mutant(name, getattr(node, "lineno", 0), node.number, change, tree))  # type: ignore[attr-defined]
    return found


def _text(node: ast.AST) -> str:
    text = ast.unparse(ast.fix_missing_locations(node)).splitlines()[0]
    return text if len(text) <= LONG else text[: LONG - 3] + "..."
