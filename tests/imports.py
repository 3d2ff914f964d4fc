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
    for cached in (modules, syntax, found, loaded, arrows):
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
def syntax(path: Path) -> ast.Module:
    """Text of a file as a tree."""
    return ast.parse(path.read_text(encoding="utf-8"))


def statements(node: ast.AST) -> Iterator[ast.AST]:
    """Yield every statement below a node, functions and classes included, and what stands between statements: handlers and cases."""
    for child in ast.iter_child_nodes(node):
        if not isinstance(child, ast.expr):
            yield child
            yield from statements(child)


def _for_types_only(node: ast.AST) -> bool:
    return isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test)


def _within(node: ast.AST, inside: bool = False) -> Iterator[tuple[Import, bool]]:
    """Yield imports below a node with whether a function holds them, those for a type checker left out."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, Import):
            yield child, inside
        elif not isinstance(child, ast.expr) and not _for_types_only(child):
            held = isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef)
            yield from _within(child, inside or held)


@cache
def found(name: str) -> tuple[tuple[Import, bool], ...]:
    """Imports of a module, and whether each is inside a function."""
    return tuple(_within(syntax(modules()[name])))


def at_top(name: str) -> tuple[Import, ...]:
    """Imports that run when a module is loaded."""
    return tuple(node for node, inside in found(name) if not inside)


def inside_functions(name: str) -> tuple[Import, ...]:
    """Imports that run when a function of a module is called."""
    return tuple(node for node, inside in found(name) if inside)


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


@cache
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
