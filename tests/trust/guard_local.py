"""Equivalence of two guards that differ in one expression, proved on that expression alone.

Sound and quick, where the whole guard as one term is neither: if the two expressions have the same value for every value of
what they read, the guards are the same. What is read is taken as free but for its sign: words of state and inputs that the
guard has checked before, and names that only ever take such values, are not negative.
"""

import ast
from collections.abc import Iterator

from tests.trust.guard_equal import equal
from tests.trust.program import UnknownSyntax

WIDEST = 0x3FFFFFF  # every checked word lies within 28 bits; comparisons need no more than its sign and 26 of them
SIGNED = ("_OFF_A", "_OFF_B")


def locally_equal(before: str, after: str, effort: int) -> bool:
    """True if exactly one expression of `step` differs and the difference cannot be seen: same values, or both zero or both not where only that is used."""
    one, other = ast.parse(before), ast.parse(after)
    pairs = list(_differing(_step(one).body, _step(other).body))
    if len(pairs) != 1 or pairs[0] is None:
        return False
    left, right = pairs[0]
    one_step = _step(one)
    harmless = _never_negative(one_step, left)
    consts = "\n".join(ast.unparse(n) for n in one.body if isinstance(n, ast.Assign))
    try:
        if _same(consts, (left, right), harmless, effort, False):
            return True
        if _only_zero_is_asked(one_step, left):
            return _both_numbers(left, right) or _same(
                consts, (left, right), harmless, effort, True
            )
        choices = [_choice(tree, test) for tree, test in ((one_step, left), (_step(other), right))]
        return None not in choices and _same(
            consts, (choices[0], choices[1]), harmless, effort, False
        )  # type: ignore[arg-type]
    except UnknownSyntax:
        return False


def _both_numbers(left: ast.expr, right: ast.expr) -> bool:
    """True for two numbers that are both zero or both not."""
    return (
        isinstance(left, ast.Constant)
        and isinstance(right, ast.Constant)
        and bool(left.value) == bool(right.value)
    )


def _same(
    consts: str, both: tuple[ast.expr, ast.expr], harmless: set[str], effort: int, as_truth: bool
) -> bool:
    texts = [_program(consts, expression, both, harmless, as_truth) for expression in both]
    return texts[0] != texts[1] and equal(texts[0], texts[1], effort).holds is True


def _step(tree: ast.Module) -> ast.FunctionDef:
    return next(n for n in tree.body if isinstance(n, ast.FunctionDef) and n.name == "step")


def _differing(
    one: list[ast.stmt], other: list[ast.stmt]
) -> Iterator[tuple[ast.expr, ast.expr] | None]:
    """The pairs of expressions in which two bodies differ; None where they differ in anything else."""
    if len(one) != len(other):
        yield None
        return
    for a, b in zip(one, other):
        if ast.dump(a) == ast.dump(b):
            continue
        if isinstance(a, ast.If) and isinstance(b, ast.If):
            if ast.dump(a.test) != ast.dump(b.test):
                yield a.test, b.test
            yield from _differing(a.body, b.body)
            yield from _differing(a.orelse, b.orelse)
        elif (
            isinstance(a, ast.Assign)
            and isinstance(b, ast.Assign)
            and ast.dump(a.targets[0]) == ast.dump(b.targets[0])
            or isinstance(a, ast.Return)
            and isinstance(b, ast.Return)
            and a.value
            and b.value
        ):
            yield a.value, b.value
        else:
            yield None


def _never_negative(step: ast.FunctionDef, at: ast.expr) -> set[str]:
    """Local names without a negative value where `at` is evaluated, followed through the statements."""
    seen: list[set[str]] = []
    _follow(step.body, set(), at, seen)
    return seen[0] if seen else set()


def _follow(
    body: list[ast.stmt], names: set[str], at: ast.expr, seen: list[set[str]]
) -> set[str] | None:
    """Names that are not negative after `body`; None where it always returns."""
    now = set(names)
    for node in body:
        if any(inner is at for inner in ast.walk(node)) and not isinstance(node, ast.If):
            seen.append(set(now))
        if isinstance(node, ast.Return):
            return None
        if isinstance(node, ast.If):
            if any(inner is at for inner in ast.walk(node.test)):
                seen.append(set(now))
            ways = [
                w
                for w in (_follow(node.body, now, at, seen), _follow(node.orelse, now, at, seen))
                if w is not None
            ]
            if not ways:
                return None
            now = set.intersection(*ways)
        elif isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            name = node.targets[0].id
            now = now | {name} if _harmless(node.value, now) else now - {name}
    return now


def _choice(step: ast.FunctionDef, test: ast.expr) -> ast.expr | None:
    """`if test: name = value` as the value that the name has after it; None for any other statement."""
    for node in ast.walk(step):
        if (
            isinstance(node, ast.If)
            and node.test is test
            and len(node.body) == 1
            and not node.orelse
            and isinstance(node.body[0], ast.Assign)
        ):
            kept = ast.parse(ast.unparse(node.body[0].targets[0]), mode="eval").body
            return ast.IfExp(test, node.body[0].value, kept)
    return None


def _only_zero_is_asked(step: ast.FunctionDef, at: ast.expr) -> bool:
    """True if the expression is assigned to a name of which, until it gets another value, only zero or not is asked."""
    started: list[bool] = []
    return _flows(step.body, set(), at, started) is not False and bool(started)


def _flows(
    body: list[ast.stmt], marked: set[str], at: ast.expr, started: list[bool]
) -> set[str] | bool:
    """Names that carry the difference after `body`; False where more than zero or not is asked of one. `started`: it has begun."""
    now = set(marked)
    for node in body:
        if isinstance(node, ast.If):
            if not _zero_tests_only(node.test, now):
                return False
            ways = [_flows(node.body, now, at, started), _flows(node.orelse, now, at, started)]
            if False in ways:
                return False
            now = set().union(*[w for w in ways if isinstance(w, set)])
        elif isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            name = node.targets[0].id
            if node.value is at:
                started.append(True)
                now.add(name)
            elif isinstance(node.value, ast.Name) and node.value.id in now:
                now.add(name)
            elif not _zero_tests_only(node.value, now):
                return False
            else:
                now.discard(name)
        elif not _zero_tests_only(node, now):
            return False
    return now


def _zero_tests_only(node: ast.AST, marked: set[str]) -> bool:
    """True if every marked name in `node` is compared with 0, equal or not equal."""
    allowed = {
        id(c.left) for c in ast.walk(node)
        if isinstance(c, ast.Compare) and len(c.ops) == 1 and isinstance(c.ops[0], (ast.Eq, ast.NotEq))
        and isinstance(c.comparators[0], ast.Constant) and c.comparators[0].value == 0
    }  # fmt: skip
    return all(
        id(n) in allowed
        for n in ast.walk(node)
        if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Load) and n.id in marked
    )


def _harmless(value: ast.expr, names: set[str]) -> bool:
    if isinstance(value, ast.Constant):
        return isinstance(value.value, int) and value.value >= 0
    if isinstance(value, ast.Name):
        return value.id in names or value.id.startswith("_")
    if isinstance(value, ast.Subscript):
        return not (isinstance(value.slice, ast.Name) and value.slice.id in SIGNED)
    if isinstance(value, ast.IfExp):
        return _harmless(value.body, names) and _harmless(value.orelse, names)
    if isinstance(value, ast.BinOp) and isinstance(value.op, ast.BitAnd):
        return _harmless(value.left, names) or _harmless(value.right, names)
    if isinstance(value, ast.BinOp) and isinstance(
        value.op, (ast.Add, ast.BitOr, ast.LShift, ast.RShift, ast.Mult)
    ):
        return _harmless(value.left, names) and _harmless(value.right, names)
    return False


class _Freed(ast.NodeTransformer):
    """Words and names that an expression reads, as free local names."""

    def __init__(self) -> None:
        self.names: dict[str, str] = {}
        self.signed: set[str] = set()

    def visit_Subscript(self, node: ast.Subscript) -> ast.expr:
        """A word of g or x."""
        text = ast.unparse(node)
        name = self.names.setdefault(text, f"w{len(self.names)}")
        if isinstance(node.slice, ast.Name) and node.slice.id in SIGNED:
            self.signed.add(text)
        return ast.Name(name, ast.Load())

    def visit_Name(self, node: ast.Name) -> ast.expr:
        """A local name; constants stay."""
        if node.id.startswith("_"):
            return node
        return ast.Name(self.names.setdefault(node.id, f"w{len(self.names)}"), ast.Load())


def _program(
    consts: str,
    expression: ast.expr,
    both: tuple[ast.expr, ast.expr],
    harmless: set[str],
    as_truth: bool,
) -> str:
    """A kernel whose one output is the expression over free inputs, the same inputs for both expressions."""
    freed = _Freed()
    for one in both:
        freed.visit(ast.parse(ast.unparse(one), mode="eval").body)
    made = ast.unparse(freed.visit(ast.parse(ast.unparse(expression), mode="eval").body))
    lines = []
    for at, (read, name) in enumerate(freed.names.items()):
        positive = (read in harmless) if "[" not in read else read not in freed.signed
        lines.append(f"    {name} = x[{at}] & {WIDEST}" if positive else f"    {name} = x[{at}]")
    if as_truth:
        lines.append(f"    w = {made}")
        made = "w != 0"
    truth = as_truth or isinstance(expression, (ast.Compare, ast.BoolOp, ast.UnaryOp))
    body = (
        f"    if {made}:\n        return 1\n    return 0"
        if truth
        else f"    g[0] = {made}\n    return 0"
    )
    return f"{consts}\n\n\ndef step(g, x):\n" + "\n".join(lines) + "\n" + body + "\n"
