"""Words and truths as z3 terms, the abstraction of products, and a second reader that evaluates such terms on arrays.

A word is a 32-bit signed bit-vector. A product of two unknown words is the uninterpreted function `PRODUCT` with facts
that hold for every product of the operand ranges stated: sound, because what holds for every such function holds for
the real one. A counter-example may then be spurious; a proof never is.
"""

from functools import partial, reduce
from typing import Any

import numpy as np
import z3

WIDTH = 32
SMALL_MAX = 2**30 - 1  # largest small integer of a 32-bit MicroPython
SMALL_MIN = -(2**30)
Word = z3.BitVecSort(WIDTH)
PRODUCT = z3.Function("product", Word, Word, Word)


def word(value: Any) -> Any:
    """A term for an int, or the term itself."""
    return (
        z3.BitVecVal(value, WIDTH)
        if isinstance(value, int) and not isinstance(value, bool)
        else value
    )


def truth(value: Any) -> Any:
    """A z3 truth for a bool, or the term itself."""
    return z3.BoolVal(value) if isinstance(value, bool) else value


def words(prefix: str, count: int) -> list[Any]:
    """`count` free words named `prefix0`, `prefix1`, ..."""
    return [z3.BitVec(f"{prefix}{i}", WIDTH) for i in range(count)]


def both(*parts: Any) -> Any:
    """All of them."""
    known = [truth(p) for p in parts if p is not True]
    return z3.And(*known) if known else z3.BoolVal(True)


def either(*parts: Any) -> Any:
    """At least one of them."""
    return z3.Or(*[truth(p) for p in parts])


def implies(a: Any, b: Any) -> Any:
    return z3.Implies(truth(a), truth(b))


def choose(condition: Any, a: Any, b: Any) -> Any:
    return z3.If(truth(condition), word(a), word(b))


def highest(a: Any, b: Any) -> Any:
    return choose(word(a) >= word(b), a, b)


def lowest(a: Any, b: Any) -> Any:
    return choose(word(a) <= word(b), a, b)


def size(a: Any) -> Any:
    return choose(a >= 0, a, -a)


def one_of(term: Any, values: Any) -> Any:
    return z3.Or(*[term == v for v in values])


_BINARY = {
    z3.Z3_OP_BSUB: np.subtract,
    z3.Z3_OP_BSHL: np.left_shift,
    z3.Z3_OP_BASHR: np.right_shift,
    z3.Z3_OP_SLEQ: np.less_equal,
    z3.Z3_OP_SGEQ: np.greater_equal,
    z3.Z3_OP_SLT: np.less,
    z3.Z3_OP_SGT: np.greater,
    z3.Z3_OP_EQ: np.equal,
    z3.Z3_OP_DISTINCT: np.not_equal,
}
_FOLDED = {
    z3.Z3_OP_BADD: np.add,
    z3.Z3_OP_BMUL: np.multiply,
    z3.Z3_OP_BAND: np.bitwise_and,
    z3.Z3_OP_BOR: np.bitwise_or,
    z3.Z3_OP_AND: np.logical_and,
    z3.Z3_OP_OR: np.logical_or,
}


_SPECIAL = {
    z3.Z3_OP_ITE: np.where,
    z3.Z3_OP_NOT: np.logical_not,
    z3.Z3_OP_IMPLIES: lambda a, b: np.logical_or(np.logical_not(a), b),
    z3.Z3_OP_BNEG: np.negative,
}


def _operator(term: Any) -> Any:
    """How this term's operator works on arrays. Fails on an operator that it does not know."""
    kind = term.decl().kind()
    if kind in _BINARY and term.num_args() == 2:
        return _BINARY[kind]
    if kind in _FOLDED:
        return _FOLDED[kind] if term.num_args() == 2 else partial(_fold, _FOLDED[kind])
    if kind in _SPECIAL:
        return _SPECIAL[kind]
    if kind == z3.Z3_OP_UNINTERPRETED and term.decl().name() == "product":
        return np.multiply
    raise NotImplementedError(f"operator {term.decl().name()} is not read")


def _fold(operator: Any, *args: Any) -> Any:
    return reduce(operator, args)


class Program:
    """Terms in evaluation order, on whole arrays of int32."""

    def __init__(self, roots: dict[str, Any]):
        self.roots = {name: truth(word(term)) for name, term in roots.items()}
        self.order: list[Any] = []
        seen: set[int] = set()
        stack = [(term, False) for term in self.roots.values()]
        while stack:
            term, ready = stack.pop()
            if ready:
                self.order.append(term)
            elif term.get_id() not in seen:
                seen.add(term.get_id())
                stack.append((term, True))
                stack.extend((child, False) for child in term.children())
        self._steps = [
            (
                t.get_id(),
                [c.get_id() for c in t.children()],
                _leaf(t),
                _operator(t) if t.num_args() else None,
            )
            for t in self.order
        ]
        self._names = {name: term.get_id() for name, term in self.roots.items()}

    def run(self, columns: dict[str, Any]) -> dict[int, Any]:
        """Every term's values; `columns` maps the names of the free words to int32 arrays."""
        values: dict[int, Any] = {}
        with np.errstate(over="ignore"):
            for key, children, leaf, operator in self._steps:
                if operator is not None:
                    values[key] = operator(*[values[c] for c in children])
                else:
                    values[key] = columns[leaf] if isinstance(leaf, str) else leaf
        return values

    def evaluate(self, columns: dict[str, Any]) -> dict[str, Any]:
        """The named roots' values."""
        values = self.run(columns)
        return {name: values[key] for name, key in self._names.items()}


def _leaf(term: Any) -> Any:
    """The name of a free word, the value of a constant, None for an operator."""
    if term.num_args() > 0:
        return None
    if z3.is_bv_value(term):
        return np.int32(term.as_signed_long())
    if z3.is_true(term) or z3.is_false(term):
        return np.bool_(z3.is_true(term))
    return str(term.decl().name())
