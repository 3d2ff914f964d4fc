"""Equivalence of two texts of the guard: a proof over every memory content and input, or a step that distinguishes them."""

import time
from functools import lru_cache
from typing import Any

import z3
from rimward_protocol.kernel_words import GUARD_INPUT, GUARD_STATE

from tests.trust.executor import Executor
from tests.trust.guard_model import ALL_INPUTS, ALL_STATE, WIDTHS, Named, small_words
from tests.trust.guard_prove import EFFORT, Verdict, check
from tests.trust.program import Summary
from tests.trust.terms import PRODUCT, both, truth, words


@lru_cache(maxsize=4)
def _read_once(text: str) -> Summary:
    g, x = free_words()
    return Executor(text, "step", small_words(g.values + x.values)).run(g.values, x.values)


def _read(text: str, g: Any, x: Any) -> Summary:
    """Free words of one name are one word to z3, so that a summary read before serves again."""
    return _read_once(text)


def free_words() -> tuple[Any, Any]:
    return Named(GUARD_STATE, words("g", ALL_STATE)), Named(GUARD_INPUT, words("x", ALL_INPUTS))


def product_facts(terms: list[Any]) -> list[Any]:
    """Facts that hold for every product in the terms, also with a negative factor, as in a mutant."""
    found = []
    for term in subterms(terms).values():
        if z3.is_app(term) and term.decl().eq(PRODUCT):
            a, b = term.children()
            found += [
                z3.Implies(a == 0, term == 0),
                z3.Implies(a == 1, term == b),
                z3.Implies(a == -1, term == -b),
            ]
            found.append(
                z3.Implies(
                    z3.And(a < 0, a >= -(1 << 24), b >= 0, b < 64),
                    z3.And(term <= 0, term >= -(1 << 30)),
                )
            )
    return found


def subterms(terms: list[Any]) -> dict[int, Any]:
    """Every subterm by its number."""
    seen: dict[int, Any] = {}
    waiting = list(terms)
    while waiting:
        term = waiting.pop()
        if term.get_id() not in seen:
            seen[term.get_id()] = term
            waiting += term.children()
    return seen


def same_truths(first: list[Any], second: list[Any], inside: Any) -> list[tuple[Any, Any]]:
    """(truth of the second, the same of the first): new truths, innermost, that a short proof shows to be an old one within the widths."""
    old, new = subterms(first), subterms(second)
    fresh = {number: term for number, term in new.items() if number not in old and z3.is_bool(term)}
    inner = [
        term
        for number, term in fresh.items()
        if not (set(subterms([term])) & set(fresh)) - {number}
    ]
    found = []
    for term in inner:
        parts = {part.get_id() for part in term.children()}
        alike = [
            other
            for other in old.values()
            if z3.is_bool(other) and {part.get_id() for part in other.children()} == parts
        ]
        for other in [choice for one in alike for choice in (one, z3.Not(one))]:
            if check(both(inside, other != term), time.perf_counter(), EFFORT // 20).holds is True:
                found.append((term, other))
                break
    return found


def equal(first: str, second: str, effort: int = EFFORT) -> Verdict:
    """`holds` True: no memory content and no input tells the two apart, outputs and every word of state included.

    Within the widths a changed truth that is an old one takes its place first; outside them both must give the same anyhow.
    """
    g, x = free_words()
    a, b = (_read(text, g, x) for text in (first, second))
    inside = both(
        *[z3.ULT(getattr(g, name), 1 << bits) for bits, group in WIDTHS.items() for name in group]
    )
    same = same_truths([a.out, *a.state], [b.out, *b.state], inside)
    if same:
        outside = _never_apart(a, b, [b.out, *b.state], z3.Not(inside), effort)
        if outside.holds is not True:
            return outside
        return _never_apart(
            a, b, [z3.substitute(term, *same) for term in (b.out, *b.state)], inside, effort
        )
    return _never_apart(a, b, [b.out, *b.state], z3.BoolVal(True), effort)


def _never_apart(a: Summary, b: Summary, theirs: list[Any], where: Any, effort: int) -> Verdict:
    """True if no memory content and input within `where` gives these terms, in place of `b`'s own, another value than `a`'s."""
    start = time.perf_counter()
    domain = both(
        where,
        *[truth(f) for f in a.facts + b.facts],
        *product_facts([a.out, b.out, *a.state, *b.state]),
    )
    verdict = Verdict(None, 0.0)
    for path, out, state in reversed(a.returns):
        pairs = list(zip([out, *state], theirs, strict=True))
        apart = z3.Or(*[p != q for p, q in pairs if not p.eq(q)])
        verdict = check(z3.simplify(both(domain, path, apart)), start, effort)
        if verdict.holds is not True:
            return verdict
    return verdict


def distinguish(
    first: str, second: str, effort: int = EFFORT
) -> tuple[list[int], list[int]] | None:
    """A state and inputs for which the two differ, with exact products; one fixed calibration is tried first."""
    g, x = free_words()
    a, b = (_read(text, g, x) for text in (first, second))
    apart = z3.Or(*[p != q for p, q in zip([a.out, *a.state], [b.out, *b.state]) if not p.eq(q)])
    real = z3.substitute_funs(
        apart, (PRODUCT, z3.Var(0, z3.BitVecSort(32)) * z3.Var(1, z3.BitVecSort(32)))
    )
    usual = [(x.gain_a, 9766), (x.gain_b, 9766), (x.horizon, 24), (x.d1, 20), (x.gap, 16)]
    for fixed in (usual, usual[:4], usual[:3], []):
        bound = (
            z3.substitute(real, *[(w, z3.BitVecVal(v, 32)) for w, v in fixed]) if fixed else real
        )
        solver = z3.SolverFor("QF_BV")
        solver.set("rlimit", effort)
        solver.add(z3.simplify(both(small_words(g.values + x.values), bound)))
        if solver.check() == z3.sat:
            model, known = solver.model(), {w.decl().name(): v for w, v in fixed}
            value = [known.get(w.decl().name(), model.eval(w, True)) for w in g.values + x.values]
            numbers = [v if isinstance(v, int) else v.as_signed_long() for v in value]
            return numbers[: len(g.values)], numbers[len(g.values) :]
    return None
