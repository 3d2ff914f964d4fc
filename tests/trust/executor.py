"""Reads a kernel's own source as a set of z3 terms: the new state and the output as functions of the old state and inputs.

Both arms of each `if` are run and merged. Only the syntax listed here is known; anything else raises `UnknownSyntax`, so
that nothing is proved about a program that was not read in full. Every intermediate value leaves an obligation: that it
stays inside the 31 bits of a small integer of a 32-bit MicroPython. Where all obligations hold, 32-bit terms are exact.
"""

import ast
from collections.abc import Callable
from typing import Any

import z3

from tests.trust.program import Env, Obligation, Summary, UnknownSyntax, constants, merge
from tests.trust.terms import PRODUCT, SMALL_MAX, SMALL_MIN, both, choose, truth, word


class Executor:
    """Runs one function symbolically. `assume` holds in the domain; it is used only to bound the operands of products."""

    def __init__(self, source: str, function: str, assume: Any = True):
        self.tree = ast.parse(source)
        self.consts = constants(self.tree)
        self.function = next(
            n for n in self.tree.body if isinstance(n, ast.FunctionDef) and n.name == function
        )
        self.assume = assume
        self.obligations: list[Obligation] = []
        self.facts: list[Any] = []
        self.products: list[str] = []
        self.returned: list[tuple[Any, Any, Env]] = []

    def run(self, state: list[Any], inputs: list[Any]) -> Summary:
        """The summary of `function(state, inputs)`."""
        names = [a.arg for a in self.function.args.args]
        if len(names) != 2:
            raise UnknownSyntax(self.function, "takes other than two arrays")
        env = self._block(
            self.function.body,
            Env(z3.BoolVal(True), {}, {names[0]: list(state), names[1]: list(inputs)}),
        )
        if env is not None:
            raise UnknownSyntax(self.function, "ends without a return")
        _, out, last = self.returned[-1]
        after = last.arrays[names[0]]
        for path, value, place in reversed(self.returned[:-1]):
            out = choose(path, value, out)
            after = [
                a if a is b else choose(path, a, b) for a, b in zip(place.arrays[names[0]], after)
            ]
        if any(a is not b for a, b in zip(last.arrays[names[1]], inputs)):
            raise UnknownSyntax(self.function, "writes its inputs")
        ends = [
            (path, word(value), [word(v) for v in place.arrays[names[0]]])
            for path, value, place in self.returned
        ]
        return Summary(
            [word(v) for v in after], word(out), self.obligations, self.facts, ends, self.products
        )

    # Statements.

    def _block(self, body: list[ast.stmt], env: Env | None) -> Env | None:
        for node in body:
            if env is None:
                raise UnknownSyntax(node, "cannot be reached")
            env = self._statement(node, env)
        return env

    def _statement(self, node: ast.stmt, env: Env) -> Env | None:
        if isinstance(node, ast.Assign) and len(node.targets) == 1:
            self._store(node.targets[0], self._value(node.value, env), env)
            return env
        if isinstance(node, ast.If):
            return self._if(node, env)
        if isinstance(node, ast.Return) and node.value is not None:
            self.returned.append((env.path, self._int(node.value, env), env))
            return None
        if (
            isinstance(node, ast.Expr)
            and isinstance(node.value, ast.Constant)
            and isinstance(node.value.value, str)
        ):
            return env
        if isinstance(node, ast.Pass):
            return env
        raise UnknownSyntax(node)

    def _store(self, target: ast.expr, value: Any, env: Env) -> None:
        if isinstance(target, ast.Name):
            if target.id in self.consts or target.id in env.arrays:
                raise UnknownSyntax(target, "is no local")
            env.local[target.id] = value
        elif isinstance(target, ast.Subscript):
            array, index = self._place(target, env)
            if isinstance(value, bool) or z3.is_bool(value):
                raise UnknownSyntax(target, "takes a truth")
            array[index] = value
        else:
            raise UnknownSyntax(target)

    def _if(self, node: ast.If, env: Env) -> Env | None:
        condition = self._bool(node.test, env)
        if isinstance(condition, bool):
            return self._block(node.body if condition else node.orelse, env)
        yes = self._block(node.body, env.fork(condition))
        no = self._block(node.orelse, env.fork(z3.Not(condition)))
        if yes is None or no is None:
            return yes if no is None else no
        local = {k: merge(condition, yes.local[k], no.local[k]) for k in yes.local if k in no.local}
        arrays = {
            k: [merge(condition, a, b) for a, b in zip(yes.arrays[k], no.arrays[k])]
            for k in yes.arrays
        }
        whole = yes.path.eq(both(env.path, condition)) and no.path.eq(
            both(env.path, z3.Not(condition))
        )
        return Env(env.path if whole else z3.Or(yes.path, no.path), local, arrays)

    # Expressions.

    def _place(self, node: ast.Subscript, env: Env) -> tuple[list[Any], int]:
        index = self._value(node.slice, env)
        if (
            not isinstance(node.value, ast.Name)
            or node.value.id not in env.arrays
            or type(index) is not int
        ):
            raise UnknownSyntax(node, "is no array word with a constant index")
        array = env.arrays[node.value.id]
        if not 0 <= index < len(array):
            raise UnknownSyntax(node, "lies outside its array")
        return array, index

    def _int(self, node: ast.expr, env: Env) -> Any:
        value = self._value(node, env)
        if isinstance(value, bool) or z3.is_bool(value):
            raise UnknownSyntax(node, "is a truth where a number belongs")
        return value

    def _bool(self, node: ast.expr, env: Env) -> Any:
        value = self._value(node, env)
        if not (isinstance(value, bool) or z3.is_bool(value)):
            raise UnknownSyntax(node, "is a number where a truth belongs")
        return value

    def _value(self, node: ast.expr, env: Env) -> Any:
        reader = _READERS.get(type(node))
        if reader is None:
            raise UnknownSyntax(node)
        return reader(self, node, env)

    def _constant(self, node: ast.Constant, env: Env) -> Any:
        if type(node.value) not in (int, bool):
            raise UnknownSyntax(node)
        return node.value

    def _name(self, node: ast.Name, env: Env) -> Any:
        if node.id in env.local:
            return env.local[node.id]
        if node.id in self.consts:
            return self.consts[node.id]
        raise UnknownSyntax(node, f"{node.id} has no value on every path")

    def _subscript(self, node: ast.Subscript, env: Env) -> Any:
        array, index = self._place(node, env)
        return array[index]

    def _unary(self, node: ast.UnaryOp, env: Env) -> Any:
        if isinstance(node.op, ast.Not):
            value = self._bool(node.operand, env)
            return not value if isinstance(value, bool) else z3.Not(value)
        if isinstance(node.op, ast.USub):
            value = self._int(node.operand, env)
            return self._kept(-value, node, env)
        raise UnknownSyntax(node)

    def _boolop(self, node: ast.BoolOp, env: Env) -> Any:
        conjunction = isinstance(node.op, ast.And)
        parts, place = [], env
        for operand in node.values:
            value = self._bool(operand, place)
            parts.append(truth(value))
            place = Env(
                both(place.path, value if conjunction else z3.Not(truth(value))),
                place.local,
                place.arrays,
            )
        return z3.And(*parts) if conjunction else z3.Or(*parts)

    def _compare(self, node: ast.Compare, env: Env) -> Any:
        left = self._int(node.left, env)
        parts = []
        for op, right_node in zip(node.ops, node.comparators):
            right = self._int(right_node, env)
            if type(op) not in _COMPARE:
                raise UnknownSyntax(node)
            parts.append(_COMPARE[type(op)](left, right))
            left = right
        if all(isinstance(p, bool) for p in parts):
            return all(parts)
        return truth(parts[0]) if len(parts) == 1 else z3.And(*[truth(p) for p in parts])

    def _ifexp(self, node: ast.IfExp, env: Env) -> Any:
        condition = self._bool(node.test, env)
        if isinstance(condition, bool):
            return self._value(node.body if condition else node.orelse, env)
        a = self._value(node.body, env.fork(condition))
        b = self._value(node.orelse, env.fork(z3.Not(condition)))
        return merge(condition, a, b)

    def _call(self, node: ast.Call, env: Env) -> Any:
        if not isinstance(node.func, ast.Name) or node.keywords or node.func.id in env.local:
            raise UnknownSyntax(node)
        args = [self._int(a, env) for a in node.args]
        if node.func.id == "abs" and len(args) == 1:
            value = word(args[0])
            return self._kept(choose(value >= 0, value, -value), node, env)
        if node.func.id in ("min", "max") and len(args) == 2:
            a, b = word(args[0]), word(args[1])
            return choose(b < a, b, a) if node.func.id == "min" else choose(b > a, b, a)
        raise UnknownSyntax(node)

    def _binop(self, node: ast.BinOp, env: Env) -> Any:
        a, b = self._int(node.left, env), self._int(node.right, env)
        kind = type(node.op)
        if kind not in _ARITHMETIC:
            raise UnknownSyntax(node)
        if isinstance(a, int) and isinstance(b, int):
            return self._kept(_ARITHMETIC[kind](a, b), node, env)
        if kind in (ast.LShift, ast.RShift):
            if not isinstance(b, int) or not 0 <= b < 31:
                raise UnknownSyntax(node, "shifts by other than a constant")
            if kind is ast.LShift:
                self._owe(both(a >= SMALL_MIN >> b, a <= SMALL_MAX >> b), node, env)
            return a << b if kind is ast.LShift else a >> b
        if kind is ast.Mult:
            return self._product(a, b, node, env)
        value = _ARITHMETIC[kind](word(a), word(b))
        return value if kind in (ast.BitAnd, ast.BitOr) else self._kept(value, node, env)

    def _product(self, a: Any, b: Any, node: ast.BinOp, env: Env) -> Any:
        if isinstance(a, int):
            a, b = b, a
        if isinstance(b, int):
            if b <= 0:
                raise UnknownSyntax(node, "multiplies by no positive constant")
            self._owe(both(a >= -(-SMALL_MIN // b), a <= SMALL_MAX // b), node, env)
            return a * b
        high_a, high_b = self._highest(a, env), self._highest(b, env)
        self._owe(
            both(
                a >= 0, a <= high_a, b >= 0, b <= high_b, z3.BoolVal(high_a * high_b <= SMALL_MAX)
            ),
            node,
            env,
        )
        value = PRODUCT(a, b)
        if high_a * high_b <= SMALL_MAX:
            inside = both(a >= 0, a <= high_a, b >= 0, b <= high_b)
            bound = both(
                value >= 0,
                value <= high_a * high_b,
                z3.Or(b == 0, value >= a),
                z3.Or(a == 0, value >= b),
            )
            self.facts.append(
                z3.Implies(inside, z3.And(bound, (value == 0) == z3.Or(a == 0, b == 0)))
            )
        self.products.append(
            f"line {node.lineno}: {ast.unparse(node)}, operands up to {high_a} and {high_b}"
        )
        return value

    def _highest(self, term: Any, env: Env) -> int:
        """The smallest 2^k - 1 that z3 shows to bound the term from above, with 0 below, on this path."""
        solver = z3.SolverFor("QF_UFBV")
        solver.add(truth(self.assume), env.path, *self.facts)
        low, high = 0, 31
        while low < high:
            middle = (low + high) // 2
            if solver.check(z3.Or(term < 0, term > (1 << middle) - 1)) == z3.unsat:
                high = middle
            else:
                low = middle + 1
        return (1 << min(high, 31)) - 1

    def _kept(self, value: Any, node: ast.expr, env: Env) -> Any:
        if isinstance(value, int):
            if not SMALL_MIN <= value <= SMALL_MAX:
                raise UnknownSyntax(node, "is a constant past 30 bits")
            return value
        self._owe(both(value >= SMALL_MIN, value <= SMALL_MAX), node, env)
        return value

    def _owe(self, claim: Any, node: ast.expr, env: Env) -> None:
        self.obligations.append(Obligation(env.path, claim, node.lineno, ast.unparse(node)))


_READERS: dict[type, Callable[..., Any]] = {
    ast.Constant: Executor._constant,
    ast.Name: Executor._name,
    ast.Subscript: Executor._subscript,
    ast.UnaryOp: Executor._unary,
    ast.BoolOp: Executor._boolop,
    ast.Compare: Executor._compare,
    ast.IfExp: Executor._ifexp,
    ast.Call: Executor._call,
    ast.BinOp: Executor._binop,
}
_COMPARE: dict[type, Callable[[Any, Any], Any]] = {
    ast.Eq: lambda a, b: a == b,
    ast.NotEq: lambda a, b: a != b,
    ast.Lt: lambda a, b: a < b,
    ast.LtE: lambda a, b: a <= b,
    ast.Gt: lambda a, b: a > b,
    ast.GtE: lambda a, b: a >= b,
}
_ARITHMETIC: dict[type, Callable[[Any, Any], Any]] = {
    ast.Add: lambda a, b: a + b,
    ast.Sub: lambda a, b: a - b,
    ast.Mult: lambda a, b: a * b,
    ast.LShift: lambda a, b: a << b,
    ast.RShift: lambda a, b: a >> b,
    ast.BitAnd: lambda a, b: a & b,
    ast.BitOr: lambda a, b: a | b,
}
