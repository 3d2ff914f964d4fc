"""Mutants of the tick's plumbing (sense, latches, lease, order, ring, drive), judged by `tick_checks`.

`python -m tests.trust.tick_mutation --seed N [--count 100] [--json]` draws mutants and lists the survivors.
"""

import argparse
import ast
import json
import random
import sys
from array import array
from types import SimpleNamespace
from typing import Any

from rimward.kernels.assemble import source_path

from tests.trust.guard_mutants import Mutant, mutants
from tests.trust.tick_checks import CHECKS

MODULES = ("rimward_fw.kernels.order", "rimward_fw.kernels.tick", "rimward_fw.storage.ticks")
LEAST_KILLED = 0.95


def functions_only(source: str) -> str:
    """The source with its constants, imports and docstrings as they are needed to run, and nothing that the chip alone runs."""
    tree = ast.parse(source)
    tree.body = [
        n
        for n in tree.body
        if not (isinstance(n, ast.FunctionDef) and n.name in ("bind", "interrupt"))
    ]
    return ast.unparse(tree)


def every() -> list[tuple[str, Mutant]]:
    """(module, mutant) of all functions of the plumbing; constants are counted with the functions that use them."""
    return [
        (module, mutant)
        for module in MODULES
        for mutant in mutants(functions_only(source_path(module).read_text()))
    ]


def namespace(changed: str = "", text: str = "") -> SimpleNamespace:
    """The functions of the plumbing, those of module `changed` from `text`."""
    space: dict[str, Any] = {"array": array}
    for module in MODULES:
        source = text if module == changed else functions_only(source_path(module).read_text())
        tree = ast.parse(source)
        tree.body = [
            n
            for n in tree.body
            if not (isinstance(n, ast.ImportFrom) and (n.module or "").startswith("rimward_fw"))
        ]
        exec(compile(tree, module, "exec"), space)  # noqa: S102
    return SimpleNamespace(**space)


def killed(module: str, mutant: Mutant) -> bool:
    """True if a check refuses the mutant."""
    try:
        judged = namespace(module, mutant.source())
        for check in CHECKS:
            check(judged)
    except Exception:
        return True
    return False


def run(seed: int, count: int) -> dict[str, Any]:
    """Draw `count` mutants with `seed` and judge them."""
    found = every()
    drawn = random.Random(seed).sample(found, min(count, len(found)))
    survivors = [
        f"{module.rsplit('.', 1)[1]}: {mutant.key}"
        for module, mutant in drawn
        if not killed(module, mutant)
    ]
    share = 1 - len(survivors) / len(drawn)
    return {
        "ok": share >= LEAST_KILLED,
        "seed": seed,
        "mutants": len(found),
        "drawn": len(drawn),
        "killed": len(drawn) - len(survivors),
        "survivors": survivors,
    }


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    found = run(asked.seed, asked.count)
    if asked.json:
        print(json.dumps(found))
    else:
        print(
            f"{found['killed']} of {found['drawn']} drawn mutants killed (seed {found['seed']}, {found['mutants']} in all)"
        )
        print("\n".join(f"survives: {line}" for line in found["survivors"]))
    return 0 if found["ok"] else 1


if __name__ == "__main__":
    sys.exit(main())
