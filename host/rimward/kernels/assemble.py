"""Assembly of a kernel's modules of plain functions into the single module that runs.

On the chip a call costs 7 to 8 us and an imported name 5, so one function runs: `assemble` gathers the kernel's modules, merges their local
`_NAME = const(n)` and writes every helper out where it is called (`inline`). Expressions and their order are unchanged. The
install compiles
the output (`mpy-cross -X emit=viper`); CPython, MicroPython and numba run it in tests and campaigns.

`limits` gives constants another value, for the proof bench: a module of limits instead of patched text.
"""

import ast
from collections import Counter
from collections.abc import Mapping
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from rimward.kernels.copies import copied
from rimward.kernels.exits import ALWAYS, exits
from rimward.kernels.inline import Inliner, is_text
from rimward.kernels.share import shared

FIRMWARE = "rimward_fw."
COMPAT = "rimward_protocol.compat"
ENTRY = "step"
ARRAYS = ("g", "x", "f", "y", "t")  # the kernels' words
SHARED_NODES = 300  # about 600 bytes of machine code; a call costs 9 us and about 20 nodes
CALL_NODES = 20


def assemble(module_name: str, limits: Mapping[str, int] | None = None, entry: str = ENTRY) -> str:
    """Return the source of the single module made of `module_name` (dotted) and the firmware modules that it imports.

    Kept as functions: `step`, and public ones called by no other; all others are inlined. ValueError for anything outside the
    kernels' subset,
    for constants that differ between modules, and for an unknown limit.
    """
    trees = gathered(module_name)
    constants = merged(trees, limits or {})
    functions = defined(trees)
    kept = kept_names(functions, entry)
    kept |= shared_names(functions, kept)
    inliner = Inliner({n: f for n, f in functions.items() if n not in kept}, kept, set(constants))
    own = trees[module_name].body
    text = f'"""{_title(own)}\n\nMade by rimward.kernels.assemble from {", ".join(trees)}.\n"""\n\n'
    text += f"from {COMPAT} import {', '.join(compat_names(trees))}\n\n"
    text += "".join(f"{constant} = const({value})\n" for constant, value in constants.items())
    for kept_name in (n for n in functions if n in kept):
        whole = (
            functions[kept_name]
            if kept_name == entry or not kept_name.startswith("_")
            else callable_on_chip(functions[kept_name])
        )
        own_names = {n.id for n in ast.walk(whole) if isinstance(n, ast.Name)}
        made = shared(inliner.function(whole), own_names)
        text += f"\n\n{ast.unparse(ast.fix_missing_locations(made))}\n"
    return text


def source_path(module_name: str) -> Path:
    """Source file of a module. ValueError without one."""
    spec = find_spec(module_name)
    if spec is None or spec.origin is None:
        raise ValueError(f"no source for {module_name}")
    return Path(spec.origin)


def gathered(module_name: str) -> dict[str, ast.Module]:
    """Return the parsed modules of a kernel in the order of use, the kernel itself last."""
    found: dict[str, ast.Module] = {}
    _gather(module_name, found)
    return found


def _gather(module_name: str, found: dict[str, ast.Module]) -> None:
    tree = ast.parse(source_path(module_name).read_text(encoding="utf-8"))
    for node in tree.body:
        if (
            isinstance(node, ast.ImportFrom)
            and (node.module or "").startswith(FIRMWARE)
            and node.module not in found
        ):
            _gather(str(node.module), found)
        elif not isinstance(node, (ast.ImportFrom, ast.FunctionDef, ast.Assign)) and not is_text(
            node
        ):
            raise ValueError(
                f"{module_name}, line {node.lineno}: a kernel's module holds imports, constants and functions only"
            )
    found[module_name] = tree


def defined(trees: Mapping[str, ast.Module]) -> dict[str, ast.FunctionDef]:
    """Functions of all modules by name. ValueError for a duplicate name."""
    found: dict[str, ast.FunctionDef] = {}
    for module, tree in trees.items():
        for node in tree.body:
            if isinstance(node, ast.FunctionDef):
                if node.name in found:
                    raise ValueError(
                        f"{module}, line {node.lineno}: {node.name} is defined twice in this kernel"
                    )
                found[node.name] = node
    return found


def merged(trees: Mapping[str, ast.Module], limits: Mapping[str, int]) -> dict[str, str]:
    """Every `_NAME = const(n)` once, its value as source text."""
    found: dict[str, str] = {}
    for module, tree in trees.items():
        for node in tree.body:
            if not isinstance(node, ast.Assign):
                continue
            target, value = node.targets[0], node.value
            if not (
                isinstance(target, ast.Name)
                and isinstance(value, ast.Call)
                and ast.unparse(value.func) == "const"
            ):
                raise ValueError(
                    f"{module}, line {node.lineno}: write a constant as _NAME = const(n)"
                )
            text = ast.unparse(value.args[0])
            if found.setdefault(target.id, text) != text:
                raise ValueError(
                    f"{module}, line {node.lineno}: {target.id} is {found[target.id]} in another module of this kernel"
                )
    missing = sorted(set(limits) - set(found))
    if missing:
        raise ValueError(f"no constant of this kernel is called {', '.join(missing)}")
    return found | {constant: str(value) for constant, value in limits.items()}


def kept_names(functions: Mapping[str, ast.FunctionDef], entry: str = ENTRY) -> set[str]:
    """Entry function and the functions that no other calls."""
    called = {
        n.func.id
        for f in functions.values()
        for n in ast.walk(f)
        if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)
    }
    return {
        name
        for name in functions
        if name == entry or name not in called and not name.startswith("_")
    }


def shared_names(functions: Mapping[str, ast.FunctionDef], kept: set[str]) -> set[str]:
    """Helpers with at least two calls and at least SHARED_NODES syntax nodes including everything inlined in them."""
    calls = {name: _called(function, functions) for name, function in functions.items()}
    places = Counter(called for names in calls.values() for called in names)
    found: set[str] = set()

    under: list[str] = []

    @cache
    def size(name: str) -> int:
        if name in under:
            raise ValueError(f"line {functions[name].lineno}: {name} calls itself")
        under.append(name)
        own = sum(1 for _ in ast.walk(functions[name]))
        whole = own + sum(size(called) for called in calls[name] if called not in kept)
        under.remove(name)
        if name not in kept and places[name] >= 2 and whole >= SHARED_NODES:
            found.add(name)
            return CALL_NODES
        return whole

    for name in functions:
        size(name)
    return found


def _called(function: ast.FunctionDef, functions: Mapping[str, ast.FunctionDef]) -> list[str]:
    """Names of the helpers that a function calls, once for each call."""
    return [
        n.func.id
        for n in ast.walk(function)
        if isinstance(n, ast.Call) and isinstance(n.func, ast.Name) and n.func.id in functions
    ]


def callable_on_chip(function: ast.FunctionDef) -> ast.FunctionDef:
    """Return the helper that stays a function: in machine code its parameters have types and every exit returns an integer."""
    made = copied(function)
    for argument in made.args.args:
        argument.annotation = argument.annotation or ast.Name(
            "ptr32" if argument.arg in ARRAYS else "int", ast.Load()
        )
    made.returns = ast.Name("int", ast.Load())
    for node in ast.walk(made):
        if isinstance(node, ast.Return) and node.value is None:
            node.value = ast.Constant(0)
    if exits(made.body) != ALWAYS:
        made.body.append(ast.Return(ast.Constant(0)))
    return made


def compat_names(trees: Mapping[str, ast.Module]) -> list[str]:
    """Names imported from the module of interpreter differences."""
    imports = [
        n
        for tree in trees.values()
        for n in tree.body
        if isinstance(n, ast.ImportFrom) and n.module == COMPAT
    ]
    return sorted({alias.name for node in imports for alias in node.names} | {"const"})


def _title(body: list[ast.stmt]) -> str:
    first = body[0] if body and is_text(body[0]) else None
    return (
        str(first.value.value).split("\n")[0]
        if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
        else "Kernel."
    )
