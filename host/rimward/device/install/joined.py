"""Modules of the firmware written as few modules, before mpy-cross compiles it for a board.

A module of its own costs the chip's heap about 300 bytes before its first function: its object, its dictionary, its table of names, a row
for everything that it imports; and names that several modules use must be the same text in all of them. So everything that stays in memory
becomes one module for each start (the main loop, the board). The rooms (`rimward_fw.rooms.ROOMS`), loaded only when needed, stay apart: what
they use of the others is read from the joined module, and what others use of a room goes through `rooms.room`, which loads it.
`python -m tests.rig.heap` measures what is saved.
"""

import ast
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from rimward.device.install.scopes import (
    Bound,
    ScopedTransformer,
    Trees,
    attributes,
    bindings,
    chip_only,
    imports,
    inner_names,
    source_of,
)

LOADER = ("rimward_fw.rooms", "room")
NEAR = 127  # names that the compiler's code reaches with one byte instead of two


def joined(
    sources: dict[str, str], starts: Iterable[str], rooms: Iterable[str], fixed: Iterable[str] = ()
) -> dict[str, str]:
    """Return all modules (dotted name -> text), those that each start loads joined into it.

    `rooms`: modules that stay apart and are loaded when used. `fixed`: texts of modules that stay as they are; what they
    import stays apart. ValueError where a module does something that would not survive: an import of a joined module inside a
    function, a module as a value.
    """
    trees = {name: chip_only(ast.parse(text)) for name, text in sources.items()}
    starts = [name for name in starts if name in trees]
    texts_fixed = [ast.parse(text) for text in fixed]
    asked = {m for tree in texts_fixed for m in imports(tree, "") if m in trees}
    kept = {n.attr for tree in texts_fixed for n in ast.walk(tree) if isinstance(n, ast.Attribute)}
    plan = _Plan(trees, starts, tuple(rooms), asked - set(starts), kept)
    bodies: dict[str, list[ast.stmt]] = {name: [] for name in starts}
    for name in plan.order:
        bodies[plan.home[name]] += _Join(name, plan).done()
    texts = {name: ast.Module(_Join(name, plan).done(), []) for name in plan.apart}
    for name, body in bodies.items():
        texts[name] = ast.Module(_once(body), [])
    return {
        name: ast.unparse(ast.fix_missing_locations(tree)) + "\n"
        for name, tree in texts.items()
        if _holds(tree) or _has_modules(name, texts)
    }


def _holds(tree: ast.Module) -> bool:
    """Return False for a module of which only imports are left: its constants have gone where they are used."""
    return any(not isinstance(node, ast.Import | ast.ImportFrom) for node in tree.body)


def _has_modules(name: str, texts: dict[str, ast.Module]) -> bool:
    """Return True for the `__init__` of a package in which a module is left."""
    package = name.removesuffix("__init__")
    return any(other.startswith(package) and texts[other].body for other in texts if other != name)


def nearest(text: str) -> str:
    """Return a joined module with a branch, never taken, that names its most used names first: the compiler numbers names in the order of
    the text, and the first 127 take one byte where they are used.
    """
    tree = ast.parse(text)
    count = Counter(node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute))
    local = inner_names(tree, ())
    count.update(
        node.id
        for node in ast.walk(tree)
        if isinstance(node, ast.Name) and (node.id not in local or node.id in count)
    )
    often = [name for name, _ in count.most_common(NEAR)]
    return "if not __name__:\n" + "".join(f"    __name__.{name}\n" for name in often) + text


def _once(body: list[ast.stmt]) -> list[ast.stmt]:
    """Remove repeated imports."""
    seen: set[str] = set()
    kept = []
    for node in body:
        text = ast.unparse(node) if isinstance(node, (ast.Import, ast.ImportFrom)) else ""
        if not text or text not in seen:
            kept.append(node)
        seen.add(text)
    return kept


@dataclass
class _Plan:
    """Place and new name of everything at the top of a module."""

    trees: Trees
    starts: list[str]
    rooms: tuple[str, ...]  # in the order of the loader's table
    asked: set[str]  # modules that fixed texts import
    kept: set[str]  # attributes that fixed texts use: names of a start stay what they are there
    home: dict[str, str] = field(default_factory=dict)  # joined module -> its start
    order: list[str] = field(default_factory=list)  # joined modules, each behind those it imports

    def __post_init__(self) -> None:
        for start in self.starts:
            self._visit(start, start)
        for room in [
            name for name in self.rooms if name in self.trees
        ]:  # what rooms alone use stays in memory too
            beside = [s for s in self.starts if s.rpartition(".")[0] == room.rpartition(".")[0]]
            self._visit_imports(room, (beside or self.starts)[0])
        self.apart = [name for name in self.trees if name not in self.home]
        self.tables = {n: bindings(tree, n, self.trees) for n, tree in self.trees.items()}
        self.inner = set().union(*(inner_names(t, self.tables[n]) for n, t in self.trees.items()))
        self.names = {
            key: name for start in self.starts for key, name in self._names_of(start).items()
        }

    def _visit(self, name: str, start: str) -> None:
        stays = name in self.rooms or name in self.asked or name not in self.trees
        if name in self.home or stays or (name in self.starts and name != start):
            return
        self.home[name] = start
        self._visit_imports(name, start)
        self.order.append(name)

    def _visit_imports(self, name: str, start: str) -> None:
        tops: list[ast.stmt] = [
            node for node in self.trees[name].body if isinstance(node, ast.ImportFrom)
        ]
        for wanted in imports(ast.Module(tops, []), name):
            if wanted in self.trees and self.trees[wanted].body:
                self._visit(wanted, start)

    def _names_of(self, start: str) -> dict[tuple[str, str], str]:
        """Return (module, name) or ("", import) -> its name in the joined module: as it is where no other has it. Short names of modules become names
        that attributes have: the chip's memory then holds each once.
        """
        members = [name for name in self.order if self.home[name] == start]
        taken = set(self.inner)
        letters = iter(
            sorted({a for name in members for a in attributes(self.trees[name])} - taken)
        )
        found: dict[tuple[str, str], str] = {}
        for module in [start, *members]:  # the start's own names first: fixed texts use them
            for top, bound in self.tables[module].items():
                key = ("", bound.outer) if bound.outer else (module, top)
                if (bound.module and not bound.outer) or key in found:
                    continue
                name = top if not top.startswith("_") else next(letters, "own" + top)
                while name in taken and not (module == start and name in self.kept):
                    name = f"{module.rpartition('.')[2]}_{name.strip('_')}"
                found[key] = name
                taken.add(name)
        return {
            (f"{start}:{key[1]}" if not key[0] else key[0], key[1]): name
            for key, name in found.items()
        }

    def held(self, module: str) -> str:
        """Return the module that holds `module` on the board; empty without one: a room, or an import from outside the firmware."""
        return "" if not module or module in self.rooms else self.home.get(module, module)

    def resolve(self, module: str, name: str) -> "Bound | tuple[str, str] | None":
        """Target of a name in a module: a module (Bound), (module that holds it on the board, its name there), or None."""
        bound = self.tables[module].get(name)
        if bound is None:
            return None
        if bound.module and not bound.name:
            return bound
        if bound.module:
            return self.resolve(bound.module, bound.name) or (bound.module, bound.name)
        home = self.home.get(module)
        if home is None:
            return (module, name)
        key = (f"{home}:{bound.outer}", bound.outer) if bound.outer else (module, name)
        return home, self.names[key]


class _Join(ScopedTransformer):
    """Rewrite one module: into a part of its joined one, or so that it reaches into that."""

    def __init__(self, module: str, plan: _Plan) -> None:
        super().__init__()
        self.module = module
        self.plan = plan
        self.tree = plan.trees[module]
        self.here = plan.home.get(module, module)
        self.reached: set[str] = set()
        self.used = {node.id for node in ast.walk(self.tree) if isinstance(node, ast.Name)}

    def done(self) -> list[ast.stmt]:
        """Return the rewritten statements; what is reached in other modules is imported where the text imports it, or else first."""
        body: list[ast.stmt] = []
        there: set[str] = set()
        for node in self.tree.body:
            if isinstance(node, (ast.Import, ast.ImportFrom)):
                body += self._import(node, there)
            else:
                body.append(self.visit(node))
        return [_reach(module) for module in sorted(self.reached - there)] + body

    def _import(self, node: ast.Import | ast.ImportFrom, there: set[str]) -> list[ast.stmt]:
        """List the imports at the top: those from outside the firmware stay, under their new name. `there`: modules imported so far."""
        kept: list[ast.stmt] = []
        for alias in node.names:
            local = alias.asname or alias.name
            bound = self.plan.tables[self.module][local]
            home = self.plan.held(bound.module)
            if home and home not in (self.here, *there):
                there.add(home)
                kept.append(_reach(home))
            if not bound.outer or (local not in self.used and self.module in self.plan.home):
                continue
            found = self.plan.resolve(self.module, local)
            name = found[1] if isinstance(found, tuple) else local
            made = ast.alias(alias.name, None if name == alias.name else name)
            if isinstance(node, ast.ImportFrom):
                kept.append(ast.ImportFrom(source_of(node, self.module), [made], 0))
            else:
                kept.append(ast.Import([made]))
        return kept

    def renamed(self, name: str) -> str:
        """Return the new name of something that this module binds at its top."""
        if self.hidden(name):
            return name
        found = self.plan.resolve(self.module, name)
        return found[1] if isinstance(found, tuple) and found[0] == self.here else name

    def visit_Global(self, node: ast.Global) -> ast.AST:
        """Rename the names of a `global` statement."""
        node.names = [
            found[1] if isinstance(found := self.plan.resolve(self.module, name), tuple) else name
            for name in node.names
        ]
        return node

    def visit_Name(self, node: ast.Name) -> ast.expr:
        """Replace a name that stands for something at the top of a module."""
        if node.id == "__file__" and self.module != self.here:
            return self._file()
        if self.hidden(node.id):
            return node
        found = self.plan.resolve(self.module, node.id)
        if isinstance(found, Bound):
            raise ValueError(f"{self.module} uses module {node.id} as a value")
        return node if found is None else self._read(*found, node.ctx)

    def visit_Attribute(self, node: ast.Attribute) -> ast.expr:
        """Replace `module.name`."""
        if isinstance(node.value, ast.Name) and not self.hidden(node.value.id):
            found = self.plan.resolve(self.module, node.value.id)
            if isinstance(found, Bound):
                member = self.plan.resolve(found.module, node.attr)
                if isinstance(member, Bound):
                    raise ValueError(f"{self.module} uses module {node.attr} as a value")
                if member is None and found.module in self.plan.home:
                    raise ValueError(f"{found.module} has no {node.attr}, which {self.module} uses")
                return self._read(*(member or (found.module, node.attr)), node.ctx)
        self.generic_visit(node)
        return node

    def visit_ImportFrom(self, node: ast.ImportFrom) -> ast.AST:
        """Check an import inside a block: nothing that is joined may be imported there."""
        where = source_of(node, self.module)
        for name in (where, *(f"{where}.{alias.name}" for alias in node.names)):
            if name in self.plan.rooms or self.plan.home.get(name, name) != name:
                raise ValueError(f"{self.module} imports {name} inside a block")
        return self.visit_Import(node)

    def visit_Import(self, node: ast.Import | ast.ImportFrom) -> ast.AST:
        """Give what an import inside a block binds its new name."""
        for alias in node.names:
            new = self.renamed(alias.asname or alias.name)
            alias.asname = new if new != alias.name else None
        return node

    def _read(self, module: str, name: str, context: ast.expr_context) -> ast.expr:
        """Expression for a name in the module that holds it on the board."""
        if module == self.here:
            return ast.Name(name, context)
        if module in self.plan.rooms:
            loader = self.plan.resolve(*LOADER)
            if not isinstance(loader, tuple):
                raise ValueError(f"rooms need {'.'.join(LOADER)}")
            call = ast.Call(
                self._read(*loader, ast.Load()), [ast.Constant(self.plan.rooms.index(module))], []
            )
            return ast.Attribute(call, name, context)
        self.reached.add(module)
        return ast.Attribute(ast.Name(_alias(module), ast.Load()), name, context)

    def _file(self) -> ast.expr:
        """Path of the file that this module would have, from the joined one's."""
        here = self.here.replace(".", "/") + ".mpy"
        own = self.module.replace(".", "/") + ".mpy"
        return ast.parse(f"__file__[:-{len(here)}] + {own!r}", mode="eval").body


def _alias(module: str) -> str:
    return module.rpartition(".")[2] + "__"


def _reach(module: str) -> ast.stmt:
    package, _, name = module.rpartition(".")
    return ast.parse(f"from {package} import {name} as {_alias(module)}").body[0]
