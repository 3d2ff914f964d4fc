"""The rules of the house: arrows between rooms, sizes, docstrings. What is not yet as it should be is listed here and may only shrink."""

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = ("firmware", "host", "protocol", "hardware")
# Room of each module or folder of `host/rimward`, in the order of the arrows: a room imports rooms of a lower level only, never a sibling.
LEVELS: tuple[dict[str, tuple[str, ...]], ...] = (
    {"base": ("units", "errors", "atmosphere", "conditions", "settings", "logs", "output", "extras", "instrument", "py.typed")},
    {"formats": ("records",), "kernels": ("kernels",)},
    {"limits": ("ceiling", "cartridge", "ride", "rimtype", "uncertainty", "volume", "energy", "limits")},
    {"wheels": ("register", "profiles", "keys", "preset", "tag", "wheels")},
    {"device": ("link", "install", "calibration", "device", "bringup"), "sessions": ("sessions", "report")},
    {"simulation": ("plant", "virtual", "simulation", "campaign")},
    {"proof": ("proof",)},
    {"web": ("web",)},
    {"cli": ("cli", "commands", "checkup", "__main__")},
)
# Arrows against the direction, (module, imported): each is a debt. A new one fails.
AGAINST = {("link", "virtual")}
LONGEST_FILE = 400
FILES_ABOVE = {"firmware/rimward_fw/app.py", "tests/unit/test_plant_effects.py"}
LONGEST_FUNCTION, MOST_PARAMETERS = 60, 6
FUNCTIONS_ABOVE = {"table"}
PARAMETERS_ABOVE = 42  # functions with more parameters than allowed
WITHOUT_DOCSTRING = 164  # public functions and classes
INSIDE_FUNCTIONS = 340  # imports inside functions of the host


@cache
def parsed() -> dict[Path, ast.Module]:
    """Every Python file of the packages, relative to the top."""
    paths = (path for folder in PACKAGES for path in sorted((ROOT / folder).rglob("*.py")))
    return {path.relative_to(ROOT): ast.parse(path.read_text(encoding="utf-8")) for path in paths}


def functions(kernels: bool = True) -> Iterator[tuple[Path, ast.FunctionDef | ast.AsyncFunctionDef]]:
    for path, tree in parsed().items():
        if kernels or path.parts[:3] != ("firmware", "rimward_fw", "kernels"):
            yield from ((path, node) for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))


def room_of() -> dict[str, tuple[int, str]]:
    return {module: (level, room) for level, rooms in enumerate(LEVELS) for room, modules in rooms.items() for module in modules}


def imported(tree: ast.Module) -> Iterator[str]:
    """Yield the first part below `rimward` of everything imported, lazy imports included."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module == "rimward":
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and (node.module or "").startswith("rimward."):
            yield (node.module or "").split(".")[1]


def host_arrows() -> set[tuple[str, str]]:
    found = set()
    for path, tree in parsed().items():
        if path.parts[:2] == ("host", "rimward") and len(path.parts) > 2:
            own = path.parts[2].removesuffix(".py")
            found |= {(own, other) for other in imported(tree) if other != own and other in room_of()}
    return found


def against(arrows: set[tuple[str, str]]) -> set[tuple[str, str]]:
    """Arrows to a higher level, or to a sibling room of the same level."""
    rooms = room_of()
    return {(a, b) for a, b in arrows if rooms[b][0] > rooms[a][0] or (rooms[b][0] == rooms[a][0] and rooms[a][1] != rooms[b][1])}


def test_every_module_of_the_host_has_a_room() -> None:
    here = {path.name.removesuffix(".py") for path in (ROOT / "host" / "rimward").iterdir() if path.name not in ("__init__.py", "__pycache__", "data")}
    assert here - set(room_of()) == set()


def test_arrows_go_one_way() -> None:
    wrong = against(host_arrows())
    assert wrong - AGAINST == set(), "import from a lower room, or move what both need down"
    assert AGAINST - wrong == set(), "no longer there: take it off the list"


def test_an_arrow_against_the_direction_is_seen() -> None:
    assert against({("units", "web"), ("web", "units"), ("link", "report"), ("ceiling", "ride")}) == {("units", "web"), ("link", "report")}


def test_firmware_kernels_and_boards_import_no_other_room() -> None:
    for path, tree in parsed().items():
        if path.parts[:2] == ("firmware", "rimward_fw") and path.parts[2] in ("kernels", "board"):
            modules = {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
            rooms = {module.split(".")[1] for module in modules if module.startswith("rimward_fw.")}
            assert rooms <= {path.parts[2], "kernels"}, path


def test_the_protocol_imports_nothing_of_ours() -> None:
    for path, tree in parsed().items():
        if path.parts[0] == "protocol":
            modules = {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
            assert not [module for module in modules if module.split(".")[0] in ("rimward", "rimward_fw")], path


def test_no_file_is_too_long() -> None:
    paths = [path for folder in (*PACKAGES, "tests") for path in (ROOT / folder).rglob("*.py")]
    long = {path.relative_to(ROOT).as_posix() for path in paths if len(path.read_text(encoding="utf-8").splitlines()) > LONGEST_FILE}
    assert long - FILES_ABOVE == set(), "split it by idea"


def test_no_function_is_too_long() -> None:
    long = {node.name for _, node in functions(kernels=False) if (node.end_lineno or 0) - node.lineno >= LONGEST_FUNCTION}
    assert long <= FUNCTIONS_ABOVE


def _parameters(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    every = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
    return len(every) - (every[0].arg in ("self", "cls") if every else 0)


@pytest.mark.parametrize("counted", ["parameters", "docstrings", "imports"])
def test_debts_only_shrink(counted: str) -> None:
    found, most = {
        "parameters": (sum(_parameters(node) > MOST_PARAMETERS for _, node in functions(kernels=False)), PARAMETERS_ABOVE),
        "docstrings": (len(list(undocumented())), WITHOUT_DOCSTRING),
        "imports": (inside_functions(), INSIDE_FUNCTIONS),
    }[counted]
    assert found <= most


def undocumented() -> Iterator[tuple[Path, str]]:
    """Yield public functions and classes, methods of classes included, without a docstring."""
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)
    for path, tree in parsed().items():
        methods = [inner for node in tree.body if isinstance(node, ast.ClassDef) for inner in node.body]
        for node in (*tree.body, *methods):
            if isinstance(node, kinds) and not node.name.startswith("_") and not ast.get_docstring(node):
                yield path, node.name


def inside_functions() -> int:
    """Count imports inside functions of the host."""
    kinds = (ast.Import, ast.ImportFrom)
    return sum(isinstance(inner, kinds) for path, node in functions() if path.parts[0] == "host" for inner in ast.walk(node))
