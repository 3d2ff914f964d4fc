"""Short names for private names, before mpy-cross compiles the firmware for a board.

Every name of a parameter, attribute, function and class is a string in the heap of the chip. Names used by several modules stay. The others
get short names shared by all modules: `A`, `B` ... for parameters by position, `_a`, `_b` ... for the rest.
`python -m tests.rig.heap` measures the saving.

A name with a leading underscore belongs to its module and to those whose classes inherit from it; any other one does if no further module
mentions it and no object of the interpreter has it. ValueError where a module uses another's underscore name, or a text names one.
"""

import array
import ast
import builtins
import gc
import io
import os
import re
import select
import struct
import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator

PRIVATE = re.compile(r"_[a-z][a-z0-9_]*$", re.IGNORECASE)
KEPT_PARAMETERS = ("self",)
LETTERS = "abcdefghijklmnopqrstuvwxyz"
DIGITS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
LOOKED_UP = ("getattr", "setattr", "hasattr", "delattr")
TYPES = (
    str,
    bytes,
    bytearray,
    list,
    tuple,
    dict,
    set,
    int,
    memoryview,
    array.array,
    io.BytesIO,
    io.StringIO,
    io.FileIO,
)
MODULES = (builtins, gc, io, os, select, struct, sys, time)
# Names of MicroPython's own modules and of hardware modules that CPython lacks, as far as the firmware defines the same, and those it calls.
HARDWARE = [
    "readblocks",
    "writeblocks",
    "ioctl",
    "count",
    "drive",
    "floor",
    "pin",
    "random",
    "side",
    "write_readinto",
    "callback",
    "channel",
    "config",
    "feed",
    "find",
    "found",
    "gate",
    "idle",
    "irq",
    "load",
    "off",
    "on",
    "pixel",
    "poll",
    "pulse",
    "reset",
    "reset_cause",
    "show",
    "status",
    "text",
    "threshold",
    "timeout",
    "toggle",
    "unique_id",
    "update",
    "value",
    "label",
    "next",
    "push",
    "wrap",
]
EXTERNAL = {name for thing in (*TYPES, *MODULES) for name in dir(thing)} | set(HARDWARE)


class _Module:
    """One module: its tree, and the names it uses, defines, uses of others and offers to others."""

    def __init__(self, text: str) -> None:
        self.tree = ast.parse(text)
        self.nodes = list(ast.walk(self.tree))
        self.keywords = {
            node.arg for node in self.nodes if isinstance(node, ast.keyword) and node.arg
        }

    def study(self) -> None:
        """Collect the names after parameters are shortened."""
        self.count = Counter(_names(self.nodes))
        self.defined = set(_defined(self.nodes))
        self.asked = set(_asked(self.nodes))
        self.open = self.asked | set(_members(self.nodes))
        self.imported = {
            alias.name
            for node in self.nodes
            if isinstance(node, (ast.Import, ast.ImportFrom))
            for alias in node.names
        }
        self.named = set(_texts(self.nodes))
        self.held = self.open | set(_functions(self.nodes))


def shortened(
    sources: dict[str, str], fixed: Iterable[str] = (), again: bool = False
) -> dict[str, str]:
    """Return all modules (dotted name -> text) with short private names. `fixed`: texts of modules that keep their names.

    `again`: these are modules already shortened and joined, whose underscore names other modules may use.
    """
    modules = {name: _Module(text) for name, text in sources.items()}
    stay = [_Module(text) for text in fixed]
    keywords = {name for module in modules.values() for name in module.keywords}
    for module in modules.values():
        for node in module.tree.body:
            _shorten_parameters(node, keywords)
    for module in (*modules.values(), *stay):
        module.study()
    named = {name for module in modules.values() for name in module.named}
    for group in _families(modules):
        others = [module for name, module in modules.items() if name not in group]
        _shorten_private(
            {name: modules[name] for name in group}, others, stay, keywords | named, again
        )
    return {name: ast.unparse(module.tree) + "\n" for name, module in modules.items()}


def _short() -> Iterator[str]:
    """Return `_a` to `_z`, then `_aa` and on: 1,638 names."""
    yield from (f"_{letter}" for letter in LETTERS)
    yield from (f"_{first}{second}" for first in LETTERS for second in LETTERS + DIGITS)


def _families(modules: dict[str, _Module]) -> list[list[str]]:
    """Group modules: a module that inherits from a class of another shares its private attributes."""
    group = {name: {name} for name in modules}
    for name, own in modules.items():
        for base in _bases(own.nodes):
            other = next(
                (module for module in modules if base == module or base.startswith(module + ".")),
                None,
            )
            if other and group[other] is not group[name]:
                merged = group[name] | group[other]
                group.update(dict.fromkeys(merged, merged))
    seen: list[set[str]] = []
    for members in group.values():
        if members not in seen:
            seen.append(members)
    return [sorted(members) for members in seen]


def _bases(nodes: list[ast.AST]) -> Iterator[str]:
    """Dotted names of the imported base classes of a module's classes."""
    imported = {}
    for node in nodes:
        if isinstance(node, ast.ImportFrom) and node.module:
            imported.update(
                {alias.asname or alias.name: f"{node.module}.{alias.name}" for alias in node.names}
            )
    for node in nodes:
        for base in node.bases if isinstance(node, ast.ClassDef) else ():
            first, _, rest = ast.unparse(base).partition(".")
            if first in imported:
                yield f"{imported[first]}.{rest}".rstrip(".")


# Parameters


def _shorten_parameters(node: ast.AST, keywords: set[str], taken: int = 0) -> None:
    """Rename the parameters of every function in `node`, outer ones first; keyword names of calls stay."""
    for child in (
        [node] if isinstance(node, (ast.FunctionDef, ast.Lambda)) else ast.iter_child_nodes(node)
    ):
        if isinstance(child, (ast.FunctionDef, ast.Lambda)):
            used = _rename_parameters(child, keywords, taken)
            for inner in ast.iter_child_nodes(child):
                _shorten_parameters(inner, keywords, used)
        else:
            _shorten_parameters(child, keywords, taken)


def _rename_parameters(
    function: ast.FunctionDef | ast.Lambda, keywords: set[str], taken: int
) -> int:
    arguments = function.args
    every = [
        *arguments.posonlyargs,
        *arguments.args,
        *arguments.kwonlyargs,
        *filter(None, (arguments.vararg, arguments.kwarg)),
    ]
    names = [
        argument.arg
        for argument in every
        if argument.arg not in KEPT_PARAMETERS and argument.arg not in keywords
    ]
    short = {name: chr(ord("A") + taken + i) for i, name in enumerate(names)}
    if taken + len(names) > len(LETTERS):
        raise ValueError("nested functions have more parameters than there are letters")
    for argument in every:
        argument.arg = short.get(argument.arg, argument.arg)
    body: list[ast.AST] = (
        list(function.body) if isinstance(function, ast.FunctionDef) else [function.body]
    )
    for inner in body:
        _rename_names(inner, short)
    return taken + len(names)


def _rename_names(node: ast.AST, short: dict[str, str]) -> None:
    """Rename variables in `node` and in its inner functions, except those that are parameters there."""
    if isinstance(node, (ast.FunctionDef, ast.Lambda)):
        own = {argument.arg for argument in ast.walk(node.args) if isinstance(argument, ast.arg)}
        for default in [*node.args.defaults, *filter(None, node.args.kw_defaults)]:
            _rename_names(default, short)
        short = {name: letter for name, letter in short.items() if name not in own}
        for inner in node.body if isinstance(node, ast.FunctionDef) else [node.body]:
            _rename_names(inner, short)
        return
    if isinstance(node, ast.Name):
        node.id = short.get(node.id, node.id)
    if isinstance(node, (ast.Global, ast.Nonlocal)):
        node.names = [short.get(name, name) for name in node.names]
    for child in ast.iter_child_nodes(node):
        _rename_names(child, short)


# Private names


def _shorten_private(
    group: dict[str, _Module],
    others: list[_Module],
    stay: list[_Module],
    kept: set[str],
    again: bool,
) -> None:
    """Rename in a family of modules. `kept`: names that keywords or texts mention anywhere."""
    inside = sum((module.count for module in group.values()), Counter())
    defined = {name for module in group.values() for name in module.defined}
    private = {name for name in inside if PRIVATE.match(name)}
    wrong = sorted(
        private - defined
        | private & kept
        | {name for module in others for name in private & (module.asked - module.defined)}
    )
    if wrong and not again:
        raise ValueError(
            f"{wrong[0]} of {min(group)} is private to one module but used in another or named in a text: make it public"
        )
    used = {name for module in (*others, *stay) for name in module.open} | {
        name for module in group.values() for name in module.imported
    }
    held = {name for module in group.values() for name in module.held}
    alone = {
        name
        for name in defined.difference(used, kept, EXTERNAL, KEPT_PARAMETERS) & held
        if not name.startswith("_") and len(name) > 2
    }
    private = private & held - (used if again else set())
    stays = set(inside) - private - alone
    letters = (name for name in _short() if name not in stays)
    short = {
        name: next(letters)
        for name in sorted(private | alone, key=lambda name: (-inside[name], name))
    }
    for module in group.values():
        for node in module.nodes:
            _rename(node, short)


def _rename(node: ast.AST, short: dict[str, str]) -> None:
    if isinstance(node, ast.Name):
        node.id = short.get(node.id, node.id)
    elif isinstance(node, ast.Attribute):
        node.attr = short.get(node.attr, node.attr)
    elif isinstance(node, (ast.FunctionDef, ast.ClassDef)):
        node.name = short.get(node.name, node.name)
    elif isinstance(node, ast.arg):
        node.arg = short.get(node.arg, node.arg)
    elif isinstance(node, ast.alias):
        node.asname = short.get(node.asname or "", node.asname)
    elif isinstance(node, ast.ExceptHandler):
        node.name = short.get(node.name or "", node.name)
    elif isinstance(node, (ast.Global, ast.Nonlocal)):
        node.names = [short.get(name, name) for name in node.names]


def _names(nodes: list[ast.AST]) -> Iterable[str]:
    """Every name that a module uses, with repetition."""
    for node in nodes:
        for field in ("id", "attr", "name", "arg", "asname"):
            name = getattr(node, field, None)
            if isinstance(name, str):
                yield name
        if isinstance(node, (ast.Global, ast.Nonlocal)):
            yield from node.names


def _defined(nodes: list[ast.AST]) -> Iterable[str]:
    """Names that a module defines: functions, classes, parameters, assigned and imported names."""
    for node in nodes:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
            yield node.name
        elif isinstance(node, ast.arg):
            yield node.arg
        elif isinstance(node, ast.alias) and node.asname:
            yield node.asname
        elif isinstance(node, (ast.Name, ast.Attribute)) and isinstance(node.ctx, ast.Store):
            yield node.id if isinstance(node, ast.Name) else node.attr


def _members(nodes: list[ast.AST]) -> Iterable[str]:
    """Names that other modules may use of a module: functions, classes, variables and imports of it and of its classes."""
    for node in nodes:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
            yield node.name
        elif isinstance(node, ast.Import):
            yield from (alias.asname or alias.name for alias in node.names)
        if isinstance(node, (ast.Module, ast.ClassDef)):
            for statement in node.body:
                yield from (
                    name.id
                    for name in ast.walk(statement)
                    if isinstance(name, ast.Name) and isinstance(name.ctx, ast.Store)
                )


def _functions(nodes: list[ast.AST]) -> Iterable[str]:
    """Names of functions and classes, and parameters: the names in the chip's memory, which holds no local ones."""
    for node in nodes:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
            yield node.name
        elif isinstance(node, ast.arg):
            yield node.arg
        elif isinstance(node, ast.alias):
            yield node.asname or node.name
        elif isinstance(node, (ast.Global, ast.Nonlocal)):
            yield from node.names


def _asked(nodes: list[ast.AST]) -> Iterable[str]:
    """Names that a module may use of another: attributes, from-imports, keywords."""
    for node in nodes:
        if isinstance(node, ast.Attribute):
            yield node.attr
        elif isinstance(node, ast.ImportFrom):
            yield from (alias.name for alias in node.names)


def _texts(nodes: list[ast.AST]) -> Iterable[str]:
    """Names that getattr and similar functions look up."""
    for node in nodes:
        if (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Name)
            and node.func.id in LOOKED_UP
        ):
            if not isinstance(node.args[1], ast.Constant):
                raise ValueError(f"{ast.unparse(node)}: the name must be a literal")
            yield str(node.args[1].value)
