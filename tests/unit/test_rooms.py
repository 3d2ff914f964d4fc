"""Modules joined for the chip, and rooms: loaded when needed, dropped before a fill, never loaded while air may move."""

import ast
import sys
import types

import pytest
from rimward.device.install import joined, plan
from rimward_fw import rooms
from rimward_fw.link import connection, requests, store_requests
from rimward_protocol import codes, enumerations, replies

from tests import made

LOADER = "def room(number):\n    return number\n"


@pytest.fixture(scope="module")
def ready() -> dict[str, str]:
    """Texts of every installed module."""
    return made.ready()[0]


def test_every_room_is_a_file_of_its_own_and_all_else_is_joined(ready: dict[str, str]) -> None:
    apart = {f"/lib/{name.replace('.', '/')}.py" for name in rooms.ROOMS}
    kernels = {f"{plan.KERNELS}{name}.py" for name in ("guard", "fill", "tick")}
    left = {path for path in ready if not path.endswith("__init__.py")} - apart - kernels
    assert apart <= set(ready) and left == {
        "/main.py",
        "/lib/rimward_fw/app.py",
        "/lib/rimward_fw/board/pico.py",
        *(f"/lib/{name.replace('.', '/')}.py" for name in plan.JOINS),
    } | ({"/lib/rimward_protocol/compat.py"} & set(ready))


def test_a_room_is_loaded_once_rests_and_is_dropped(monkeypatch: pytest.MonkeyPatch) -> None:
    package = types.ModuleType("toy_rooms")
    one = types.ModuleType("toy_rooms.one")
    package.one = one  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "toy_rooms", package)
    monkeypatch.setitem(sys.modules, "toy_rooms.one", one)
    monkeypatch.setattr(rooms, "ROOMS", ("toy_rooms.one",))
    assert rooms.room(0) is one is rooms.room(0)
    for _ in range(rooms.REST_CALLS):
        rooms.rest()
    assert "toy_rooms.one" in sys.modules, "used within the last two seconds"
    rooms.room(0)
    for _ in range(rooms.REST_CALLS + 1):
        rooms.rest()
    assert "toy_rooms.one" not in sys.modules and not hasattr(package, "one")


def test_what_a_room_holds_is_read_through_the_loader_and_the_rest_from_the_joined_module() -> None:
    made = joined.joined(
        {
            "p.app": "from p import other, side\nfrom rimward_fw import rooms\n"
            "def run():\n    return other.same(), side.same(), same()\ndef same():\n    return 1\n",
            "p.other": "def same():\n    return 2\n",
            "p.side": "from p import other\ndef same():\n    return 3 + other.same()\n",
            "rimward_fw.rooms": LOADER,
        },
        ["p.app"],
        ["p.side"],
    )
    assert set(made) == {"p.app", "p.side"}
    side = types.ModuleType("p.side")
    names = {"__name__": "p.app"}
    exec(made["p.app"].replace("return number", "return _side"), names)
    app = types.ModuleType("p.app")
    vars(app).update(names)
    vars(side)["app__"] = app
    exec(made["p.side"].replace("from p import app as app__", ""), vars(side))
    names["_side"] = side
    assert names["run"]() == (2, 5, 1), "three functions of one name stay three"


def test_main_finds_what_it_calls(ready: dict[str, str]) -> None:
    made = joined.joined(
        {"p.app": "def run(run):\n    return run\ndef go():\n    run = 1\n"},
        ["p.app"],
        [],
        ["from p import app\napp.run(1)\n"],
    )
    assert "def run(" in made["p.app"] and "def run(" in ready["/lib/rimward_fw/app.py"]


@pytest.mark.parametrize(
    "text",
    [
        "from p import other\nx = [other]\n",
        "def f():\n    from p import other\n",
        "from p import other\ndef f():\n    return other.none\n",
    ],
    ids=["a module as a value", "an import in a block", "a name that is not there"],
)
def test_what_cannot_be_joined_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        joined.joined(
            {
                "p.app": "from p import other, more\n",
                "p.other": "def f():\n    pass\n",
                "p.more": text,
            },
            ["p.app"],
            [],
        )


def test_every_request_has_one_handler_and_those_of_the_room_are_known() -> None:
    numbers = {row[0] for row in enumerations.MESSAGES if row[0] < 0x40}
    now, stored = set(requests.HANDLERS), set(store_requests.HANDLERS)
    assert now | stored == numbers and not now & stored and stored == set(connection.STORED)


def test_no_room_is_loaded_for_a_request_while_air_may_move(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def loaded(*_values: object) -> None:
        raise AssertionError("the room was used")

    monkeypatch.setattr(
        connection.store_requests, "HANDLERS", dict.fromkeys(connection.STORED, loaded)
    )
    link = connection.Link.__new__(connection.Link)
    link.opened = True
    link.decoder = types.SimpleNamespace(kind=codes.SESSION_LIST, payload=b"", length=0)
    link.app = types.SimpleNamespace(enabled=lambda: True)
    told: list[tuple[int, int]] = []
    monkeypatch.setattr(link, "error", lambda code, detail: told.append((code, detail)))
    assert link._answer() == replies.BUSY_FILLING and told == [(replies.BUSY_FILLING, 0)]


def test_no_joined_module_has_more_names_than_the_chip_finds_at_once(ready: dict[str, str]) -> None:
    """One byte of a name's hash is kept there: 256 places to begin a look-up, whatever the table's size."""
    for name in (*plan.JOINS, "rimward_fw.app", plan.BOARD):
        tree = ast.parse(ready[f"/lib/{name.replace('.', '/')}.py"])
        found = {
            bound
            for node in tree.body
            for bound in (
                [node.name]
                if isinstance(node, ast.FunctionDef | ast.ClassDef)
                else [alias.asname or alias.name for alias in node.names]
                if isinstance(node, ast.Import | ast.ImportFrom)
                else [
                    n.id
                    for n in ast.walk(node)
                    if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)
                ]
            )
        }
        assert 10 < len(found) < 128, name
