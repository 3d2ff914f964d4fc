"""Without its extras each command names the missing extra; a system without pseudo-terminals reports it and does everything else."""

import json
import lzma
import os
import subprocess
import sys
from pathlib import Path

import click
import pytest
from rimward.base import extras
from rimward.cli.main import cli

TOP = Path(__file__).parents[2]
EXTRAS = sorted({module for modules in extras.MODULES.values() for module in modules})
PSEUDO_TERMINALS = ["fcntl", "pty", "termios", "tty"]
PAIR = ["--rim", "622x23TSS", "--rim-max", "5 bar", "--tyre", "30-622", "--tyre-max", "6 bar"]
RUN = ["proof", "run", "--virtual", "--label", "a", *PAIR, "--retention-only"]
CSV = "sample,release_bar,limit_bar,released\nA,8,5,yes\n"


def answers(
    lacking: list[str], lines: list[list[str]], folder: Path, whose: str = ""
) -> list[dict]:
    """Exit code, output and errors of each line."""
    paths = os.pathsep.join([str(TOP), os.environ.get("PYTHONPATH", "")])
    env = os.environ | {
        "RIMWARD_DATA": str(folder),
        "RIMWARD_KEYSTORE": "file",
        "PYTHONPATH": paths,
    }
    asked = json.dumps({"lacking": lacking, "whose": whose, "lines": lines})
    done = subprocess.run(
        [sys.executable, "-m", "tests.unit.absent"],
        input=asked,
        capture_output=True,
        text=True,
        cwd=folder,
        env=env,
        timeout=240,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.fixture
def lab(tmp_path: Path) -> str:
    path = tmp_path / "lab.csv"
    path.write_text(CSV, encoding="utf-8")
    return str(path)


def test_without_extras_every_command_that_needs_one_names_it(tmp_path: Path, lab: str) -> None:
    wants = {
        "sim": [
            ["virtual"],
            ["demo", "--out", str(tmp_path / "demo")],
            ["campaign", "--sessions", "2"],
        ],
        "proof": [
            ["proof", "plan", *PAIR],
            ["proof", "analyse", lab],
            ["proof", "merge", lab, lab],
            ["proof", "finish", lab],
            RUN,
        ],
        "web": [["serve"]],
        "install": [["install", "--port", "/dev/nowhere"]],
    }
    lines = [(extra, line) for extra, several in wants.items() for line in several]
    for (extra, line), answer in zip(
        lines, answers(EXTRAS, [line for _extra, line in lines], tmp_path), strict=True
    ):
        assert answer["code"] == 1, (line, answer)
        assert (
            f"rimward[{extra}]" in answer["err"]
            and "defect" not in answer["err"]
            and "Traceback" not in answer["err"]
        ), (line, answer)
    assert not (tmp_path / "campaign").exists()


NOWHERE = ["--port", "/dev/nowhere"]
# a line of every command that needs no extra, as far as it comes without an inflator or a wheel; FOLDER/a.rws: a recorded session
WITHOUT = [
    ["bringup", *NOWHERE], ["calibrate", *NOWHERE, "--reference", "g", "--reference-u", "500 Pa", "--reference-due", "2099-01-01", "--by", "mk"],
    ["cartridge", "--grams", "16", "--tyre", "28-622"], ["ceiling", *PAIR], ["config"], ["config", "show"], ["config", "set", "by", "mk"], ["config", "unset", "by"], ["doctor", "--json"],
    ["inflators"], ["inflators", "set", *NOWHERE, "--unit", "bar"], ["key", "new"], ["key", "show"], ["key", "rotate"], ["key", "ask", *NOWHERE], ["key", "enrol", *NOWHERE],
    ["key", "export", "FOLDER/k.bin"], ["key", "import", "FOLDER/k.bin"], ["preset", "card", "p"], ["preset", "make", "p"], ["preset", "profiles", "p"], ["preset", "send", "p", *NOWHERE],
    ["preset", "show", "p"], ["profile", "delete", "w", *NOWHERE], ["profile", "list", *NOWHERE], ["profile", "make", "--wheel", "w"], ["profile", "send", "p", *NOWHERE],
    ["profile", "show", "p"], ["proof", "schema"], ["replay", "FOLDER/a.rws"], ["report", "FOLDER/a.rws", "--out", "FOLDER/report.pdf"], ["ride", "--fill", "4 bar"], ["rim-type", "--marking", "TSS"],
    ["screen", *NOWHERE], ["session", "export", "FOLDER/a.rws", "--out", "FOLDER/a.csv"], ["session", "keep", "FOLDER/a.rws"], ["session", "list"], ["session", "pull", *NOWHERE], ["session", "show", "FOLDER/a.rws"],
    ["session", "verify", "FOLDER/a.rws"], ["tag", "print", "w", "--out", "FOLDER/t.png"], ["tag", "read", "FOLDER/t.png"], ["watch", *NOWHERE], ["wheel", "add", "w", *PAIR], ["wheel", "ask", "w"],
    ["wheel", "backup", "FOLDER/b.zip"], ["wheel", "edit", "w", "--note", "n"], ["wheel", "export", "--out", "FOLDER/w.csv"], ["wheel", "find", "w"], ["wheel", "import", "FOLDER/w.csv"], ["wheel", "list"],
    ["wheel", "loss", "w"], ["wheel", "retire", "w"], ["wheel", "show", "w"],
]  # fmt: skip


def recorded(folder: Path) -> Path:
    """A recorded session as `a.rws` in this folder."""
    path = folder / "a.rws"
    path.write_bytes(
        lzma.decompress((TOP / "tests" / "sessions" / "records" / "a_drift.rws.xz").read_bytes())
    )
    return path


def leaves(group: click.Group, path: tuple[str, ...] = ()) -> set[tuple[str, ...]]:
    """Every command that does something, as the words that name it."""
    context, found = click.Context(group), set()
    for name in group.list_commands(context):
        one = group.get_command(context, name)
        if isinstance(one, click.Group):
            found |= leaves(one, (*path, name)) | (
                {(*path, name)} if one.invoke_without_command else set()
            )
        else:
            found.add((*path, name))
    return found


def test_without_extras_the_rest_works(tmp_path: Path) -> None:
    """Every command has a line here or among those that need an extra; none ends in a traceback or asks for something that it does not name."""
    recorded(tmp_path)
    lines = [[word.replace("FOLDER", str(tmp_path)) for word in line] for line in WITHOUT]
    for line, answer in zip(lines, answers(EXTRAS, lines, tmp_path), strict=True):
        assert (
            "defect" not in answer["err"]
            and "Traceback" not in answer["err"]
            and "rimward[" not in answer["err"]
        ), (line, answer)
        if line[0] in ("replay", "report", "rim-type") or line[:2] in (
            ["proof", "schema"],
            ["key", "new"],
            ["wheel", "list"],
            ["session", "show"],
        ):
            assert answer["code"] == 0, (line, answer)
    extra = {
        ("virtual",),
        ("demo",),
        ("campaign",),
        ("serve",),
        ("install",),
        *((("proof", name)) for name in ("plan", "analyse", "run", "merge", "finish")),
    }
    without = {
        tuple(line[:2]) if tuple(line[:2]) in leaves(cli) else (line[0],) for line in WITHOUT
    }
    assert extra | without == leaves(cli)


def test_without_pseudo_terminals_commands_say_so_and_the_rest_works(
    tmp_path: Path, lab: str
) -> None:
    refused = [["virtual"], ["demo", "--out", str(tmp_path / "demo")], [*RUN, "-o", str(tmp_path)]]
    fine = [
        ["proof", "plan", *PAIR, "--json"], ["proof", "analyse", lab, "--json"], ["proof", "merge", lab], ["key", "new"], ["wheel", "list"],
        ["serve", "--help"], ["inflators"], ["watch", "--help"], ["calibrate", "--help"], ["wheel", "add", "w", *PAIR], ["config", "show"], ["rim-type", "--marking", "TSS"],
        ["replay", str(recorded(tmp_path))], ["session", "show", str(tmp_path / "a.rws")], ["report", str(tmp_path / "a.rws"), "--out", str(tmp_path / "r.pdf")],
    ]  # fmt: skip
    found = answers(PSEUDO_TERMINALS, refused + fine, tmp_path, whose="rimward")
    for line, answer in zip(refused, found, strict=False):
        assert answer["code"] == 1 and "needs pseudo-terminals" in answer["err"], (line, answer)
    for line, answer in zip(fine, found[len(refused) :], strict=True):
        assert answer["code"] == 0 and not answer["err"].startswith("rimward:"), (line, answer)
