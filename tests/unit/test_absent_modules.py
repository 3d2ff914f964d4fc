"""The wheel without its extras names what each command lacks; a system without pseudo-terminals says so and does everything else."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from rimward import extras

TOP = Path(__file__).parents[2]
EXTRAS = sorted({module for modules in extras.MODULES.values() for module in modules})
PSEUDO_TERMINALS = ["fcntl", "pty", "termios", "tty"]
PAIR = ["--rim", "622x23TSS", "--rim-max", "5 bar", "--tyre", "30-622", "--tyre-max", "6 bar"]
RUN = ["proof", "run", "--virtual", "--label", "a", *PAIR, "--retention-only"]
CSV = "sample,release_bar,limit_bar,released\nA,8,5,yes\n"


def answers(lacking: list[str], lines: list[list[str]], folder: Path, whose: str = "") -> list[dict]:
    """Exit code, output and errors of each line."""
    env = os.environ | {"RIMWARD_DATA": str(folder), "RIMWARD_KEYSTORE": "file"}
    asked = json.dumps({"lacking": lacking, "whose": whose, "lines": lines})
    done = subprocess.run([sys.executable, "-m", "tests.unit.absent"], input=asked, capture_output=True, text=True, cwd=TOP, env=env, timeout=240)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.fixture
def lab(tmp_path: Path) -> str:
    path = tmp_path / "lab.csv"
    path.write_text(CSV, encoding="utf-8")
    return str(path)


def test_without_extras_every_command_that_needs_one_names_it(tmp_path: Path, lab: str) -> None:
    wants = {
        "sim": [["virtual"], ["demo", "--out", str(tmp_path / "demo")], ["campaign", "--sessions", "2"]],
        "proof": [["proof", "plan", *PAIR], ["proof", "analyse", lab], RUN],
        "web": [["serve"]],
        "install": [["install", "--port", "/dev/nowhere"]],
    }
    lines = [(extra, line) for extra, several in wants.items() for line in several]
    for (extra, line), answer in zip(lines, answers(EXTRAS, [line for _extra, line in lines], tmp_path), strict=True):
        assert answer["code"] == 1, (line, answer)
        assert f"rimward[{extra}]" in answer["err"] and "defect" not in answer["err"] and "Traceback" not in answer["err"], (line, answer)


def test_without_extras_the_rest_works(tmp_path: Path) -> None:
    lines = [
        ["cartridge", "--help"],
        ["proof", "schema"], ["key", "new"], ["wheel", "list"], ["doctor", "--json"], ["rim-type", "--help"], ["session", "--help"],
    ]  # fmt: skip
    for line, answer in zip(lines, answers(EXTRAS, lines, tmp_path), strict=True):
        assert "defect" not in answer["err"] and "This command needs" not in answer["err"], (line, answer)
        if line[0] != "doctor":
            assert answer["code"] == 0, (line, answer)


def test_without_pseudo_terminals_commands_say_so_and_the_rest_works(tmp_path: Path, lab: str) -> None:
    refused = [["virtual"], ["demo", "--out", str(tmp_path / "demo")], [*RUN, "-o", str(tmp_path)]]
    fine = [
        ["proof", "plan", *PAIR, "--json"], ["proof", "analyse", lab, "--json"], ["proof", "merge", lab], ["key", "new"], ["wheel", "list"],
        ["serve", "--help"], ["inflators", "--help"], ["watch", "--help"], ["calibrate", "--help"],
    ]  # fmt: skip
    found = answers(PSEUDO_TERMINALS, refused + fine, tmp_path, whose="rimward")
    for line, answer in zip(refused, found, strict=False):
        assert answer["code"] == 1 and "needs pseudo-terminals" in answer["err"], (line, answer)
    for line, answer in zip(fine, found[len(refused) :], strict=True):
        assert answer["code"] == 0 and not answer["err"].startswith("rimward:"), (line, answer)
