"""Test of the executor: its terms must give the same words as CPython, on guided ticks.

The terms of the proofs are evaluated on all rows at once by `terms.Program`, a second reader of their operators,
which is itself compared with z3's own on a few rows.
"""

from collections import Counter
from dataclasses import dataclass
from typing import Any

import numpy as np
import z3
from rimward_protocol.kernel_words import GUARD_INPUT, GUARD_STATE

from tests.trust.guard_guided import Row, rows
from tests.trust.guard_model import Transition
from tests.trust.terms import PRODUCT, Program


@dataclass(frozen=True)
class Table:
    """Rows as int32 arrays, one column a word."""

    before: Any
    inputs: Any
    after: Any
    out: Any

    def columns(self) -> dict[str, Any]:
        named = {f"g{i}": self.before[:, i] for i in range(len(GUARD_STATE))}
        named |= {f"x{i}": self.inputs[:, i] for i in range(len(GUARD_INPUT))}
        named |= {f"h{i}": self.after[:, i] for i in range(len(GUARD_STATE))}
        return named | {"o": self.out}


def table(of: list[Row]) -> Table:
    columns = [
        np.ascontiguousarray(np.array([row[k] for row in of], dtype=np.int32)) for k in range(4)
    ]
    return Table(*columns)


def guided(guard: Any, count: int, seed: int = 1) -> Table:
    return table(list(rows(guard, count, seed)))


@dataclass(frozen=True)
class Agreement:
    """`wrong` words of `ticks`; how often each output and cause was seen; comparisons seen both true and false."""

    ticks: int
    wrong: int
    wrong_z3: int
    outputs: dict[int, int]
    causes: dict[int, int]
    atoms: int
    atoms_both_ways: int
    one_way: list[str]


def agree(t: Transition, of: Table) -> Agreement:
    """Compare the read guard with the recorded one on every row of the table."""
    program = Program(
        {f"h{i}": term for i, term in enumerate(t.summary.state)} | {"o": t.summary.out}
    )
    columns = of.columns()
    values = program.run(columns)
    wrong = sum(
        int(np.count_nonzero(values[term.get_id()] != columns[name]))
        for name, term in program.roots.items()
    )
    atoms = [
        term for term in program.order if z3.is_bool(term) and term.num_args() and not _joins(term)
    ]
    seen = {
        term.get_id(): (
            bool(np.any(values[term.get_id()])),
            not bool(np.all(values[term.get_id()])),
        )
        for term in atoms
    }
    one_way = [str(term).replace("\n", " ")[:100] for term in atoms if not all(seen[term.get_id()])]
    return Agreement(
        len(of.out), wrong, _wrong_by_z3(t, of), dict(Counter(of.out.tolist())), dict(Counter(of.after[:, 0].tolist())),
        len(atoms), len(atoms) - len(one_way), one_way,
    )  # fmt: skip


def _joins(term: Any) -> bool:
    return term.decl().kind() in (z3.Z3_OP_AND, z3.Z3_OP_OR, z3.Z3_OP_NOT, z3.Z3_OP_ITE)


def _wrong_by_z3(t: Transition, of: Table, count: int = 12) -> int:
    """The same by z3's own evaluation, on a few rows spread over the table."""
    product = z3.Var(0, z3.BitVecSort(32)) * z3.Var(1, z3.BitVecSort(32))
    roots = [
        z3.substitute_funs(term, (PRODUCT, product)) for term in [*t.summary.state, t.summary.out]
    ]
    wrong = 0
    for k in range(0, len(of.out), max(len(of.out) // count, 1)):
        known = list(zip(t.g.values, of.before[k].tolist())) + list(
            zip(t.x.values, of.inputs[k].tolist())
        )
        known = [(w, z3.BitVecVal(v, 32)) for w, v in known]
        expected = [*of.after[k].tolist(), int(of.out[k])]
        got = [z3.simplify(z3.substitute(root, *known)).as_signed_long() for root in roots]
        wrong += sum(a != b for a, b in zip(got, expected))
    return wrong
