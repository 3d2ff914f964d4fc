"""Shared by several tests: the command as a person runs it, and invented wheels of the shop Fernhollow Wheels."""

import json
import sys

import pytest
from rimward.cli import main as cli

FRONT = ("Aspen race", "--position", "front", "--rim", "622x23TSS", "--rim-max", "5 bar", "--tyre", "30-622", "--tyre-range", "4-6 bar",
         "--approved", "yes", "--air", "tubeless")  # fmt: skip
REAR = ("Aspen race", "--position", "rear", "--rim", "622x23TSS", "--rim-max", "5 bar", "--tyre", "32-622", "--tyre-range", "3.5-5 bar",
        "--approved", "yes", "--air", "tubeless")  # fmt: skip
RIDE = (
    "--fill-temp",
    "18",
    "--fill-altitude",
    "200",
    "--ride-altitude-max",
    "2400",
    "--ride-temp-max",
    "45",
)


class Desk:
    """Runs `rimward` in this process: exit code, standard output and standard error of the last command."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
        self.monkeypatch, self.capsys = monkeypatch, capsys
        self.code, self.out, self.err = 0, "", ""

    def __call__(self, *words: object) -> int:
        self.monkeypatch.setattr(sys, "argv", ["rimward", *map(str, words)])
        self.capsys.readouterr()
        self.code = 0
        self.code = cli.run()
        self.out, self.err = self.capsys.readouterr()
        assert "Traceback" not in self.err and "defect" not in self.err, self.err
        return self.code

    def json(self, *words: object) -> dict:
        assert self(*words, "--json") == 0, self.err
        return json.loads(self.out)


@pytest.fixture
def desk(tmp_path, monkeypatch, capsys) -> Desk:
    """The command on an empty data folder, keys in a file."""
    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path / "data"))
    monkeypatch.setenv("RIMWARD_KEYSTORE", "file")
    monkeypatch.setenv("RIMWARD_USER", "Maren Holt")
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.chdir(tmp_path)
    return Desk(monkeypatch, capsys)
