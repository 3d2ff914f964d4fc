"""Documentation under test: every command has help, a --json form where it prints, and its place in the reference."""

import re
from pathlib import Path

import click
import pytest
from click.testing import CliRunner
from rimward.cli.main import COMMANDS, cli

from tests import figures, reference

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text()


def leaves():
    """(words, click command) of every command that does something."""
    context = click.Context(cli)
    for name in sorted(COMMANDS):
        command = cli.get_command(context, name)
        yield from _below([name], command)


def _below(words, command):
    if isinstance(command, click.Group):
        if command.invoke_without_command:
            yield words, command
        for name, inner in sorted(command.commands.items()):
            yield from _below([*words, name], inner)
    else:
        yield words, command


LEAVES = list(leaves())


@pytest.mark.parametrize(("words", "command"), LEAVES, ids=[" ".join(words) for words, _ in LEAVES])
def test_command_has_help_and_a_json_form(words, command):
    assert command.help and len(command.help) > 15
    shown = CliRunner().invoke(command, ["--help"])
    assert shown.exit_code == 0 and "Usage" in shown.output
    options = {name for parameter in command.params for name in getattr(parameter, "opts", ())}
    assert "--json" in options


def test_the_reference_is_that_of_the_code():
    assert reference.PAGE.read_text(encoding="utf-8") == reference.page(), (
        "python -m tests.reference --write"
    )


def test_the_figures_are_those_that_the_checks_keep():
    page = figures.PAGE.read_text(encoding="utf-8")
    assert [row for row in figures.rows(figures.figures()) if row not in page] == [], (
        "python -m tests.figures --write"
    )


def test_readme_is_short_and_its_links_lead_somewhere():
    assert len(README.encode()) <= 8_192
    targets = [target for target in re.findall(r"\]\(([^)#]+)\)", README) if "://" not in target]
    assert targets and [target for target in targets if not (ROOT / target).exists()] == []


def test_readme_examples_use_options_that_exist():
    known = {
        " ".join(words): {o for p in command.params for o in (*p.opts, *p.secondary_opts)}
        for words, command in LEAVES
    }
    for line in re.findall(r"^\s{4}rimward ((?:.|\\\n)*?)(?<!\\)$", README, re.M):
        words = [
            word
            for word in re.sub(r"\\\n", " ", line).split()
            if re.fullmatch(r"[a-z-]+", word) and not word.startswith("-")
        ]
        name = next((" ".join(words[:n]) for n in (2, 1) if " ".join(words[:n]) in known), None)
        assert name is not None, f"README shows `rimward {line}`, which is no command"
        for option in re.findall(r"(?<!\S)(--?[a-z][a-z-]*)", line.split("#")[0]):
            assert option in known[name], f"`rimward {name}` has no option {option}"


def test_top_level_is_what_the_design_says():
    found = {
        p.name
        for p in ROOT.iterdir()
        if not p.name.startswith(".")
        and p.name not in ("__pycache__", "rimward-demo", "dist", "build")
    }
    assert found == {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "firmware",
        "host",
        "protocol",
        "hardware",
        "tests",
    }
