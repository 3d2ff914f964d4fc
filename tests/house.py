"""Size and form of the code, counted: `python -m tests.house [--tree FOLDER] [--json]`; `--write` keeps the present tree's figures.

HOUSE.md beside this file shows them next to those of the tree before the second round of work, which `house.json` keeps.
"""

import argparse
import ast
import json
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from statistics import median, quantiles
from typing import Any

from tests import imports

TOP = Path(__file__).parents[1]
KEPT, PAGE = Path(__file__).with_name("house.json"), Path(__file__).with_name("HOUSE.md")
FOLDERS = ("firmware", "protocol", "host", "hardware", "tests")
PACKAGES = ("rimward", "rimward_protocol", "rimward_fw")
Function = ast.FunctionDef | ast.AsyncFunctionDef
# What adds a way through a function, besides each further operand of `and` and `or`.
BRANCHES = (
    ast.If, ast.For, ast.AsyncFor, ast.While, ast.IfExp, ast.ExceptHandler, ast.comprehension,
    ast.match_case, ast.Assert,
)  # fmt: skip

HEAD = """# Size and form of the code, before and after

Made by `python -m tests.house --write`; do not edit. Before: commit {before}, the last of the first round. After: commit {after}. Both are
counted by the same program. The project's own mypy settings, which name their exceptions, give no error. Length in lines, complexity as ways through a function; p90: nine of ten are at or under it. The kernels are
part of the firmware: they are written as several modules, and made one function for the chip. Annotated: every parameter and the result.
"""
WORDS = {
    "files": "files",
    "lines": "lines",
    "functions": "functions",
    "length": "function length, median / p90 / max",
    "complexity": "complexity, p90 / max",
    "docstrings": "public docstrings, %",
    "annotated": "annotated functions, %",
}
OVERALL = {
    "longest_file": "longest file, lines",
    "files_above_400": "files above 400 lines",
    "parameters_above_6": "functions with more than 6 parameters, options of commands not counted",
    "inside_functions": "imports inside functions, host",
    "in_circles": "modules in circles of imports, imports inside functions counted",
    "tests_to_source": "lines of tests a line of source",
    "unformatted": "files that `ruff format` with lines of 100 would change",
    "mypy_strict": "errors of `mypy --strict` over host, protocol and firmware, no exception made",
}
QUICK = ("-m", "pytest", "-m", "not slow", "-n", "2", "-q", "-p", "no:cacheprovider")


@dataclass(frozen=True)
class Counted:
    """Functions of one folder."""

    lengths: list[int]
    complexity: list[int]
    documented: list[bool]
    annotated: list[bool]


def complexity(node: Function) -> int:
    """Ways through a function: one, and one more for each branch in it."""
    inside = list(ast.walk(node))
    return (
        1
        + sum(isinstance(each, BRANCHES) for each in inside)
        + sum(len(each.values) - 1 for each in inside if isinstance(each, ast.BoolOp))
    )


def arguments(node: Function) -> list[ast.arg]:
    """Parameters of a function, without the object or class of a method."""
    every = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    return every[1:] if every and every[0].arg in ("self", "cls") else every


def is_command(node: Function) -> bool:
    """True for a command of the command line, whose parameters are its options."""
    return any("command" in ast.unparse(each) for each in node.decorator_list)


def public(tree: ast.Module) -> Iterator[ast.AST]:
    """Yield public functions and classes of a module, methods included."""
    for node in tree.body:
        inner = node.body if isinstance(node, ast.ClassDef) else []
        for each in (node, *inner):
            if isinstance(each, Function | ast.ClassDef) and not each.name.startswith("_"):
                yield each


def counted(trees: list[ast.Module]) -> Counted:
    """Count the functions of these modules."""
    functions = [node for tree in trees for node in ast.walk(tree) if isinstance(node, Function)]
    return Counted(
        [(node.end_lineno or 0) - node.lineno + 1 for node in functions],
        [complexity(node) for node in functions],
        [bool(ast.get_docstring(node)) for tree in trees for node in public(tree)],  # type: ignore[arg-type]
        [
            node.returns is not None and all(each.annotation for each in arguments(node))
            for node in functions
        ],
    )


def percent(flags: list[bool]) -> int:
    """Share of the true ones, rounded down."""
    return 100 * sum(flags) // len(flags) if flags else 100


def folder_figures(folder: Path) -> dict[str, Any]:
    """Figures of one folder of a tree."""
    texts = [path.read_text(encoding="utf-8") for path in sorted(folder.rglob("*.py"))]
    found = counted([ast.parse(text) for text in texts])
    tenths = quantiles(found.lengths, n=10)[8], quantiles(found.complexity, n=10)[8]
    return {
        "files": len(texts),
        "lines": sum(text.count("\n") for text in texts),
        "functions": len(found.lengths),
        "length": f"{median(found.lengths):.0f} / {tenths[0]:.0f} / {max(found.lengths)}",
        "complexity": f"{tenths[1]:.0f} / {max(found.complexity)}",
        "docstrings": percent(found.documented),
        "annotated": percent(found.annotated),
    }


def in_circles(arrows: dict[str, set[str]]) -> int:
    """Count modules from which a way of imports leads back to themselves."""

    def reached(start: str) -> set[str]:
        seen: set[str] = set()
        todo = list(arrows[start])
        while todo:
            name = todo.pop()
            if name not in seen:
                seen.add(name)
                todo += arrows[name]
        return seen

    return sum(name in reached(name) for name in arrows)


def overall_figures(tree: Path) -> dict[str, Any]:
    """Figures of a whole tree."""
    sizes = {
        path: path.read_text(encoding="utf-8").count("\n")
        for folder in FOLDERS
        for path in (tree / folder).rglob("*.py")
    }
    tests = sum(size for path, size in sizes.items() if path.is_relative_to(tree / "tests"))
    many = [
        node
        for path in sizes
        if not path.is_relative_to(tree / "tests") and "kernels" not in path.parts
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, Function) and len(arguments(node)) > 6 and not is_command(node)
    ]
    return {
        "longest_file": max(sizes.values()),
        "files_above_400": sum(size > 400 for size in sizes.values()),
        "parameters_above_6": len(many),
        "inside_functions": sum(
            len(imports.inside_functions(name))
            for name in imports.modules()
            if name.split(".")[0] == "rimward"
        ),
        "in_circles": in_circles(imports.arrows()),
        "tests_to_source": round(tests / (sum(sizes.values()) - tests), 2),
        "unformatted": unformatted(tree),
        "mypy_strict": strict_errors(tree),
    }


def unformatted(tree: Path) -> int:
    """Count Python files, kernels and generated rows left out as in pyproject.toml, that the formatter would change."""
    ruff = ["ruff", "format", "--check", "--config", str(TOP / "pyproject.toml"), "."]
    done = subprocess.run(ruff, cwd=tree, capture_output=True, text=True, check=False)
    found = re.search(r"(\d+) files? would be reformatted", done.stdout + done.stderr)
    return int(found[1]) if found else 0


def strict_errors(tree: Path) -> int:
    """Count errors of mypy's strict form without the exceptions of pyproject.toml. Takes a minute."""
    with tempfile.TemporaryDirectory() as cache:
        words = ["--strict", "--config-file=", "--ignore-missing-imports", "--cache-dir", cache]
        done = subprocess.run(
            [sys.executable, "-m", "mypy", *words, *(f"-p={name}" for name in PACKAGES)],
            cwd=tree,
            env=os.environ | {"MYPYPATH": "host:protocol:firmware"},
            capture_output=True,
            text=True,
            check=False,
        )
    return sum(": error:" in line for line in done.stdout.splitlines())


def figures(tree: Path) -> dict[str, Any]:
    """All figures of a tree."""
    imports.read_from(tree)
    commit = subprocess.run(
        ["git", "log", "-1", "--format=%h %cs"],
        cwd=tree,
        capture_output=True,
        text=True,
        check=True,
    )
    return {
        "commit": commit.stdout.strip(),
        "overall": overall_figures(tree),
        "folders": {folder: folder_figures(tree / folder) for folder in FOLDERS},
    }


def page(kept: dict[str, Any]) -> str:
    """Return the page of both trees' figures."""
    before, after = kept["before"], kept["after"]
    lines = [HEAD.format(before=before["commit"], after=after["commit"])]
    lines += ["| figure | before | after |", "| --- | --- | --- |"]
    lines += [
        f"| {words} | {before['overall'][key]:,} | {after['overall'][key]:,} |"
        for key, words in OVERALL.items()
    ]
    if "times" in kept:
        lines.append(
            f'| quick tests (`-m "not slow"`), two processes, s | no such set | {kept["times"]["quick_s"]} |'
        )
    for folder in FOLDERS:
        lines += ["", f"## {folder}", "", "| figure | before | after |", "| --- | --- | --- |"]
        lines += [
            f"| {words} | {before['folders'][folder][key]} | {after['folders'][folder][key]} |"
            for key, words in WORDS.items()
        ]
    return "\n".join(lines) + "\n"


def quick_seconds() -> int:
    """Seconds that the quick tests take on this computer. CalledProcessError where one fails."""
    began = time.monotonic()
    subprocess.run([sys.executable, *QUICK], cwd=TOP, check=True, capture_output=True)
    return round(time.monotonic() - began)


def main() -> None:
    """Count a tree; print, or keep the figures and draw the page."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--tree", type=Path, default=TOP, help="another checkout to count")
    ask.add_argument("--json", action="store_true", help="one JSON document")
    ask.add_argument(
        "--write",
        choices=("before", "after"),
        nargs="?",
        const="after",
        help="keep them, draw HOUSE.md",
    )
    ask.add_argument("--times", action="store_true", help="with --write: time the quick tests too")
    given = ask.parse_args()
    found = figures(given.tree.resolve())
    if given.write:
        kept = json.loads(KEPT.read_text(encoding="utf-8")) if KEPT.is_file() else {}
        kept[given.write] = found
        if given.times:
            kept["times"] = {"quick_s": quick_seconds()}
        KEPT.write_text(json.dumps(kept, indent=1, sort_keys=True) + "\n", encoding="utf-8")
        if {"before", "after"} <= set(kept):
            PAGE.write_text(page(kept), encoding="utf-8")
    elif given.json:
        print(json.dumps(found, indent=1))
    else:
        for name, value in found["overall"].items():
            print(f"{OVERALL[name]}: {value}")
        for folder, row in found["folders"].items():
            print(f"{folder}: {', '.join(f'{WORDS[key]} {value}' for key, value in row.items())}")


if __name__ == "__main__":
    main()
