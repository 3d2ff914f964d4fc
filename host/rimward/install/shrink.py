"""What `rimward install --compile` does before mpy-cross: numbers in place of their names, across modules, so that no name stays in memory.

On a device every public constant costs a row in its module's dictionary and a string; a third of the idle heap went there. Only
names are taken out: a constant is replaced where it is read, its definition and imports that nobody needs any more are dropped, and
parameters that nobody names get the same few names in all functions. Whatever cannot be followed for certain stays as it is.
"""

import ast
from collections import Counter
from dataclasses import dataclass, field

_OPERATORS = {
    ast.Add: lambda a, b: a + b,
    ast.Sub: lambda a, b: a - b,
    ast.Mult: lambda a, b: a * b,
    ast.FloorDiv: lambda a, b: a // b,
    ast.LShift: lambda a, b: a << b,
    ast.RShift: lambda a, b: a >> b,
    ast.BitOr: lambda a, b: a | b,
    ast.BitAnd: lambda a, b: a & b,
    ast.BitXor: lambda a, b: a ^ b,
}


@dataclass
class Module:
    """One source file while it is worked on. `aliases`: local name -> module; `taken`: local name -> (module, its constant)."""

    name: str
    tree: ast.Module
    package: bool
    constants: dict[str, int] = field(default_factory=dict)
    assigned: dict[str, ast.expr] = field(default_factory=dict)
    aliases: dict[str, str] = field(default_factory=dict)
    taken: dict[str, tuple[str, str]] = field(default_factory=dict)


class Program:
    """All modules that go onto one board: name with dots -> source text."""

    def __init__(self, sources: dict[str, str], packages: set[str]) -> None:
        self.modules = {name: Module(name, ast.parse(text), name in packages) for name, text in sources.items()}
        self.named = {k.arg or "" for m in self.modules.values() for n in ast.walk(m.tree) if isinstance(n, ast.Call) for k in n.keywords}
        for module in self.modules.values():
            self._imports(module)
            module.assigned = self._assigned(module)
        while any([self._constants(module) for module in self.modules.values()]):
            pass

    def target(self, module: Module, node: ast.ImportFrom) -> str:
        """The dotted name that a from-import reads."""
        if not node.level:
            return node.module or ""
        parts = module.name.split(".")
        parts = parts[: len(parts) - node.level + (1 if module.package else 0)]
        return ".".join([*parts, *([node.module] if node.module else [])])

    def _imports(self, module: Module) -> None:
        """Names that stand for another module, wherever they are imported; one name for two things is left alone."""
        seen: dict[str, set[str]] = {}
        for node in ast.walk(module.tree):
            if isinstance(node, ast.ImportFrom):
                where = self.target(module, node)
                for alias in node.names:
                    seen.setdefault(alias.asname or alias.name, set()).add(f"{where}.{alias.name}")
            elif isinstance(node, (ast.Import, ast.FunctionDef, ast.ClassDef)):
                for name in [a.asname or a.name.split(".")[0] for a in node.names] if isinstance(node, ast.Import) else [node.name]:
                    seen.setdefault(name, set()).add("")
            elif isinstance(node, ast.Name) and isinstance(node.ctx, (ast.Store, ast.Del)):
                seen.setdefault(node.id, set()).add("")
        for name, places in seen.items():
            place = next(iter(places))
            if len(places) > 1 or not place:
                continue
            where, _, what = place.rpartition(".")
            if place in self.modules:
                module.aliases[name] = place
            elif where in self.modules:
                module.taken[name] = (where, what)

    def _assigned(self, module: Module) -> dict[str, ast.expr]:
        """Names that the module sets exactly once, at its top, and that nothing inside it can set again: with their expressions."""
        tops = [n for n in module.tree.body if isinstance(n, ast.Assign) and len(n.targets) == 1 and isinstance(n.targets[0], ast.Name)]
        inside = [n for top in module.tree.body if isinstance(top, (ast.FunctionDef, ast.ClassDef)) for n in ast.walk(top)]
        shared = {name for n in inside if isinstance(n, ast.Global) for name in n.names}
        every = Counter(n.id for n in ast.walk(module.tree) if isinstance(n, ast.Name) and not isinstance(n.ctx, ast.Load))
        own = Counter(n.id for n in inside if isinstance(n, ast.Name) and not isinstance(n.ctx, ast.Load))
        found = {n.targets[0].id: n.value for n in tops}  # type: ignore[attr-defined]
        return {name: value for name, value in found.items() if every[name] - own[name] == 1 and name not in shared and not name.startswith("__")}

    def _constants(self, module: Module) -> bool:
        """Finds constants of the module that are certain by now. True if there was a new one."""
        before = len(module.constants)
        for name, node in module.assigned.items():
            value = None if name in module.constants else self.value(module, node)
            if value is not None:
                module.constants[name] = value
        return len(module.constants) > before

    def value(self, module: Module, node: ast.expr) -> int | None:
        """The integer an expression at the top of a module stands for, or None."""
        if isinstance(node, ast.Constant):
            return node.value if type(node.value) is int else None
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "const" and len(node.args) == 1:
            return self.value(module, node.args[0])
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
            inner = self.value(module, node.operand)
            return None if inner is None else -inner
        if isinstance(node, ast.BinOp) and type(node.op) in _OPERATORS:
            left, right = self.value(module, node.left), self.value(module, node.right)
            return None if left is None or right is None else _OPERATORS[type(node.op)](left, right)
        if isinstance(node, ast.Name):
            return self.of_name(module, node.id)
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            return self.of_attribute(module, node.value.id, node.attr)
        return None

    def of_name(self, module: Module, name: str) -> int | None:
        """A constant by its own or its imported name."""
        if name in module.constants:
            return module.constants[name]
        where, what = module.taken.get(name, ("", ""))
        return self.modules[where].constants.get(what) if where else None

    def of_attribute(self, module: Module, name: str, attribute: str) -> int | None:
        """A constant of another module."""
        where = module.aliases.get(name)
        return self.modules[where].constants.get(attribute) if where else None

    def sources(self) -> dict[str, str]:
        """Every module's text with numbers in place of names. A definition that anything may still ask for stays."""
        for module in self.modules.values():
            _Inliner(self, module).visit(module.tree)
        asked = {
            n.attr
            for m in self.modules.values()
            for n in ast.walk(m.tree)
            if isinstance(n, ast.Attribute) and not (isinstance(n.value, ast.Name) and n.value.id == "self")
        }
        for module in self.modules.values():
            read = {n.id for n in ast.walk(module.tree) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Load)} | asked
            module.tree.body = [n for n in module.tree.body if not _defines(n, set(module.constants) - read)]
        while self._drop_imports(asked):
            pass
        self._missing()
        for module in self.modules.values():
            _rename(module.tree, self.named)
        return {m.name: ast.unparse(ast.fix_missing_locations(m.tree)) + "\n" for m in self.modules.values()}

    def _drop_imports(self, asked: set[str]) -> bool:
        """Drops imports that nobody needs any more. True if there were any."""
        wanted: dict[str, set[str]] = {}
        for module in self.modules.values():
            for node in ast.walk(module.tree):
                if isinstance(node, ast.ImportFrom):
                    wanted.setdefault(self.target(module, node), set()).update(alias.name for alias in node.names)
        return any([_drop_imports(m.tree, asked | wanted.get(m.name, set())) for m in self.modules.values()])

    def _missing(self) -> None:
        """ValueError if an import is left over of something that was taken out."""
        for module in self.modules.values():
            for node in [n for n in ast.walk(module.tree) if isinstance(n, ast.ImportFrom)]:
                where = self.modules.get(self.target(module, node))
                held = {t.id for n in (where.tree.body if where else []) if isinstance(n, ast.Assign) for t in n.targets if isinstance(t, ast.Name)}
                for alias in node.names:
                    if where and alias.name in where.constants and alias.name not in held:
                        raise ValueError(f"{module.name} still imports {alias.name} of {where.name}")


def _defines(node: ast.stmt, names: set[str]) -> bool:
    return isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name) and node.targets[0].id in names


def _own_names(node: ast.FunctionDef | ast.ClassDef | ast.Lambda) -> set[str]:
    """Names that mean something of its own inside a function or class, nested ones counted in: rather too many than too few."""
    names = set() if isinstance(node, ast.ClassDef) else {a.arg for a in ast.walk(node.args) if isinstance(a, ast.arg)}
    shared: set[str] = set()
    for inner in ast.walk(node):
        if isinstance(inner, ast.Name) and not isinstance(inner.ctx, ast.Load):
            names.add(inner.id)
        elif isinstance(inner, (ast.FunctionDef, ast.ClassDef)) and inner is not node:
            names.add(inner.name)
        elif isinstance(inner, ast.ExceptHandler) and inner.name:
            names.add(inner.name)
        elif isinstance(inner, ast.Global):
            shared.update(inner.names)
    return names - shared


class _Inliner(ast.NodeTransformer):
    """Puts numbers where constants of this program are read."""

    def __init__(self, program: Program, module: Module) -> None:
        self.program = program
        self.module = module
        self.hidden: list[set[str]] = []

    def _shadowed(self, name: str) -> bool:
        return any(name in names for names in self.hidden)

    def _inside(self, node: ast.FunctionDef | ast.ClassDef | ast.Lambda) -> ast.AST:
        self.hidden.append(_own_names(node))
        done = self.generic_visit(node)
        self.hidden.pop()
        return done

    visit_FunctionDef = visit_ClassDef = visit_Lambda = _inside

    def visit_Name(self, node: ast.Name) -> ast.expr:
        if not isinstance(node.ctx, ast.Load) or self._shadowed(node.id):
            return node
        value = self.program.of_name(self.module, node.id)
        return node if value is None else ast.copy_location(_number(value), node)

    def visit_Attribute(self, node: ast.Attribute) -> ast.expr:
        if isinstance(node.value, ast.Name) and isinstance(node.ctx, ast.Load) and not self._shadowed(node.value.id):
            value = self.program.of_attribute(self.module, node.value.id, node.attr)
            if value is not None:
                return ast.copy_location(_number(value), node)
        self.generic_visit(node)
        return node


def _number(value: int) -> ast.expr:
    return ast.Constant(value) if value >= 0 else ast.UnaryOp(ast.USub(), ast.Constant(-value))


def _drop_imports(tree: ast.Module, wanted: set[str]) -> bool:
    """Takes imported names out that are never read here and that nobody wants from here. True if there were any."""
    read = {n.id for n in ast.walk(tree) if isinstance(n, ast.Name)} | wanted
    dropped = False

    class Drop(ast.NodeTransformer):
        def visit_ImportFrom(self, node: ast.ImportFrom) -> ast.stmt | None:
            nonlocal dropped
            kept = [a for a in node.names if (a.asname or a.name) in read]
            dropped = dropped or len(kept) < len(node.names)
            node.names = kept
            return node if kept else None

    Drop().visit(tree)
    for node in ast.walk(tree):
        if isinstance(node, (ast.FunctionDef, ast.If, ast.Try)) and not node.body:
            node.body = [ast.Pass()]
    return dropped


def _rename(tree: ast.Module, named: set[str]) -> None:
    """Gives parameters that no call names the same few names in all functions."""
    for node in [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef) and not _tangled(n)]:
        used = {n.id for n in ast.walk(node) if isinstance(n, ast.Name)}
        names: dict[str, str] = {}
        for at, arg in enumerate([*node.args.posonlyargs, *node.args.args]):
            new = f"p{at}"
            if arg.arg != "self" and arg.arg not in named and new not in used:
                names[arg.arg] = new
                arg.arg = new
        for inner in [n for statement in node.body for n in ast.walk(statement)]:
            if isinstance(inner, ast.Name) and inner.id in names:
                inner.id = names[inner.id]


def _tangled(node: ast.FunctionDef) -> bool:
    """True where a parameter's name may mean something else too: functions inside, `global`, a caught exception's name."""
    inside = (ast.FunctionDef, ast.Lambda, ast.ClassDef, ast.Global, ast.Nonlocal)
    return any((isinstance(n, inside) and n is not node) or (isinstance(n, ast.ExceptHandler) and n.name) for n in ast.walk(node))


def shrunk(sources: dict[str, str], packages: set[str]) -> dict[str, str]:
    """All modules of a board with numbers in place of names. `packages`: those names that stand for an `__init__` file."""
    return Program(sources, packages).sources()
