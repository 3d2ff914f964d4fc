"""Command, settings and library reference, made from the code: `python -m tests.reference --write`."""

import importlib
import inspect
import sys
from collections.abc import Iterator
from pathlib import Path

import click
from rimward.base import settings
from rimward.cli.main import COMMANDS, cli

PAGE = Path(__file__).parents[1] / "host" / "REFERENCE.md"
LIBRARY = ("limits", "wheels", "device", "sessions", "simulation", "proof")

HEAD = """# Reference: commands, settings, library

Made by `python -m tests.reference --write`; do not edit. `rimward COMMAND --help` prints the same with defaults.

Every command takes `--json`, for refusals too, and ends with 0 (done), 1 (refused, failed or interrupted) or 2 (wrong usage).
An error is one line on standard error with the next step. Before the command go `-v` (what is done), `-vv` (with tracebacks),
`-q` (no progress) and `--log FILE` (every frame of the link). `eval "$(_RIMWARD_COMPLETE=bash_source rimward)"` in the shell's
start-up file completes commands and options (`zsh_source`, `fish_source` for those shells).
"""

SETTINGS_HEAD = """
## Settings

An option counts before its variable, a variable before the file. `rimward config` shows what is set and where;
`rimward config set port /dev/ttyACM0` writes it.

| setting | variable | meaning | default |
| --- | --- | --- | --- |
"""


def leaves(words: list[str], command: click.Command) -> Iterator[tuple[list[str], click.Command]]:
    """Yield (words, command) of every command that acts."""
    if isinstance(command, click.Group):
        if command.invoke_without_command:
            yield words, command
        for name, inner in sorted(command.commands.items()):
            yield from leaves([*words, name], inner)
    else:
        yield words, command


def commands() -> str:
    """Return one row a command: its words, arguments and options, and the first sentence of its help."""
    rows = ["\n## Commands\n", "| command | options | what it does |", "| --- | --- | --- |"]
    context = click.Context(cli)
    for name in sorted(COMMANDS):
        command = cli.get_command(context, name)
        assert command is not None, name
        for words, leaf in leaves([name], command):
            given = [p.make_metavar(context) for p in leaf.params if isinstance(p, click.Argument)]
            options = [
                p.opts[-1]
                for p in leaf.params
                if isinstance(p, click.Option) and p.opts[-1] != "--json"
            ]
            text = " ".join((leaf.help or "").split("\n\n")[0].split()).replace("|", "\\|")
            shown = " ".join(f"`{option}`" for option in options)
            rows.append(f"| `{shown_words(words, given)}` | {shown} | {text} |")
    return "\n".join(rows) + "\n"


def shown_words(words: list[str], given: list[str]) -> str:
    """Return `rimward WORDS ARGUMENTS` with bars escaped for a table."""
    return " ".join(["rimward", *words, *given]).replace("|", chr(92) + "|")


def settings_table() -> str:
    """Return one row a setting, as `rimward config` knows them."""
    rows = [
        f"| `{s.name}` | `{s.variable}` | {s.says} | {s.default} |"
        for s in settings.SETTINGS.values()
    ]
    return (
        SETTINGS_HEAD
        + "\n".join(
            [
                *rows,
                f"| | `{settings.FILE_VARIABLE}` | the settings file itself | the platform's place for settings |",
            ]
        )
        + "\n"
    )


def library() -> str:
    """Return one row a public name of the library rooms, with the first line of its docstring."""
    rows = [
        "\n## Library\n",
        "What a room's `__all__` names keeps its meaning; the rest may change. Each room has a tested example in its docstring.\n",
        "| name | meaning |",
        "| --- | --- |",
    ]
    for room in LIBRARY:
        module = importlib.import_module(f"rimward.{room}")
        for name in module.__all__:
            lines = (inspect.getdoc(getattr(module, name)) or "").splitlines()
            rows.append(
                f"| `rimward.{room}.{name}` | {(lines[0] if lines else '').replace('|', chr(92) + '|')} |"
            )
    return "\n".join(rows) + "\n"


def page() -> str:
    """Return the whole page as Markdown."""
    return HEAD + commands() + settings_table() + library()


if __name__ == "__main__":
    if "--write" in sys.argv:
        PAGE.write_text(page(), encoding="utf-8")
    else:
        print(page())
