"""Imports: no circles, and every import inside a function of the host has a reason: it keeps a slow or optional package from being loaded."""

import ast
from graphlib import CycleError, TopologicalSorter
from importlib.metadata import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from rimward.base import extras

from tests import imports

# Packages that a command without need of them must not load: milliseconds that their import takes (CPython 3.11, one core of the
# development computer, `python -X importtime`, rounded), against 100 ms of `rimward --help`.
SLOW_MS = {
    "PIL": 31,
    "alembic": 804,
    "construct": 38,
    "fontTools": 42,
    "fpdf": 931,
    "gpxpy": 53,
    "jinja2": 58,
    "keyring": 78,
    "matplotlib": 498,
    "numpy": 218,
    "packaging": 42,
    "segno": 47,
    "sqlalchemy": 397,
    "tomlkit": 17,
    "uncertainties": 222,
}
# Packages of an optional extra: absent after a plain `pip install rimward`.
OPTIONAL = {module for names in extras.MODULES.values() for module in names}
# Imports inside functions for another reason. (module, what it imports): why.
OTHERWISE = {
    ("rimward.__main__", "rimward.cli.main"): "signals are handled before anything large is loaded",
    (
        "rimward.cli.checkup",
        "rimward.simulation.virtual.interpreter",
    ): "`rimward doctor` reports a missing extra instead of failing by it",
}
HOST = [name for name in imports.modules() if name.split(".")[0] == "rimward"]


def kept_away(name: str, node: imports.Import) -> set[str]:
    """Slow or optional packages that an import loads and its module by itself does not."""
    more = imports.loaded(*sorted(imports.targets(name, node))) - imports.loaded(name)
    return more & (set(SLOW_MS) | OPTIONAL)


def without_reason(names: list[str]) -> list[str]:
    return [
        f"{name}, line {node.lineno}: {ast.unparse(node)}"
        for name in names
        for node in imports.inside_functions(name)
        if not kept_away(name, node)
        and not any((name, target) in OTHERWISE for target in imports.targets(name, node))
    ]


def test_an_import_inside_a_function_keeps_a_slow_or_optional_package_away() -> None:
    assert without_reason(HOST) == [], "import it at the module's top, or name its reason"


def test_every_other_reason_is_needed() -> None:
    found = {
        (name, target)
        for name in HOST
        for node in imports.inside_functions(name)
        if not kept_away(name, node)
        for target in imports.targets(name, node)
    }
    assert set(OTHERWISE) == found


def test_slow_packages_are_requirements_and_used() -> None:
    plain = {
        need.name.lower()
        for need in map(Requirement, metadata("rimward").get_all("Requires-Dist") or [])
        if not need.marker or "extra" not in str(need.marker)
    }
    named = {"PIL": "pillow", "fontTools": "fpdf2", "fpdf": "fpdf2"}  # fpdf2 brings fontTools
    assert {named.get(package, package) for package in SLOW_MS} <= plain
    used = {
        package
        for name in HOST
        for node in imports.inside_functions(name)
        for package in kept_away(name, node)
    }
    assert set(SLOW_MS) <= used


@pytest.mark.parametrize(
    ("text", "reasons"),
    [
        ("def f():\n    import numpy\n", 0),
        ("def f():\n    import json\n", 1),
        ("import numpy\ndef f():\n    import numpy\n", 1),
        ("def f():\n    from rimward.formats import records\n", 0),
        ("from rimward.formats import records\ndef f():\n    from rimward.formats import records\n", 1),
    ],
)  # fmt: skip
def test_a_needless_import_inside_a_function_is_found(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, text: str, reasons: int
) -> None:
    path = tmp_path / "planted.py"
    path.write_text(text)
    name = f"rimward.{tmp_path.name}"  # its own for each text, since what was read is kept
    monkeypatch.setitem(imports.modules(), name, path)
    assert len(without_reason([name])) == reasons


def test_no_circle_of_imports_lazy_ones_counted() -> None:
    try:
        TopologicalSorter(imports.arrows()).prepare()
    except CycleError as circle:
        pytest.fail(" <- ".join(circle.args[1]))


def test_a_circle_is_seen() -> None:
    arrows = imports.arrows()
    low, high = "rimward.base.units", "rimward.limits.ceiling.model"
    assert low in arrows[high]
    with pytest.raises(CycleError):
        TopologicalSorter(arrows | {low: {high}}).prepare()
