"""The library's rooms: what each exports is there, typed and documented, and the example in its docstring runs as written."""

import ast
import doctest
import importlib
import inspect
import subprocess
import sys
from pathlib import Path

import pytest
import rimward

ROOMS = ("limits", "wheels", "device", "sessions", "simulation", "proof")


@pytest.fixture(params=ROOMS)
def room(request):
    return importlib.import_module(f"rimward.{request.param}")


def test_the_example_of_a_room_runs_as_written(room):
    parser = doctest.DocTestParser()
    example = parser.get_doctest(room.__doc__, {}, room.__name__, room.__file__, 0)
    assert len(example.examples) >= 3 and not any(
        doctest.SKIP in one.options for one in example.examples
    )
    result = doctest.DocTestRunner(optionflags=doctest.REPORT_ONLY_FIRST_FAILURE).run(example)
    assert result.failed == 0 and result.attempted == len(example.examples)


def test_everything_exported_is_there_documented_and_typed(room):
    assert sorted(room.__all__) == list(room.__all__)
    for name in room.__all__:
        value = getattr(room, name)
        assert not inspect.ismodule(value), name
        if inspect.isfunction(value):
            assert inspect.getdoc(value), name
            assert value.__annotations__.get("return", "none") != "none", (
                f"{name} does not say what it returns"
            )
        elif inspect.isclass(value):
            assert value.__doc__ and "(" not in value.__doc__[: len(value.__name__) + 1], (
                f"{name} has no docstring of its own"
            )


def test_a_room_alone_needs_no_extra():
    """Without any optional package the rooms still import."""
    blocked = "scipy numba distributed starlette uvicorn psycopg mpremote schemdraw websockets"
    code = f"import sys\nfor name in {blocked.split()!r}: sys.modules[name] = None\n" + "\n".join(
        f"import rimward.{name}" for name in ROOMS
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("name", ["wheels", "device", "simulation"])
def test_names_imported_at_first_use_are_those_that_a_type_checker_sees(name):
    room = importlib.import_module(f"rimward.{name}")
    (seen,) = [
        node
        for node in ast.parse(Path(room.__file__ or "").read_text()).body
        if isinstance(node, ast.If)
    ]
    places = {}
    for node in seen.body:
        assert isinstance(node, ast.ImportFrom)
        places |= {
            alias.asname or alias.name: f"{node.module}:{alias.name}"
            if alias.asname
            else node.module
            for alias in node.names
        }
    assert places == room.PLACES and sorted(places) == list(room.__all__)


def test_the_package_says_that_it_is_typed():
    assert (Path(rimward.__file__).parent / "py.typed").exists()


def test_the_rooms_import_no_command_and_no_page():
    for name in ROOMS:
        tree = ast.parse(
            Path(importlib.import_module(f"rimward.{name}").__file__ or "").read_text()
        )
        used = [
            node.module
            for node in ast.walk(tree)
            if isinstance(node, ast.ImportFrom) and node.module
        ]
        assert not [module for module in used if module.startswith(("rimward.web", "rimward.cli"))]


def test_adding_a_fault_and_a_scenario_is_written_down():
    text = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text()
    assert "## Add a fault or a scenario" in text
    for named in ("plant/faults.py", "tests/sessions/cases.py", "simulation/scenario.py"):
        assert named in text and list(Path(__file__).parents[2].glob(f"**/{named}"))
