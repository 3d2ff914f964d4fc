"""A kernel's source as it is read: module constants, what is known at one place, obligations, and the summary of a function."""

import ast
from dataclasses import dataclass, field
from typing import Any

import z3

from tests.trust.terms import both, choose, truth


class UnknownSyntax(Exception):
    """The source holds something that the executor does not know. Carries the line."""

    def __init__(self, node: ast.AST, why: str = ""):
        super().__init__(
            f"line {getattr(node, 'lineno', '?')}: {type(node).__name__} {why}".rstrip()
        )


@dataclass
class Obligation:
    """`claim` must hold whenever `path` is taken."""

    path: Any
    claim: Any
    line: int
    text: str


@dataclass
class Env:
    """What is known at one place of the program: the path to it, locals and arrays."""

    path: Any
    local: dict[str, Any]
    arrays: dict[str, list[Any]]

    def fork(self, condition: Any) -> "Env":
        return Env(
            both(self.path, condition),
            dict(self.local),
            {k: list(v) for k, v in self.arrays.items()},
        )


@dataclass
class Summary:
    """One function read in full: state after, output, obligations and the facts about products that were used."""

    state: list[Any]
    out: Any
    obligations: list[Obligation]
    facts: list[Any]
    returns: list[tuple[Any, Any, list[Any]]]  # path, output, state: one a return statement
    products: list[str] = field(default_factory=list)


def constants(tree: ast.Module) -> dict[str, int]:
    """Module constants of the form `NAME = const(expression of ints)`."""
    found: dict[str, int] = {}
    for node in tree.body:
        if (
            isinstance(node, ast.Assign)
            and isinstance(node.value, ast.Call)
            and isinstance(node.value.func, ast.Name)
        ):
            if (
                node.value.func.id != "const"
                or len(node.targets) != 1
                or not isinstance(node.targets[0], ast.Name)
            ):
                raise UnknownSyntax(node)
            found[node.targets[0].id] = int(ast.literal_eval(node.value.args[0]))
    return found


def merge(condition: Any, a: Any, b: Any) -> Any:
    """`a` where the condition holds, else `b`."""
    if a is b or (type(a) is type(b) is int and a == b):
        return a
    kinds = {isinstance(v, bool) or z3.is_bool(v) for v in (a, b)}
    if len(kinds) != 1:
        raise TypeError("a name is a truth on one path and a number on the other")
    return z3.If(condition, truth(a), truth(b)) if kinds == {True} else choose(condition, a, b)
