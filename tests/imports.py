"""Imports of the packages, read from their text: what a module loads, what it imports inside functions, and circles."""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

FOLDERS = {"rimward": "host", "rimward_protocol": "protocol", "rimward_fw": "firmware"}
Import = ast.Import | ast.ImportFrom


_TREE = [Path(__file__).parents[1]]


def read_from(tree: Path) -> None:
    """Read the packages of another checkout from now on."""
    _TREE[0] = tree
    for cached in (modules, parsed, at_top, inside_functions, loaded):
        cached.cache_clear()


@cache
def modules() -> dict[str, Path]:
    """Name -> file of every module of the packages."""
    found = {}
    for package, name in FOLDERS.items():
        folder = _TREE[0] / name
        for path in sorted((folder / package).rglob("*.py")):
            parts = path.relative_to(folder).with_suffix("").parts
            found[".".join(parts).removesuffix(".__init__")] = path
    return found


@cache
def parsed(name: str) -> ast.Module:
    """Text of a module as a tree."""
    return ast.parse(modules()[name].read_text(encoding="utf-8"))


def _for_types_only(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)


def _within(node: ast.AST, functions: bool) -> Iterator[Import]:
    """Yield imports below a node, those for a type checker left out; with `functions` those inside functions too."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, Import):
            yield child
        elif _for_types_only(child) or (
            not functions and isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef)
        ):
            continue
        else:
            yield from _within(child, functions)


@cache
def at_top(name: str) -> tuple[Import, ...]:
    """Imports that run when a module is loaded."""
    return tuple(_within(parsed(name), functions=False))


@cache
def inside_functions(name: str) -> tuple[Import, ...]:
    """Imports that run when a function of a module is called."""
    return tuple(node for node in _within(parsed(name), functions=True) if node not in at_top(name))


def targets(name: str, node: Import) -> set[str]:
    """Return the modules that an import of module `name` loads, without their packages."""
    if isinstance(node, ast.Import):
        return {alias.name for alias in node.names}
    base = node.module or ""
    if node.level:
        package = name if modules()[name].name == "__init__.py" else name.rpartition(".")[0]
        for _ in range(node.level - 1):
            package = package.rpartition(".")[0]
        base = ".".join(part for part in (package, base) if part)
    full = {alias.name: f"{base}.{alias.name}" for alias in node.names}
    return {full[each] if full[each] in modules() else base for each in full}


@cache
def loaded(*names: str) -> frozenset[str]:
    """Everything that importing these modules loads: modules of the packages by name, others by their first part."""
    seen: set[str] = set()
    todo = list(names)
    while todo:
        name = todo.pop()
        parts = name.split(".")
        known = name in modules()
        name = name if known else parts[0]
        if name in seen:
            continue
        seen.add(name)
        if known:
            todo += [".".join(parts[:length]) for length in range(1, len(parts))]
            todo += [target for node in at_top(name) for target in targets(name, node)]
    return frozenset(seen)


def arrows() -> dict[str, set[str]]:
    """Module -> modules of the packages that it imports, inside functions too."""
    return {
        name: {
            target
            for node in (*at_top(name), *inside_functions(name))
            for target in targets(name, node)
            if target in modules() and target != name
        }
        for name in modules()
    }
