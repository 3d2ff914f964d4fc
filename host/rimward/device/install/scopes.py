"""Names and scopes of Python text: what a module binds, what it imports, what its functions hide."""

import ast
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

FUNCTIONS = (ast.FunctionDef, ast.Lambda)
COMPREHENSIONS = (ast.ListComp, ast.SetComp, ast.DictComp, ast.GeneratorExp)
ON_CHIP = "ON_MICROPYTHON"
Trees = dict[str, ast.Module]


@dataclass(frozen=True)
class Bound:
    """Target of a name at the top of a module: a module, another module's name, or (neither) something of its own."""

    module: str = ""
    name: str = ""
    outer: str = (
        ""  # statement of an import from outside the firmware: the same text for the same target
    )


def chip_only(tree: ast.Module) -> ast.Module:
    """Remove the branches that only CPython takes, and the docstring."""
    body: list[ast.stmt] = []
    for node in tree.body:
        test = ast.unparse(node.test) if isinstance(node, ast.If) else ""
        if isinstance(node, ast.If) and test in (ON_CHIP, f"not {ON_CHIP}"):
            body += node.body if test == ON_CHIP else node.orelse
        elif not (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)):
            body.append(node)
    tree.body = body
    return tree


def source_of(node: ast.ImportFrom, module: str) -> str:
    """Dotted name of the module that a from-import in `module` reads."""
    package = module.rpartition(".")[0] if node.level else ""
    return ".".join(part for part in (package, node.module or "") if part)


def imports(tree: ast.AST, module: str) -> Iterator[str]:
    """Dotted names of everything that `tree` imports by from-imports."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom):
            yield source_of(node, module)
            yield from (f"{source_of(node, module)}.{alias.name}" for alias in node.names)


def bindings(tree: ast.Module, module: str, trees: Trees) -> dict[str, Bound]:
    """Every name at the top of a module with its target."""
    found = {name: Bound() for name in sorted(stored(tree.body))}
    for node in tree.body:
        if isinstance(node, ast.Import):
            found.update(
                {
                    alias.asname or alias.name: Bound(outer=ast.unparse(ast.Import([alias])))
                    for alias in node.names
                }
            )
        elif isinstance(node, ast.ImportFrom):
            where = source_of(node, module)
            for alias in node.names:
                found[alias.asname or alias.name] = _target(where, alias, trees)
    return found


def _target(where: str, alias: ast.alias, trees: Trees) -> Bound:
    if f"{where}.{alias.name}" in trees:
        return Bound(module=f"{where}.{alias.name}")
    if where in trees:
        return Bound(module=where, name=alias.name)
    return Bound(outer=ast.unparse(ast.ImportFrom(where, [ast.alias(alias.name)], 0)))


def stored(body: Iterable[ast.AST]) -> set[str]:
    """Names that statements bind in their own scope."""
    found: set[str] = set()
    queue = list(body)
    while queue:
        node = queue.pop()
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
            found.add(node.name)
            continue
        if isinstance(node, (ast.Import, ast.ImportFrom)):
            found |= {alias.asname or alias.name for alias in node.names}
        elif isinstance(node, ast.ExceptHandler) and node.name:
            found.add(node.name)
        elif isinstance(node, ast.Name) and not isinstance(node.ctx, ast.Load):
            found.add(node.id)
        if not isinstance(node, (*FUNCTIONS, *COMPREHENSIONS)):
            queue += ast.iter_child_nodes(node)
    return found


def inner_names(tree: ast.Module, tops: Iterable[str]) -> set[str]:
    """Names of inner scopes and of the interpreter: none of them may become the name of something at the top."""
    tops = set(tops)
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.arg):
            found.add(node.arg)
        elif isinstance(node, (*FUNCTIONS, ast.ClassDef)):
            found |= stored(node.body if isinstance(node.body, list) else [])
        elif isinstance(node, COMPREHENSIONS):
            found |= _loop_names(node)
        elif isinstance(node, ast.Name) and node.id not in tops:
            found.add(node.id)
    return found


def attributes(tree: ast.Module) -> set[str]:
    """Private attributes and methods that a module uses."""
    return {
        node.attr
        for node in ast.walk(tree)
        if isinstance(node, ast.Attribute) and node.attr.startswith("_") and node.attr[1:2] != "_"
    }


def _loop_names(node: ast.AST) -> set[str]:
    return {
        item.id
        for part in getattr(node, "generators", ())
        for item in ast.walk(part.target)
        if isinstance(item, ast.Name)
    }


class ScopedTransformer(ast.NodeTransformer):
    """Transformer that knows which names are hidden at each place by functions, classes and comprehensions."""

    def __init__(self) -> None:
        self.scopes: list[tuple[bool, set[str]]] = []  # (of a class, its names)

    def hidden(self, name: str) -> bool:
        """Return True if a scope below the top binds the name here; a class hides its names from its methods."""
        if not self.scopes:
            return False
        return name in self.scopes[-1][1] or any(
            name in found for of_class, found in self.scopes[:-1] if not of_class
        )

    def renamed(self, name: str) -> str:
        """Return the new name of something bound at the top."""
        return name

    def _in_scope(self, found: set[str], of_class: bool, nodes: Iterable[ast.AST]) -> list[ast.AST]:
        self.scopes.append((of_class, found))
        done = [self.visit(node) for node in nodes]
        self.scopes.pop()
        return [node for node in done if node is not None]

    def _function(self, node: ast.FunctionDef | ast.Lambda) -> ast.AST:
        arguments = node.args
        arguments.defaults = [self.visit(item) for item in arguments.defaults]
        arguments.kw_defaults = [item and self.visit(item) for item in arguments.kw_defaults]
        own = {item.arg for item in ast.walk(arguments) if isinstance(item, ast.arg)}
        body: list[ast.AST] = list(node.body) if isinstance(node, ast.FunctionDef) else [node.body]
        outside = {
            name
            for item in body
            for part in ast.walk(item)
            if isinstance(part, (ast.Global, ast.Nonlocal))
            for name in part.names
        }
        made = self._in_scope(own | (stored(body) - outside), False, body)
        node.body = made if isinstance(node, ast.FunctionDef) else made[0]  # type: ignore[assignment]
        return node

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        """Visit decorators and defaults outside the function's scope, its body inside."""
        node.decorator_list = [self.visit(item) for item in node.decorator_list]
        node.name = self.renamed(node.name)
        return self._function(node)

    def visit_Lambda(self, node: ast.Lambda) -> ast.AST:
        """Visit a lambda as a function."""
        return self._function(node)

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.AST:
        """Visit base classes outside the class's scope, its body inside."""
        node.bases = [self.visit(item) for item in node.bases]
        node.decorator_list = [self.visit(item) for item in node.decorator_list]
        node.name = self.renamed(node.name)
        node.body = self._in_scope(stored(node.body), True, node.body)  # type: ignore[assignment]
        return node

    def generic_visit(self, node: ast.AST) -> ast.AST:
        """Visit a comprehension in the scope of its loop names, anything else as it is."""
        if not isinstance(node, COMPREHENSIONS):
            return super().generic_visit(node)
        self.scopes.append((False, _loop_names(node)))
        done = super().generic_visit(node)
        self.scopes.pop()
        return done
