"""Single exit: a function body whose early `return`s become assignments to one name, without loops or jumps.

`if a: return 1` followed by `rest` becomes `if a: result = 1` with `else: rest`. A flag is needed only where one branch may return and may
also continue; the following statements then run while the flag is 0.
"""

import ast

NEVER, MAYBE, ALWAYS = range(3)


def name(identifier: str) -> ast.Name:
    """Build the reading of a name."""
    return ast.Name(identifier, ast.Load())


def assign(identifier: str, value: ast.expr) -> ast.stmt:
    """Build `identifier = value`."""
    return ast.Assign([ast.Name(identifier, ast.Store())], value, lineno=0)


def exits(body: list[ast.stmt]) -> int:
    """NEVER, MAYBE or ALWAYS: whether `body` ends in a return. ValueError for a return inside a loop."""
    found = NEVER
    for node in body:
        if isinstance(node, ast.Return):
            return ALWAYS
        if isinstance(node, ast.While) and any(
            isinstance(inner, ast.Return) for inner in ast.walk(node)
        ):
            raise ValueError(f"line {node.lineno}: return inside a loop of an inlined function")
        if isinstance(node, ast.If):
            ways = {exits(node.body), exits(node.orelse)}
            if ways == {ALWAYS}:
                return ALWAYS
            if ways != {NEVER}:
                found = MAYBE
    return found


def single_exit(body: list[ast.stmt], result: str, flag: str) -> list[ast.stmt]:
    """Return `body` with its returns as assignments to `result`; `flag` is used where needed."""
    return _converted(body, result, flag, False)


def _converted(body: list[ast.stmt], result: str, flag: str, flagged: bool) -> list[ast.stmt]:
    out: list[ast.stmt] = []
    for i, node in enumerate(body):
        if isinstance(node, ast.Return):
            value = node.value if node.value is not None else ast.Constant(0)
            out.append(assign(result, value))
            if flagged:
                out.append(assign(flag, ast.Constant(1)))
            return out
        if not isinstance(node, ast.If) or exits([node]) == NEVER:
            out.append(node)
            continue
        rest = body[i + 1 :]
        yes, no = exits(node.body), exits(node.orelse)
        if not rest:
            out.append(
                ast.If(
                    node.test,
                    _converted(node.body, result, flag, flagged),
                    _converted(node.orelse, result, flag, flagged),
                )
            )
        elif yes == ALWAYS:
            out.append(
                ast.If(
                    node.test,
                    _converted(node.body, result, flag, flagged),
                    _converted(node.orelse + rest, result, flag, flagged),
                )
            )
        elif no == ALWAYS:
            out.append(
                ast.If(
                    node.test,
                    _converted(node.body + rest, result, flag, flagged),
                    _converted(node.orelse, result, flag, flagged),
                )
            )
        else:
            out.append(assign(flag, ast.Constant(0)))
            out.append(
                ast.If(
                    node.test,
                    _converted(node.body, result, flag, True),
                    _converted(node.orelse, result, flag, True),
                )
            )
            out.append(
                ast.If(
                    ast.Compare(name(flag), [ast.Eq()], [ast.Constant(0)]),
                    _converted(rest, result, flag, flagged),
                    [],
                )
            )
        return out
    return out
