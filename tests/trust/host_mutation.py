"""Mutants of the code that decides limits, on the host and on the inflator: constants, comparisons and dropped statements.

Each is judged by the tests of its module. The kernels have mutants of their own, `guard_mutation` and `tick_mutation`.

`python -m tests.trust.host_mutation --seed N [--count 60] [--keep FILE] [--json]` draws mutants and lists the survivors; it is no part of the
suite, since a mutant takes a run of its tests: first the quick ones, then, if it survived those, the slow ones, each file in a process forked from one
that has loaded the libraries and nothing of the package. Survivors known to be equal to
the original are in host_equivalent.json with the reason.
"""

import argparse
import ast
import importlib
import json
import multiprocessing
import os
import random
import signal
import sys
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

from tests.kinds import QUICK, SLOW
from tests.trust.judged import EDGES, JUDGED

ROOT = Path(__file__).parents[2]
PLACES = {"rimward": ROOT / "host", "rimward_fw": ROOT / "firmware"}
EQUIVALENT = Path(__file__).with_name("host_equivalent.json")
LEAST_KILLED = 0.95
LIMIT_S = 240  # many times what the slowest tests take: only a loop without an end is stopped
NO_VERDICT = 70  # exit code of a run that failed by itself: kills nothing
OURS = {"rimward", "rimward_fw", "rimward_protocol"}
COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.In: ast.NotIn, ast.NotIn: ast.In,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
DROPPED = (ast.Expr, ast.AugAssign, ast.If, ast.Raise)


@dataclass(frozen=True)
class HostMutant:
    """One change of one module: its place among the module's sites, and what it does in words."""

    module: str
    site: int
    words: str
    line: str = ""  # of the source, as it is

    @property
    def key(self) -> str:
        return f"{self.module}: {self.words}"

    @property
    def names(self) -> set[str]:
        """Keys under which host_equivalent.json may have it: wherever it occurs in the module, or in this line only."""
        return {self.key, f"{self.key} in `{self.line}`"}


def sites(tree: ast.Module) -> Iterator[tuple[str, ast.AST, Any]]:
    """(kind, node, where) of everything that a mutant may change."""
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Constant)
            and isinstance(node.value, (int, float))
            and not isinstance(node.value, bool)
        ):
            yield "constant", node, None
        if isinstance(node, ast.Compare) and type(node.ops[0]) in COMPARED:
            yield "comparison", node, None
        for field in ("body", "orelse"):
            block = getattr(node, field, None)
            if isinstance(block, list) and len(block) > 1:
                for i, statement in enumerate(block):
                    docstring = isinstance(statement, ast.Expr) and isinstance(
                        statement.value, ast.Constant
                    )
                    typing = (
                        isinstance(statement, ast.If)
                        and ast.unparse(statement.test) == "TYPE_CHECKING"
                    )  # false at run time
                    if isinstance(statement, DROPPED) and not docstring and not typing:
                        yield "dropped", node, (field, i)


def change(kind: str, node: Any, where: Any) -> str:
    """Make the change in the tree; return it in words."""
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


def in_words(kind: str, node: Any, where: Any) -> str:
    """What a change does, in words; the tree stays as it is."""
    if kind == "constant":
        return change(kind, ast.Constant(node.value), where)
    if kind == "comparison":
        return change(kind, ast.Compare(node.left, list(node.ops), node.comparators), where)
    return change(kind, ast.Module(list(getattr(node, where[0])), []), ("body", where[1]))


def line_of(text: str, node: Any, where: Any) -> str:
    """The line of the source on which a change begins."""
    changed = getattr(node, where[0])[where[1]] if where else node
    return text.splitlines()[changed.lineno - 1].strip()


def source_of(module: str) -> Path:
    """The file of a module."""
    return (PLACES[module.split(".")[0]] / module.replace(".", "/")).with_suffix(".py")


def mutated(module: str, site: int) -> tuple[str, str]:
    """(source, words) of one mutant."""
    tree = ast.parse(source_of(module).read_text(encoding="utf-8"))
    words = change(*list(sites(tree))[site])
    return ast.unparse(ast.fix_missing_locations(tree)), words


def every() -> list[HostMutant]:
    """All mutants of all judged modules."""
    found = []
    for module in JUDGED:
        text = source_of(module).read_text(encoding="utf-8")
        for site, (kind, node, where) in enumerate(list(sites(ast.parse(text)))):
            line = line_of(text, node, where)
            found.append(HostMutant(module, site, in_words(kind, node, where), line))
    return found


def tests_of(module: str) -> tuple[str, ...]:
    """The test files that judge a module."""
    names = (*JUDGED[module], EDGES[module.split(".")[0]])
    return tuple(f"tests/{name.replace('/', '/test_')}.py" for name in names)


# run at the start of every interpreter: one module is loaded from the mutant's source
HOOK = """import importlib.machinery as machinery, os, sys

class Loader(machinery.SourceFileLoader):
    def get_code(self, fullname):
        with open(os.path.join(os.path.dirname(__file__), "mutant.py"), encoding="utf-8") as file:
            return compile(file.read(), self.path, "exec")

class Mutant:
    def find_spec(self, name, path=None, target=None):
        if name == os.environ.get("RIMWARD_MUTANT"):
            spec = machinery.PathFinder.find_spec(name, path)
            spec.loader = Loader(name, spec.origin)
            return spec

sys.meta_path.insert(0, Mutant())
"""


def load_libraries(tests: tuple[str, ...]) -> None:
    """Import what these tests need of other people's modules, so that each forked run has them and imports only ours."""
    reader, writer = os.pipe()

    def collect() -> None:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        import pytest

        pytest.main(["-q", "--collect-only", "-p", "no:cacheprovider", *tests])
        names = [name for name, module in sys.modules.items() if "site-packages" in str(module)]
        os.write(writer, "\n".join(names).encode()[:60000])

    child = multiprocessing.get_context("fork").Process(target=collect)
    child.start()
    child.join()
    os.close(writer)
    with os.fdopen(reader) as names:
        for name in names.read().split():
            with suppress(Exception):  # a plugin's or a test's own: the run imports it itself
                importlib.import_module(name)


def run_tests(folder: str, arguments: list[str], module: str) -> NoReturn:
    """In a forked process: put the mutant in its place and end with pytest's exit code, or with NO_VERDICT where that could not be had."""
    code = NO_VERDICT
    try:
        os.setsid()
        void = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(void, stream)
        paths = [folder, *map(str, (ROOT, ROOT / "host", ROOT / "protocol", ROOT / "firmware"))]
        sys.path[:0] = paths
        os.environ |= {"PYTHONPATH": os.pathsep.join(paths), "RIMWARD_MUTANT": module}
        os.chdir(ROOT)
        if module:
            importlib.import_module("sitecustomize_mutant")
        import pytest

        code = int(pytest.main(arguments))
    finally:
        os._exit(code)  # whatever threads a test has left


def judge(tests: tuple[str, ...], module: str = "", source: str = "", only: str = "") -> int:
    """pytest's exit code for these tests where `module` has this source; 1 for a run without an end (of a mutant). `only`: a marker expression."""
    if OURS & {name.partition(".")[0] for name in sys.modules}:
        raise RuntimeError("the package was loaded before the fork, which would run it as it is")
    with tempfile.TemporaryDirectory() as folder:
        if module:
            # the first for processes that tests start, the second for this one
            for name in ("sitecustomize", "sitecustomize_mutant"):
                (Path(folder) / f"{name}.py").write_text(HOOK, encoding="utf-8")
            (Path(folder) / "mutant.py").write_text(source, encoding="utf-8")
        arguments = ["-q", "-x", "-p", "no:cacheprovider", *tests, *(["-m", only] if only else [])]
        child = multiprocessing.get_context("fork").Process(
            target=run_tests, args=(folder, arguments, module)
        )
        child.start()
        child.join(LIMIT_S if module else None)
        if child.exitcode is None:
            with suppress(ProcessLookupError):
                os.killpg(child.pid or 0, signal.SIGKILL)
            child.join()
            print(f"no end within {LIMIT_S} s", file=sys.stderr)
            return 1
        return child.exitcode


def killed(mutant: HostMutant, tests: tuple[str, ...] = ()) -> bool:
    """Whether a test of its module fails on the mutant, or cannot even be collected. `run` first shows that the original passes."""
    tests = tests or tests_of(mutant.module)
    source = mutated(mutant.module, mutant.site)[0]
    return any(
        judge((test,), mutant.module, source, only) in (1, 2)
        for only in (QUICK, SLOW)
        for test in tests
    )


def run(seed: int, count: int, skip: int = 0, keep: Path | None = None) -> dict[str, Any]:
    """Draw `count` mutants with `seed` and judge them from number `skip` on; known equivalents are drawn again.

    `keep`: file of verdicts; what it holds as killed is not judged again.
    """
    reasons: dict[str, str] = json.loads(EQUIVALENT.read_text(encoding="utf-8"))
    found = [mutant for mutant in every() if not mutant.names & set(reasons)]
    drawn = random.Random(seed).sample(found, len(found))[
        skip:count
    ]  # so that pieces of one draw fit together
    used = tuple(sorted({name for mutant in drawn for name in tests_of(mutant.module)}))
    load_libraries(used)
    if judge(used):
        raise SystemExit("The tests fail on the unchanged package: correct that first.")
    kept: dict[str, bool] = json.loads(keep.read_text()) if keep and keep.exists() else {}
    survivors = []
    for i, mutant in enumerate(drawn, 1):
        place = f"{mutant.site} {mutant.key}"
        dead = kept.get(place, False) or killed(mutant)
        if keep:
            kept[place] = dead
            keep.write_text(json.dumps(kept, indent=1))
        print(
            f"{i}/{len(drawn)} {'killed' if dead else 'SURVIVES'} {mutant.key}",
            file=sys.stderr,
            flush=True,
        )
        survivors += [] if dead else [f"{mutant.key} in `{mutant.line}`"]
    share = 1 - len(survivors) / len(drawn)
    return {
        "ok": share >= LEAST_KILLED, "seed": seed, "mutants": len(found), "drawn": len(drawn), "killed": len(drawn) - len(survivors),
        "survivors": survivors, "equivalent": reasons,
    }  # fmt: skip


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument(
        "--skip",
        type=int,
        default=0,
        help="leave out the first so many of the draw: a long draw in pieces",
    )
    parser.add_argument(
        "--keep", type=Path, help="file of verdicts: a run that was interrupted goes on"
    )
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    found = run(asked.seed, asked.count, asked.skip, asked.keep)
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
