"""Inlining of helper functions, so that a kernel is one function without calls.

Order of evaluation and short cuts are unchanged: an operand that is read before an inlined call is stored in its own name; `and`, `or` and
conditional values with a call inside become `if`. Every inlined copy has its own names, so that none collide.
"""

import ast
from collections.abc import Sequence

from rimward.kernels.copies import copied
from rimward.kernels.exits import ALWAYS, assign, exits, name, single_exit

CASTS = ("int", "uint", "ptr8", "ptr16", "ptr32")  # viper's own, plain functions elsewhere
Lowered = tuple[list[ast.stmt], ast.expr]


class Inliner:
    """Inline `helpers` (by name) into functions; calls of parameters and of `kept` functions stay calls."""

    def __init__(
        self, helpers: dict[str, ast.FunctionDef], kept: set[str], constants: set[str]
    ) -> None:
        self.helpers = helpers
        self.kept = kept
        self.constants = constants
        self.copies = 0
        self.depth: list[str] = []
        self.parameters: set[str] = set()

    def function(self, node: ast.FunctionDef) -> ast.FunctionDef:
        """Return `node` with every helper written out."""
        self.copies = 0
        self.parameters = {a.arg for a in node.args.args} | {
            n.id for n in ast.walk(node) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)
        }
        made = copied(node)
        made.body = [s for s in made.body[:1] if is_text(s)] + self.block(made.body, True)
        return made

    def fresh(self, stem: str) -> str:
        """Return a new name."""
        self.copies += 1
        return f"{stem.strip('_')}_{self.copies}"

    # Statements

    def block(self, body: list[ast.stmt], tail: bool = False) -> list[ast.stmt]:
        """Statements with calls written out. `tail`: a return here leaves the kept function."""
        out: list[ast.stmt] = []
        for node in body:
            out += self.statement(node, tail)
            if isinstance(node, ast.Return):
                break
        return out

    def statement(self, node: ast.stmt, tail: bool) -> list[ast.stmt]:
        """Statements that replace one statement. ValueError outside the subset."""
        given = node.value if isinstance(node, (ast.Assign, ast.Return)) else None
        if (
            isinstance(given, (ast.Compare, ast.BoolOp))
            or isinstance(given, ast.UnaryOp)
            and isinstance(given.op, ast.Not)
        ):
            raise ValueError(
                f"line {node.lineno}: write the truth of {ast.unparse(given)!r} as 1 if ... else 0"
            )
        if isinstance(node, (ast.Pass, ast.Global)):
            return [node]
        if is_text(node):
            return []
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Call):
            before, value = self.called(node.value, wanted=False)
            return [*before, ast.Expr(value)] if isinstance(value, ast.Call) else before
        if isinstance(node, ast.AugAssign):
            read = copied(node.target)
            read.ctx = ast.Load()
            node = ast.Assign(
                [node.target], ast.BinOp(read, node.op, node.value), lineno=node.lineno
            )
        if (
            isinstance(node, ast.Assign)
            and len(node.targets) == 1
            and isinstance(node.targets[0], (ast.Name, ast.Subscript))
        ):
            before, value = self.value(node.value)
            return [*before, ast.Assign(node.targets, value, lineno=0)]
        if isinstance(node, ast.If):
            before, test = self.value(node.test)
            return [
                *before,
                ast.If(
                    test, self.block(node.body, tail) or [ast.Pass()], self.block(node.orelse, tail)
                ),
            ]
        if isinstance(node, ast.While):
            before, test = self.value(node.test)
            if before or node.orelse:
                raise ValueError(f"line {node.lineno}: a loop whose condition calls a helper")
            return [ast.While(test, self.block(node.body, tail), [])]
        if isinstance(node, ast.Return):
            return self.returned(node, tail)
        raise ValueError(
            f"line {node.lineno}: {ast.unparse(node)!r} is outside the kernels' subset"
        )

    def returned(self, node: ast.Return, tail: bool) -> list[ast.stmt]:
        """Assemble a return; one that passes on a helper's result takes over the helper's returns."""
        if node.value is None:
            return [node]
        if tail and isinstance(node.value, ast.Call) and self.helper(node.value) is not None:
            before, body = self.opened(node.value)
            return before + self.closed(node.value, self.block(body, True))
        before, value = self.value(node.value)
        return [*before, ast.Return(value)]

    # Expressions

    def value(self, node: ast.expr) -> Lowered:
        """Preceding statements and the expression after them."""
        if not any(isinstance(n, ast.Call) for n in ast.walk(node)):
            return [], node
        if isinstance(node, ast.Call):
            return self.called(node, wanted=True)
        if isinstance(node, ast.BoolOp):
            return self.joined(node)
        if isinstance(node, ast.IfExp):
            return self.chosen(node)
        if isinstance(node, ast.BinOp):
            before, (left, right) = self.operands([node.left, node.right])
            return before, ast.BinOp(left, node.op, right)
        if isinstance(node, ast.UnaryOp):
            before, value = self.value(node.operand)
            return before, ast.UnaryOp(node.op, value)
        if isinstance(node, ast.Compare):
            before, values = self.operands([node.left, *node.comparators])
            if len(node.ops) > 1 and any(self.value(one)[0] for one in node.comparators[1:]):
                raise ValueError(
                    f"line {node.lineno}: a helper called late in a chained comparison"
                )
            return before, ast.Compare(values[0], node.ops, values[1:])
        if isinstance(node, ast.Subscript):
            before, (array, index) = self.operands([node.value, node.slice])
            return before, ast.Subscript(array, index, node.ctx)
        raise ValueError(
            f"line {node.lineno}: {ast.unparse(node)!r} is outside the kernels' subset"
        )

    def operands(self, nodes: Sequence[ast.expr]) -> tuple[list[ast.stmt], list[ast.expr]]:
        """Operands in order; one read before a later one's statements is stored in a name."""
        parts = [self.value(node) for node in nodes]
        last = max((i for i, (before, _) in enumerate(parts) if before), default=-1)
        out: list[ast.stmt] = []
        values: list[ast.expr] = []
        for i, (before, value) in enumerate(parts):
            out += before
            if i < last and not isinstance(value, (ast.Constant, ast.Name)):
                keep = self.fresh("kept")
                out.append(assign(keep, value))
                values.append(name(keep))
            else:
                values.append(value)
        return out, values

    def joined(self, node: ast.BoolOp) -> Lowered:
        """`and`, `or`: nested ifs where a later part needs statements."""
        parts = [self.value(part) for part in node.values]
        if not any(before for before, _ in parts[1:]):
            return parts[0][0], ast.BoolOp(node.op, [value for _, value in parts])
        every = isinstance(node.op, ast.And)
        truth = self.fresh("truth")
        inner: list[ast.stmt] = [assign(truth, ast.Constant(1 if every else 0))]
        for before, value in reversed(parts):
            inner = [*before, ast.If(value if every else ast.UnaryOp(ast.Not(), value), inner, [])]
        return [assign(truth, ast.Constant(0 if every else 1)), *inner], ast.Compare(
            name(truth), [ast.NotEq()], [ast.Constant(0)]
        )

    def chosen(self, node: ast.IfExp) -> Lowered:
        """Conditional value; as an `if` where a branch needs statements."""
        before, test = self.value(node.test)
        (yes_first, yes), (no_first, no) = self.value(node.body), self.value(node.orelse)
        if not yes_first and not no_first:
            return before, ast.IfExp(test, yes, no)
        choice = self.fresh("choice")
        return [
            *before,
            ast.If(test, [*yes_first, assign(choice, yes)], [*no_first, assign(choice, no)]),
        ], name(choice)

    # Calls

    def helper(self, node: ast.Call) -> ast.FunctionDef | None:
        """Return the helper that a call means, None for a call that stays. ValueError otherwise."""
        called = node.func.id if isinstance(node.func, ast.Name) else ast.unparse(node.func)
        if called in self.helpers:
            if called in self.depth:
                raise ValueError(f"line {node.lineno}: {called} calls itself")
            if node.keywords or len(node.args) != len(self.helpers[called].args.args):
                raise ValueError(
                    f"line {node.lineno}: {called} takes {len(self.helpers[called].args.args)} arguments by position"
                )
            return self.helpers[called]
        if called not in CASTS and called not in self.kept and called not in self.parameters:
            raise ValueError(f"line {node.lineno}: {called} is not a function of this kernel")
        return None

    def called(self, node: ast.Call, wanted: bool) -> Lowered:
        """Call: a helper's statements and its result, or the call itself."""
        helper = self.helper(node)
        if helper is None:
            before, values = self.operands(node.args)
            call = ast.Call(node.func, values, [])
            kept = isinstance(node.func, ast.Name) and node.func.id in self.kept
            return before, ast.Call(name("int"), [call], []) if kept and wanted else call
        before, body = self.opened(node)
        if isinstance(body[-1], ast.Return) and exits(body[:-1]) == 0:
            out = before + self.block(body[:-1])
            more, value = self.value(body[-1].value or ast.Constant(0))
            return self.closed(node, out + more), value
        if wanted and exits(body) != ALWAYS:
            raise ValueError(
                f"line {helper.lineno}: {helper.name} may end without a return, but its result is used"
            )
        result = self.fresh(f"{helper.name}_result")
        single = single_exit(body, result, self.fresh(f"{helper.name}_over"))
        return self.closed(node, before + self.block(single)), name(result)

    def opened(self, node: ast.Call) -> tuple[list[ast.stmt], list[ast.stmt]]:
        """Return (statements that bind the arguments, the helper's body with its own names)."""
        helper = self.helpers[ast.unparse(node.func)]
        before, values = self.operands(node.args)
        assigned = {
            n.id
            for s in helper.body
            for n in ast.walk(s)
            if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)
        }
        given: dict[str, ast.expr] = {}
        for parameter, value in zip(helper.args.args, values, strict=True):
            if isinstance(value, (ast.Name, ast.Constant)) and parameter.arg not in assigned:
                given[parameter.arg] = value
            else:
                own = self.fresh(parameter.arg)
                before.append(assign(own, value))
                given[parameter.arg] = name(own)
        own_names = {one: name(self.fresh(one)) for one in sorted(assigned - set(given))}
        self.depth.append(helper.name)
        return before, [
            Renamed(given | own_names).visit(copied(s)) for s in helper.body if not is_text(s)
        ] or [ast.Pass()]

    def closed(self, node: ast.Call, out: list[ast.stmt]) -> list[ast.stmt]:
        """Finish the inlined call."""
        self.depth.pop()
        return out


class Renamed(ast.NodeTransformer):
    """Replace names by their meaning."""

    def __init__(self, given: dict[str, ast.expr]) -> None:
        self.given = given

    def visit_Name(self, node: ast.Name) -> ast.expr:
        """Replace a name in the same context."""
        other = self.given.get(node.id)
        if other is None:
            return node
        if isinstance(node.ctx, ast.Store):
            assert isinstance(other, ast.Name)
            return ast.Name(other.id, ast.Store())
        return copied(other)


def is_text(node: ast.stmt) -> bool:
    """Return True for a docstring."""
    return (
        isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
    )
