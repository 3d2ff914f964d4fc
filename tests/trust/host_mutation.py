"""Mutants of the host's limit code: constants, comparisons and dropped statements, each judged by the tests of its module.

`python -m tests.trust.host_mutation --seed N [--count 60] [--json]` draws mutants and lists the survivors; it is no part of the suite,
since a mutant costs a run of its tests. Survivors known to be equal to the original are in host_equivalent.json with the reason.
"""

import argparse
import ast
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
HOST = ROOT / "host"
EQUIVALENT = Path(__file__).with_name("host_equivalent.json")
LEAST_KILLED = 0.95
LIMIT_S = 300
COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.In: ast.NotIn, ast.NotIn: ast.In,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
DROPPED = (ast.Expr, ast.AugAssign, ast.If, ast.Raise)

# module of host/rimward -> the tests that judge it, in tests/unit and tests/outside
JUDGED: dict[str, tuple[str, ...]] = {
    "ceiling/assess": ("unit/ceiling", "unit/conditions", "unit/ceiling_command"),
    "ceiling/cautions": ("unit/ceiling", "unit/maker_table", "unit/conditions", "outside/tyre_tables", "outside/envelope"),
    "ceiling/envelope": ("unit/ceiling", "unit/conditions", "outside/envelope", "outside/isochoric", "unit/ceiling_command"),
    "ceiling/limits": ("unit/ceiling", "unit/maker_table", "outside/tyre_tables"),
    "ceiling/maker": ("unit/maker_table", "unit/ceiling"),
    "ceiling/markings": ("unit/markings", "unit/ceiling"),
    "ceiling/model": ("unit/ceiling", "unit/conditions", "unit/markings"),
    "ceiling/pairs": ("unit/pair_table",),
    "ceiling/places": ("unit/conditions",),
    "ceiling/rules": ("unit/ceiling", "unit/maker_table", "outside/tyre_tables"),
    "ceiling/sizes": ("unit/markings", "unit/ceiling"),
    "cartridge/charge": ("unit/cartridge", "outside/co2"),
    "cartridge/gas": ("unit/cartridge", "outside/co2"),
    "cartridge/verdict": ("unit/cartridge",),
    "ride/readings": ("unit/ride", "outside/isochoric"),
    "ride/report": ("unit/ride",),
    "rimtype/verdict": ("unit/rim_type",),
    "register/questions": ("unit/wheel_ask",),
    "uncertainty/files": ("unit/uncertainty",),
    "uncertainty/inflator": ("unit/uncertainty",),
    "uncertainty/student": ("unit/uncertainty", "outside/gum", "outside/decision"),
    "conditions": ("unit/conditions",),
    "energy": ("unit/energy", "outside/energy", "outside/cautions"),
    "units": ("unit/units", "outside/units"),
    "volume": ("unit/volume", "outside/volumes", "unit/cartridge"),
}


@dataclass(frozen=True)
class HostMutant:
    """One change of one module: its place among the module's sites, and what it does in words."""

    module: str
    site: int
    words: str

    @property
    def key(self) -> str:
        return f"{self.module}: {self.words}"


def sites(tree: ast.Module) -> Iterator[tuple[str, ast.AST, Any]]:
    """(kind, node, where) of everything that a mutant may change."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, (int, float)) and not isinstance(node.value, bool):
            yield "constant", node, None
        if isinstance(node, ast.Compare) and type(node.ops[0]) in COMPARED:
            yield "comparison", node, None
        for field in ("body", "orelse"):
            block = getattr(node, field, None)
            if isinstance(block, list) and len(block) > 1:
                for i, statement in enumerate(block):
                    docstring = isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant)
                    if isinstance(statement, DROPPED) and not docstring:
                        yield "dropped", node, (field, i)


def change(kind: str, node: Any, where: Any) -> str:
    """Make the change in the tree; what it is in words."""
    if kind == "constant":
        before = node.value
        node.value = before + 1 if isinstance(before, int) else before * 1.01 + 1e-12
        return f"{before} -> {node.value}"
    if kind == "comparison":
        before = ast.unparse(node)
        node.ops[0] = COMPARED[type(node.ops[0])]()
        return f"{before} -> {ast.unparse(node)}"
    block = getattr(node, where[0])
    words = f"dropped: {ast.unparse(block[where[1]]).splitlines()[0]}"
    block[where[1]] = ast.copy_location(ast.Pass(), block[where[1]])
    return words


def mutated(module: str, site: int) -> tuple[str, str]:
    """(source, words) of one mutant."""
    tree = ast.parse((HOST / "rimward" / f"{module}.py").read_text(encoding="utf-8"))
    words = change(*list(sites(tree))[site])
    return ast.unparse(ast.fix_missing_locations(tree)), words


def every() -> list[HostMutant]:
    """All mutants of all judged modules."""
    found = []
    for module in JUDGED:
        tree = ast.parse((HOST / "rimward" / f"{module}.py").read_text(encoding="utf-8"))
        found += [HostMutant(module, site, mutated(module, site)[1]) for site in range(len(list(sites(tree))))]
    return found


def tests_of(module: str) -> tuple[str, ...]:
    """The test files that judge a module."""
    return tuple(f"tests/{name.replace('/', '/test_')}.py" for name in JUDGED[module])


def judge(tests: tuple[str, ...], module: str = "", source: str = "") -> int:
    """pytest's exit code for these tests on a copy of the package in which `module` has this source; 1 for a run without an end."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "host"
        shutil.copytree(HOST, copy, ignore=shutil.ignore_patterns("__pycache__"))
        if module:
            (copy / "rimward" / f"{module}.py").write_text(source, encoding="utf-8")
        env = os.environ | {"PYTHONPATH": os.pathsep.join((str(copy), str(ROOT / "protocol"), str(ROOT / "firmware")))}
        command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *tests]
        try:
            return subprocess.run(command, cwd=ROOT, env=env, capture_output=True, timeout=LIMIT_S).returncode
        except subprocess.TimeoutExpired:
            return 1


def killed(mutant: HostMutant, tests: tuple[str, ...] = ()) -> bool:
    """Whether a test of its module fails on the mutant, or cannot even be collected. `run` first shows that the original passes."""
    return judge(tests or tests_of(mutant.module), mutant.module, mutated(mutant.module, mutant.site)[0]) in (1, 2)


def run(seed: int, count: int) -> dict[str, Any]:
    """Draw `count` mutants with `seed` and judge them; known equivalents are drawn again."""
    reasons: dict[str, str] = json.loads(EQUIVALENT.read_text(encoding="utf-8"))
    found = [mutant for mutant in every() if mutant.key not in reasons]
    drawn = random.Random(seed).sample(found, min(count, len(found)))
    used = tuple(sorted({name for mutant in drawn for name in tests_of(mutant.module)}))
    if judge(used):
        raise SystemExit("The tests fail on the unchanged package: correct that first.")
    survivors = []
    for i, mutant in enumerate(drawn, 1):
        dead = killed(mutant)
        print(f"{i}/{len(drawn)} {'killed' if dead else 'SURVIVES'} {mutant.key}", file=sys.stderr, flush=True)
        survivors += [] if dead else [mutant.key]
    share = 1 - len(survivors) / len(drawn)
    return {
        "ok": share >= LEAST_KILLED, "seed": seed, "mutants": len(found), "drawn": len(drawn), "killed": len(drawn) - len(survivors),
        "survivors": survivors, "equivalent": reasons,
    }  # fmt: skip


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    found = run(asked.seed, asked.count)
    if asked.json:
        print(json.dumps(found))
    else:
        print(f"{found['killed']} of {found['drawn']} drawn mutants killed (seed {found['seed']}, {found['mutants']} in all)")
        print("\n".join(f"survives: {line}" for line in found["survivors"]))
    return 0 if found["ok"] else 1


if __name__ == "__main__":
    sys.exit(main())
