"""Kept proofs: a rule proved of the present sources is not proved again in every run of the tests.

`python -m tests.trust.guard_kept [--workers N] [--all]` proves the rules without a kept proof of the present sources, of the guard and of the
bench's guard, and keeps it in `guard_proofs.json`. The tests prove every rule that is not kept, whatever it takes, and a drawn part of the others.

A proof is of the guard as assembled and of everything that states or decides the rule; comments, docstrings and imports do not count.
"""

import argparse
import ast
import hashlib
import json
import random
import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor, as_completed
from functools import cache, partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from rimward_protocol.kernel_words import GUARD_INPUT, GUARD_STATE

from tests.trust import guard_prove
from tests.trust.bare import bare

HERE = Path(__file__).parent
KEPT = HERE / "guard_proofs.json"
DECIDING = (
    "executor",
    "program",
    "terms",
    "guard_model",
    "guard_conditions",
    "guard_rules",
    "guard_fault_rules",
    "guard_latch_rules",
    "guard_tyre_rules",
    "guard_prove",
    "guard_bench",
)
ORDINARY, BENCH = "ordinary", "bench"
LONG_S = 10.0  # a proof that took longer is not drawn
DRAWN = 8
EASY = 8_000_000  # z3's count of work for the first round: most rules take less

Proved = dict[
    str, dict[str, dict[str, Any]]
]  # which guard -> rule -> sources and seconds, None where that was not timed


def without_planted(text: str) -> str:
    """Return a module without the defects that its rules are tried with: they decide no proof."""
    tree = ast.parse(text)
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Name)
            and node.func.id == "Rule"
        ):
            node.args = node.args[:3] + node.args[4:]
    return ast.unparse(tree)


@cache
def digest(guard: str) -> str:
    """Return the first 16 digits of SHA-256 over this guard, its words and what decides a proof in the modules."""
    modules = [(HERE / f"{name}.py").read_text(encoding="utf-8") for name in DECIDING]
    texts = [bare(guard), *(bare(without_planted(text)) for text in modules)]
    return hashlib.sha256(repr([texts, GUARD_STATE, GUARD_INPUT]).encode()).hexdigest()[:16]


def load() -> Proved:
    return json.loads(KEPT.read_text(encoding="utf-8")) if KEPT.exists() else {}


def due(
    which: str, names: Iterable[str], guard: str, drawn: int = DRAWN, seed: int = 4
) -> list[str]:
    """Return the names to prove in a run of the tests: those without a kept proof of these sources, and a drawn part of the others."""
    names, kept, now = list(names), load().get(which, {}), digest(guard)
    current = {name for name in names if kept.get(name, {}).get("of") == now}
    short = [
        name
        for name in names
        if name in current and (kept[name]["seconds"] or LONG_S + 1) <= LONG_S
    ]
    chosen = set(random.Random(seed).sample(short, min(drawn, len(short)))) | (set(names) - current)
    return [name for name in names if name in chosen]


Prove = Callable[[str, int], guard_prove.Verdict]


def prove_all(which: str, names: list[str], guard: str, prove: Prove, workers: int) -> list[str]:
    """Prove and keep, the easy ones first; return the names that did not hold."""
    left = prove_some(which, names, guard, partial(prove, effort=EASY), workers)
    return prove_some(which, left, guard, partial(prove, effort=guard_prove.EFFORT), workers)


def prove_some(
    which: str,
    names: list[str],
    guard: str,
    prove: Callable[[str], guard_prove.Verdict],
    workers: int,
) -> list[str]:
    """Prove and keep what this effort proves; return the other names."""
    failed = []
    with ProcessPoolExecutor(workers, mp_context=get_context("fork")) as pool:
        running = {pool.submit(prove, name): name for name in names}
        for done in as_completed(running):
            name, verdict = running[done], done.result()
            print(
                f"{which} {name}: {verdict.holds} {verdict.seconds:.1f} s",
                file=sys.stderr,
                flush=True,
            )
            if verdict.holds is not True:
                failed.append(name)
                continue
            known = load()
            known.setdefault(which, {})[name] = {
                "of": digest(guard),
                "seconds": round(verdict.seconds, 1),
            }
            KEPT.write_text(json.dumps(known, indent=1, sort_keys=True) + "\n", encoding="utf-8")
    return failed


def prove_ordinary(name: str, effort: int = guard_prove.EFFORT) -> guard_prove.Verdict:
    """Prove one rule of the present guard."""
    rule = next(rule for rule in guard_prove.ALL_RULES if rule.name == name)
    return guard_prove.prove(guard_prove.transition(guard_prove.source_of_guard()), rule, effort)


def main() -> int:
    from tests.trust import (
        guard_bench,
    )  # states all rules a second time: only where they are wanted

    parser = argparse.ArgumentParser(
        prog="python -m tests.trust.guard_kept", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument(
        "--all", action="store_true", help="prove again what is kept of these sources too"
    )
    asked = parser.parse_args()
    failed = []
    names = [rule.name for rule in guard_prove.ALL_RULES]
    for which, guard, prove in (
        (ORDINARY, guard_prove.source_of_guard(), prove_ordinary),
        (BENCH, guard_bench.SOURCE, guard_bench.prove_named),
    ):
        chosen = names if asked.all else due(which, names, guard, drawn=0)
        failed += [
            f"{which}: {name}" for name in prove_all(which, chosen, guard, prove, asked.workers)
        ]
    print("\n".join(f"not proved: {name}" for name in failed) or "all proved")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
