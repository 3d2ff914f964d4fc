"""House rules: arrows between rooms, sizes, docstrings. Exceptions are listed here by name."""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from tests import imports

ROOT = Path(__file__).parents[2]
PACKAGES = ("firmware", "host", "protocol", "hardware")
# The rooms of `host/rimward`, each a folder, in the order of the arrows: a room imports rooms of a lower level only, never a sibling.
LEVELS: tuple[tuple[str, ...], ...] = (
    ("base",),
    ("formats", "paper", "kernels"),
    ("limits",),
    ("wheels",),
    ("device", "sessions"),
    ("simulation",),
    ("proof",),
    ("web",),
    ("cli",),
    ("__main__",),
)
LEVEL_OF = {room: level for level, rooms in enumerate(LEVELS) for room in rooms}
OUTSIDE_ROOMS = {"__init__.py", "__main__.py", "py.typed"}
LONGEST_FILE = 400
FILES_ABOVE: set[str] = set()
LONGEST_FUNCTION, MOST_PARAMETERS = 60, 6
FUNCTIONS_ABOVE: set[str] = set()
NUMBA = "numba compiles it: arrays are arguments, since a compiled function has no objects"
LIBRARY = "documented call of the library: one subject, the rest named choices with defaults"
# Functions with more parameters than allowed, and why. Those of a command are its options and do not count.
PARAMETERS_ABOVE = {
    "host/rimward/limits/cartridge/verdict.py": {"assess_cartridge": LIBRARY},
    "host/rimward/limits/ceiling/assess.py": {"assess": LIBRARY},
    "host/rimward/limits/ceiling/model.py": {"parse": LIBRARY},
    "host/rimward/simulation/baselines.py": {"baseline": NUMBA},
    "host/rimward/simulation/cool.py": {"cool": NUMBA},
    "host/rimward/simulation/faulted.py": {"measure": NUMBA, "session": NUMBA},
    "host/rimward/simulation/ideal.py": {"feed": NUMBA},
    "host/rimward/simulation/loop.py": {"run": NUMBA},
    "host/rimward/simulation/plant/air.py": {"tyre_flow": NUMBA, "manifold_step": NUMBA},
    "host/rimward/simulation/plant/flow.py": {"restriction": NUMBA, "rooted": NUMBA},
    "host/rimward/simulation/plant/jit.py": {"__init__": "numba's own signature, overridden"},
    "host/rimward/simulation/plant/sensing.py": {"sense": NUMBA},
    "host/rimward/simulation/plant/step.py": {"plant_tick": NUMBA},
    "host/rimward/simulation/plant/tyre.py": {"tyre_step": NUMBA},
    "host/rimward/simulation/virtual/inflator.py": {"__init__": LIBRARY},
    "host/rimward/wheels/preset/__init__.py": {"make": LIBRARY},
    "protocol/rimward_protocol/session.py": {
        "_put_fast": "on the chip an object would be allocated"
    },
}


@cache
def parsed() -> dict[Path, ast.Module]:
    """Every Python file of the packages, relative to the top."""
    paths = (path for folder in PACKAGES for path in sorted((ROOT / folder).rglob("*.py")))
    return {path.relative_to(ROOT): imports.syntax(path) for path in paths}


@cache
def every_function() -> list[tuple[Path, ast.FunctionDef | ast.AsyncFunctionDef]]:
    return [
        (path, node)
        for path, tree in parsed().items()
        for node in imports.statements(tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    ]


def functions(
    kernels: bool = True,
) -> Iterator[tuple[Path, ast.FunctionDef | ast.AsyncFunctionDef]]:
    yield from (
        (path, node)
        for path, node in every_function()
        if kernels or path.parts[:3] != ("firmware", "rimward_fw", "kernels")
    )


def imported(tree: ast.Module) -> Iterator[str]:
    """Yield the first part below `rimward` of everything imported, lazy imports included."""
    for node in imports.statements(tree):
        if isinstance(node, ast.ImportFrom) and node.module == "rimward":
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("rimward."):
            yield (node.module or "").split(".")[1]


def host_arrows() -> set[tuple[str, str]]:
    found = set()
    for path, tree in parsed().items():
        if path.parts[:2] == ("host", "rimward") and len(path.parts) > 2:
            own = path.parts[2].removesuffix(".py")
            found |= {
                (own, other) for other in imported(tree) if other != own and other in LEVEL_OF
            }
    return found


def against(arrows: set[tuple[str, str]]) -> set[tuple[str, str]]:
    """Arrows to a higher level, or to a sibling room of the same level."""
    return {(a, b) for a, b in arrows if LEVEL_OF[b] >= LEVEL_OF[a]}


def test_every_module_of_the_host_has_a_room() -> None:
    files = [
        path.relative_to(ROOT / "host" / "rimward")
        for path in (ROOT / "host" / "rimward").rglob("*")
        if path.is_file()
    ]
    places = {path.parts[0] for path in files if "__pycache__" not in path.parts}
    assert places == OUTSIDE_ROOMS | (set(LEVEL_OF) - {"__main__"})


def test_arrows_go_one_way() -> None:
    assert against(host_arrows()) == set(), "import from a lower room, or move what both need down"


def test_an_arrow_against_the_direction_is_seen() -> None:
    assert against(
        {("base", "web"), ("web", "base"), ("device", "sessions"), ("limits", "kernels")}
    ) == {("base", "web"), ("device", "sessions")}


def test_firmware_kernels_and_boards_import_no_other_room() -> None:
    """Imports for a type checker alone are left out: no board runs them."""
    for name in imports.modules():
        package, _, own = name.partition(".")
        room = own.partition(".")[0]
        if package == "rimward_fw" and room in ("kernels", "board"):
            found = imports.arrows()[name]
            rooms = {each.split(".")[1] for each in found if each.startswith("rimward_fw.")}
            assert rooms <= {room, "kernels"}, name


def test_the_protocol_imports_nothing_of_ours() -> None:
    for path, tree in parsed().items():
        if path.parts[0] == "protocol":
            modules = {
                node.module or ""
                for node in imports.statements(tree)
                if isinstance(node, ast.ImportFrom)
            }
            assert not [
                module for module in modules if module.split(".")[0] in ("rimward", "rimward_fw")
            ], path


def test_no_file_is_too_long() -> None:
    paths = [path for folder in (*PACKAGES, "tests") for path in (ROOT / folder).rglob("*.py")]
    long = {
        path.relative_to(ROOT).as_posix()
        for path in paths
        if len(path.read_text(encoding="utf-8").splitlines()) > LONGEST_FILE
    }
    assert long - FILES_ABOVE == set(), "split it by idea"


def test_no_function_is_too_long() -> None:
    long = {
        node.name
        for _, node in functions(kernels=False)
        if (node.end_lineno or 0) - node.lineno >= LONGEST_FUNCTION
    }
    assert long <= FUNCTIONS_ABOVE


def _parameters(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    every = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    return len(every) - (every[0].arg in ("self", "cls") if every else 0)


def _is_command(node: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    """True if a decorator makes it a command of the command line."""
    return any(
        isinstance(call, ast.Call)
        and isinstance(call.func, ast.Attribute)
        and call.func.attr == "command"
        for call in node.decorator_list
    )


def parameters_above() -> set[tuple[str, str]]:
    """File and name of every function with more parameters than allowed."""
    return {
        (path.as_posix(), node.name)
        for path, node in functions(kernels=False)
        if _parameters(node) > MOST_PARAMETERS and not _is_command(node)
    }


def test_more_parameters_have_a_reason_each() -> None:
    named = {(path, name) for path, names in PARAMETERS_ABOVE.items() for name in names}
    assert parameters_above() == named, "group them, or name the reason; drop one not needed"


def test_every_public_function_and_class_has_a_docstring() -> None:
    assert list(undocumented()) == []


def undocumented() -> Iterator[tuple[Path, str]]:
    """Yield public functions and classes, methods of classes included, without a docstring."""
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)
    for path, tree in parsed().items():
        methods = [
            inner for node in tree.body if isinstance(node, ast.ClassDef) for inner in node.body
        ]
        for node in (*tree.body, *methods):
            if (
                isinstance(node, kinds)
                and not node.name.startswith("_")
                and not ast.get_docstring(node)
            ):
                yield path, node.name
