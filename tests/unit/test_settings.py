"""Settings: an option first, then its variable, then the file; the only inflator present is the default port."""

import json
import os
import re
from pathlib import Path

import pytest
from rimward.base import settings
from rimward.base.errors import Refusal
from rimward.device.link import ports
from rimward.wheels.register.place import database_url

from tests.unit.linkbench import Inflator, Shop
from tests.unit.shopdesk import FRONT


@pytest.fixture
def file(tmp_path, monkeypatch):
    path = tmp_path / "etc" / "config.toml"
    monkeypatch.setenv(settings.FILE_VARIABLE, str(path))
    return path


def test_a_variable_counts_before_the_file_and_the_file_before_the_default(file, monkeypatch):
    assert settings.find("port") == settings.Found(None, "default")
    settings.store("port", "/dev/one")
    assert settings.find("port") == settings.Found("/dev/one", "file")
    monkeypatch.setenv("RIMWARD_PORT", "/dev/two")
    assert settings.find("port") == settings.Found("/dev/two", "environment")


def test_writing_keeps_comments_and_other_settings(file):
    file.parent.mkdir()
    file.write_text('# the bench by the window\nport = "/dev/one"\nuser = "Maren Holt"\n')
    settings.store("port", "/dev/two")
    settings.store("user", None)
    assert file.read_text() == '# the bench by the window\nport = "/dev/two"\n'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("port = ", "cannot be read"),
        ('prot = "x"', "'prot'"),
        ("port = 3", "'port'"),
        ('paper = "a3"', "a4, letter"),
    ],
)
def test_a_wrong_file_is_one_line_that_names_it(file, text, says):
    file.parent.mkdir()
    file.write_text(text)
    with pytest.raises(Refusal, match=says) as refused:
        settings.find("paper" if "a3" in text else "port")
    assert str(file) in str(refused.value) and "\n" not in str(refused.value)


def test_the_command_shows_sets_and_unsets(desk, file, monkeypatch):
    assert desk.json("config", "set", "workshop", "Fernhollow Wheels")["source"] == "file"
    shown = {row["name"]: row for row in desk.json("config", "show")["settings"]}
    assert (
        set(shown) == set(settings.SETTINGS)
        and shown["workshop"]["value"] == "Fernhollow Wheels"
        and shown["user"]["source"] == "environment"
    )
    assert (
        desk("config") == 0
        and "Fernhollow Wheels, from the file" in desk.out
        and "RIMWARD_USER" in desk.out
    )
    assert desk("config", "set", "prot", "x") == 1 and "Did you mean 'port'?" in desk.err
    for empty in ("", "  ", "a\nb"):
        assert desk("config", "set", "port", empty) == 1 and "config unset port" in desk.err
    assert desk("config", "set", "paper", "a3") == 1 and "Use one of a4, letter" in desk.err
    assert "port" not in file.read_text()
    assert desk.json("config", "unset", "workshop")["value"] is None


def test_the_register_and_its_folder_follow_their_settings(desk, file, tmp_path, monkeypatch):
    elsewhere = tmp_path / "elsewhere.db"
    monkeypatch.setenv("RIMWARD_DATABASE", str(elsewhere))
    assert database_url() == f"sqlite:///{elsewhere}"
    assert desk("wheel", "list") == 1 and "There is no register" in desk.err
    assert desk("wheel", "add", *FRONT, "--create") == 0, desk.err
    assert len(desk.json("wheel", "list")["wheels"]) == 1
    assert (
        desk("wheel", "list", "--database", tmp_path / "elsewhre.db") == 1
        and not (tmp_path / "elsewhre.db").exists()
    )


@pytest.mark.parametrize(
    ("present", "says"),
    [
        ([], "No inflator is connected"),
        (["a", "b"], "2 inflators are connected: a, b"),
        (["-x", "-y"], "No inflator answers: x is busy; y is busy"),
    ],
)
def test_without_one_inflator_alone_the_port_is_asked_for(monkeypatch, present, says):
    rows = [
        {"port": name, "inflator": True}
        if name[0] != "-"
        else {"port": name, "inflator": False, "why": f"{name[1:]} is busy"}
        for name in present
    ]
    monkeypatch.setattr(ports, "candidates", lambda: present)
    monkeypatch.setattr(ports, "inflators", lambda: iter(rows))
    with pytest.raises(Refusal, match=says):
        ports.only_inflator()


def test_one_inflator_among_other_ports_is_the_one(monkeypatch):
    monkeypatch.setattr(ports, "candidates", lambda: ["a", "b"])
    monkeypatch.setattr(
        ports,
        "inflators",
        lambda: iter(
            [{"port": "a", "inflator": False, "why": "silent"}, {"port": "b", "inflator": True}]
        ),
    )
    assert ports.only_inflator() == "b"


def test_the_only_inflator_is_the_default_port_and_has_one_name_everywhere(tmp_path):
    shop = Shop(tmp_path)
    shop.env["COLUMNS"] = "20"
    inflator = Inflator(shop)
    try:
        (row,) = shop.json("inflators")
        assert row["port"] == inflator.port
        assert inflator.port in shop.run("inflators").stdout.splitlines()
        assert shop.json("session", "pull", "--list") == []
        (line,) = shop.run("watch", "--seconds", "1", "--rate", "2", "--json").stdout.splitlines()[
            :1
        ]
        assert "reading_pa" in json.loads(line)
        checks = {
            row["what"]: row for row in json.loads(shop.run("doctor", "--json").stdout)["checks"]
        }
        assert inflator.port in checks["inflators"]["found"] and checks["register"]["state"] == "ok"
        shop.env["RIMWARD_PORT"] = os.devnull
        assert os.devnull in shop.refused("session", "pull", "--list")
    finally:
        inflator.close()


def test_the_reference_has_every_variable_and_no_other():
    text = (Path(__file__).parents[2] / "host" / "REFERENCE.md").read_text()
    rows = re.findall(r"^\| (?:`(\w+)` )?\| `(RIMWARD_\w+)` \|", text, re.M)
    assert rows == [(s.name, s.variable) for s in settings.SETTINGS.values()] + [
        ("", settings.FILE_VARIABLE)
    ]
