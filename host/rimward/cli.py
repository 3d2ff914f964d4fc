"""The `rimward` command: a table of commands, loaded only when asked for."""

import importlib
import sys

import click

from rimward import __version__
from rimward.errors import Refusal

# name -> (module, one line of help). Loaded lazily so that no command pays for another's imports.
COMMANDS = {
    "calibrate": ("rimward.commands.calibrate", "An inflator against a reference gauge."),
    "campaign": ("rimward.commands.campaign", "Very many simulated fills, and what they did."),
    "cartridge": ("rimward.commands.cartridge", "What a gas cartridge leaves in this tyre."),
    "ceiling": ("rimward.commands.ceiling", "What pressure this rim with this tyre may have."),
    "demo": ("rimward.commands.demo", "Do the whole job on an invented wheel, and try to break it."),
    "inflators": ("rimward.commands.inflators", "Serial ports with an inflator behind them."),
    "install": ("rimward.commands.install", "Put the firmware on a board."),
    "key": ("rimward.commands.key", "The workshop key that tags profiles."),
    "preset": ("rimward.commands.preset", "A rider's front and rear targets for a ride."),
    "profile": ("rimward.commands.profile", "Make, show, list and send wheel profiles."),
    "proof": ("rimward.commands.proof", "Plan and analyse retention and release tests."),
    "replay": ("rimward.commands.replay", "Run a recorded session through the real kernels."),
    "report": ("rimward.commands.report", "A fill or a wheel's history as HTML or PDF."),
    "ride": ("rimward.commands.ride", "What a fill reads across temperature and altitude."),
    "rim-type": ("rimward.commands.rim_type", "Tell a straight-side rim from a crochet one."),
    "serve": ("rimward.commands.serve", "The workshop page, on this computer only."),
    "session": ("rimward.commands.session", "Bring sessions home, show and export them."),
    "tag": ("rimward.commands.tag", "Print and read wheel tags."),
    "virtual": ("rimward.commands.virtual", "Start a virtual inflator."),
    "watch": ("rimward.commands.watch", "Live pressure, ceiling and state."),
    "wheel": ("rimward.commands.wheel", "The register of wheels."),
}


class CommandTable(click.Group):
    """Finds commands in COMMANDS and turns a Refusal into one line and exit code 1."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        return importlib.import_module(COMMANDS[name][0]).command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, COMMANDS[name][1]) for name in sorted(COMMANDS)])


@click.group(cls=CommandTable, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="rimward")
def cli() -> None:
    """Fill a bicycle tyre to a ceiling that the rim can hold, and never past it.

    Wear eye protection, stay out of the plane of the wheel, and let a qualified person decide.
    The maker's own limits and local codes come first.
    """


def main() -> None:
    """Console entry: exit 0 done, 1 refused or failed, 2 wrong usage."""
    try:
        code = cli.main(standalone_mode=False)
        if isinstance(code, int) and code:  # what a command gave to ctx.exit
            sys.exit(code)
    except Refusal as refusal:
        click.echo(f"rimward: {refusal}", err=True)
        sys.exit(1)
    except click.exceptions.Exit as stop:
        sys.exit(stop.exit_code)
    except click.ClickException as wrong:
        wrong.show()
        sys.exit(wrong.exit_code)
    except (click.Abort, KeyboardInterrupt):
        click.echo("rimward: interrupted.", err=True)
        sys.exit(1)
    except BrokenPipeError:
        sys.exit(1)
    except OSError as failed:
        if failed.filename is None:
            raise  # no file of the user's: a defect, to be seen whole
        click.echo(f"rimward: {failed.filename}: {failed.strerror}. Check that path, its rights and the space left, or give another.", err=True)
        sys.exit(1)


if __name__ == "__main__":
    main()
