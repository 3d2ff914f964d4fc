"""The `rimward` command: a table of commands, loaded on demand, and one place that turns every failure into one line."""

import contextlib
import difflib
import errno
import importlib
import os
import sys
from pathlib import Path

import click
from click.shell_completion import shell_complete

from rimward import __version__
from rimward.base import extras, logs, output
from rimward.base.errors import Refusal

COMPLETION = "_RIMWARD_COMPLETE"

# name -> (module, one line of help). Loaded lazily so that no command pays for another's imports.
COMMANDS = {
    "bringup": ("rimward.cli.commands.bringup", "A new board, step by step, without air first."),
    "calibrate": ("rimward.cli.commands.calibrate", "An inflator against a reference gauge."),
    "campaign": ("rimward.cli.commands.campaign", "Very many simulated fills, and what they did."),
    "cartridge": ("rimward.cli.commands.cartridge", "What a gas cartridge leaves in this tyre."),
    "ceiling": ("rimward.cli.commands.ceiling", "What pressure this rim with this tyre may have."),
    "config": ("rimward.cli.commands.config", "Settings that hold for every command."),
    "demo": (
        "rimward.cli.commands.demo",
        "Do the whole job on an invented wheel, and try to break it.",
    ),
    "doctor": ("rimward.cli.commands.doctor", "What is installed, reachable and current."),
    "inflators": ("rimward.cli.commands.inflators", "Serial ports with an inflator behind them."),
    "install": ("rimward.cli.commands.install", "Put the firmware on a board."),
    "key": ("rimward.cli.commands.key", "The workshop key that tags profiles."),
    "preset": ("rimward.cli.commands.preset", "A rider's front and rear targets for a ride."),
    "profile": ("rimward.cli.commands.profile", "Make, show, list and send wheel profiles."),
    "proof": ("rimward.cli.commands.proof", "Plan and analyse retention and release tests."),
    "replay": ("rimward.cli.commands.replay", "Run a recorded session through the real kernels."),
    "report": ("rimward.cli.commands.report", "A fill or a wheel's history as HTML or PDF."),
    "ride": ("rimward.cli.commands.ride", "What a fill reads across temperature and altitude."),
    "rim-type": ("rimward.cli.commands.rim_type", "Tell a straight-side rim from a crochet one."),
    "screen": ("rimward.cli.commands.screen", "What an inflator's display shows."),
    "serve": ("rimward.cli.commands.serve", "The workshop page, on this computer only."),
    "session": ("rimward.cli.commands.session", "Bring sessions home, show and export them."),
    "tag": ("rimward.cli.commands.tag", "Print and read wheel tags."),
    "virtual": ("rimward.cli.commands.virtual", "Start a virtual inflator."),
    "watch": ("rimward.cli.commands.watch", "Live pressure, ceiling and state."),
    "wheel": ("rimward.cli.commands.wheel", "The register of wheels."),
}


class CommandTable(click.Group):
    """Group that finds its commands in COMMANDS."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of all commands."""
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        """Load a command by name; None for an unknown one."""
        if name not in COMMANDS:
            return None
        found: click.Command = importlib.import_module(COMMANDS[name][0]).command
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the table of commands."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, COMMANDS[name][1]) for name in sorted(COMMANDS)])


@click.group(cls=CommandTable, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="rimward")
@click.option(
    "-v",
    "--verbose",
    count=True,
    help="Say on standard error what is done; -vv in detail, with tracebacks.",
)
@click.option(
    "-q", "--quiet", is_flag=True, help="No progress and no notes: results and errors only."
)
@click.option(
    "--log",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Write every frame of the link to FILE, with its time.",
)
def cli(verbose: int, quiet: bool, log: Path | None) -> None:
    """Fill a bicycle tyre to a ceiling that the rim can hold, and never past it.

    Wear eye protection, stay out of the plane of the wheel, and let a qualified person decide.
    The maker's own limits and local codes come first.
    """


def run(words: list[str] | None = None) -> int:
    """Run one command line (the process's by default) and return its exit code.

    Every failure is one line on standard error, `rimward: what. What to do.`; with --json it is an object on standard output as well.
    """
    given = sys.argv[1:] if words is None else words
    output.begin()
    try:
        code = _invoked(given)
        sys.stdout.flush()
        return code
    except BrokenPipeError:
        _drop_output()
        return _print_failure("Whoever read the output has closed it.", "", 1, [])
    except (click.Abort, EOFError):
        return _print_failure("interrupted.", "", 1, given)
    except Exception as failed:
        return _failed(failed, given)


def _invoked(given: list[str]) -> int:
    """Run the command and return its exit code; with the shell's completion variable set it answers the shell instead."""
    if COMPLETION in os.environ:
        return shell_complete(cli, {}, "rimward", COMPLETION, os.environ[COMPLETION])
    try:
        with cli.make_context("rimward", list(given)) as context:
            logs.start(context.params["verbose"], context.params["log"])
            output.progress_console.quiet = context.params["quiet"]
            code = cli.invoke(context)
    except click.exceptions.Exit as stop:
        return stop.exit_code
    except SystemExit as stop:
        code = stop.code
    return code if isinstance(code, int) else 0


def _failed(failed: Exception, given: list[str]) -> int:
    """One line for a failure, and its exit code."""
    if isinstance(failed, Refusal):
        return _print_failure(failed.text, failed.fix, 1, given)
    if isinstance(failed, click.ClickException):
        return _print_failure(failed.format_message(), _next_step(failed), failed.exit_code, given)
    if isinstance(failed, ModuleNotFoundError) and failed.name and extras.extra_of(failed.name):
        return _print_failure(
            f"This command needs {failed.name}.",
            f"Install it: pip install 'rimward[{extras.extra_of(failed.name)}]'.",
            1,
            given,
        )
    if isinstance(failed, OSError) and (failed.filename is not None or failed.errno in DISK):
        _drop_output()
        where = (
            f"{failed.filename}: "
            if failed.filename is not None
            else "The output cannot be written: "
        )
        return _print_failure(
            f"{where}{failed.strerror}.",
            "Check that path, its rights and the space left, or give another.",
            1,
            given,
        )
    if logs.detailed():
        raise failed
    text = f"A defect in Rimward, {type(failed).__name__}: {' '.join(str(failed).split())[:200]}."
    return _print_failure(
        text, "Please report it with what `rimward -vv COMMAND` prints.", 1, given
    )


DISK = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EROFS)


def _print_failure(text: str, fix: str, code: int, given: list[str]) -> int:
    """Print a failure; return its exit code."""
    if text and text[-1] not in ".!?:":
        text += "."
    line = " ".join(f"{text} {fix}".split())
    click.echo(f"rimward: {line}", err=True)
    if "--json" in given and not output.json_printed():
        output.emit_json_line({"refused": text, "fix": fix, "exit_code": code})
    return code


def _next_step(wrong: click.ClickException) -> str:
    """Return what to type instead: a command of similar name, else the help."""
    context = getattr(wrong, "ctx", None)
    path = context.command_path if context is not None else "rimward"
    if "Did you mean" in wrong.format_message():
        return ""
    word = next((w for w in _unknown_words(wrong)), None)
    if word is not None and context is not None and isinstance(context.command, click.Group):
        below = _groups_with(word, context)
        near = difflib.get_close_matches(word, context.command.list_commands(context), 1, 0.5)
        if below or near:
            return "Did you mean " + " or ".join(f"'{path} {name}'" for name in below or near) + "?"
    return f"See '{path} --help'."


def _groups_with(word: str, context: click.Context) -> list[str]:
    """Commands of which `word` is a subcommand, as `wheel backup`; completion of the shell is no command, the reference says how to switch it on."""
    table = context.command
    if not isinstance(table, CommandTable):
        return []
    groups = ((name, table.get_command(context, name)) for name in COMMANDS)
    return [
        f"{name} {word}"
        for name, group in groups
        if isinstance(group, click.Group) and word in group.commands
    ]


def _unknown_words(wrong: click.ClickException) -> list[str]:
    """Return the word of `No such command 'word'.`"""
    parts = wrong.format_message().split("'")
    return parts[1:2] if parts[0].startswith("No such command") else []


def _drop_output() -> None:
    """Drop buffered output of a closed or full stream, so that it is not tried again at exit."""
    with contextlib.suppress(OSError):  # a stream without a file
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
