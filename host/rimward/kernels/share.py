"""Sharing of local names: names that are never in use at the same time become one, which keeps the machine code's stack short.

Without jumps back, a name is in use from its first to its last place in the text; inside a loop, for the whole loop. A pointer
keeps its name,
since a name of viper has one type.
"""

import ast
from collections.abc import Iterator


def shared(function: ast.FunctionDef, keep: set[str]) -> ast.FunctionDef:
    """Return `function` with its local names, except those in `keep`, merged into as few names as possible: `v1`, `v2` ..."""
    spans = _spans(function)
    keep = keep | _pointers(function)
    names = sorted((n for n in spans if n not in keep), key=lambda n: spans[n])
    free: list[tuple[int, str]] = []  # (last place, name)
    given: dict[str, str] = {}
    for one in names:
        first, last = spans[one]
        at = next((i for i, (until, _) in enumerate(free) if until < first), None)
        slot = free.pop(at)[1] if at is not None else f"v{len(free) + 1}"
        free.append((last, slot))
        given[one] = slot
    for node in ast.walk(function):
        if isinstance(node, ast.Name):
            node.id = given.get(node.id, node.id)
    return function


def _pointers(function: ast.FunctionDef) -> set[str]:
    """Names that hold a view of memory: `block = ptr32(...)`."""
    casts = ("ptr8", "ptr16", "ptr32")
    made = [
        n
        for n in ast.walk(function)
        if isinstance(n, ast.Assign)
        and isinstance(n.value, ast.Call)
        and ast.unparse(n.value.func) in casts
    ]
    return {n.targets[0].id for n in made if isinstance(n.targets[0], ast.Name)}


def _spans(function: ast.FunctionDef) -> dict[str, tuple[int, int]]:
    """First and last place of every name that the function assigns, in the order of execution."""
    places: dict[str, tuple[int, int]] = {}
    stored = {
        n.id for n in ast.walk(function) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)
    }
    number = 0

    def note(found: Iterator[ast.Name]) -> None:
        nonlocal number
        for one in found:
            number += 1
            if one.id in stored:
                first, _ = places.get(one.id, (number, number))
                places[one.id] = (first, number)

    def block(body: list[ast.stmt]) -> None:
        nonlocal number
        for node in body:
            number += 1
            if isinstance(node, ast.If):
                note(_in_order(node.test))
                block(node.body)
                block(node.orelse)
            elif isinstance(node, ast.While):
                start = number
                note(_in_order(node.test))
                block(node.body)
                number += 1
                for one, (first, last) in list(places.items()):
                    if last >= start:
                        places[one] = (min(first, start), number)
            else:
                note(_in_order(node))

    block(function.body)
    return places


def _in_order(node: ast.AST) -> Iterator[ast.Name]:
    """Names below a node; of an assignment the value first, since it is evaluated before the target is written."""
    if isinstance(node, ast.Assign):
        yield from _in_order(node.value)
        for target in node.targets:
            yield from _in_order(target)
        return
    if isinstance(node, ast.Name):
        yield node
    for child in ast.iter_child_nodes(node):
        yield from _in_order(child)
