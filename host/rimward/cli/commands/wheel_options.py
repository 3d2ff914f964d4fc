"""Options shared by several commands: markings of rim and tyre, place of the fill and ride, and the register."""

import contextlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from rimward.base.errors import Refusal

F = TypeVar("F", bound=Callable[..., Any])

RIM_AND_TYRE = (
    click.option(
        "--rim", metavar="SIZE", help="Rim, as 622x23TSS; 622x23? where the type is unknown."
    ),
    click.option("--rim-max", metavar="PRESSURE", help="Maximum marked on the rim, as '5 bar'."),
    click.option("--tyre", metavar="SIZE", help="Tyre, as 28-622."),
    click.option("--tyre-range", metavar="RANGE", help="Range printed on the tyre, as '4-6 bar'."),
    click.option("--tyre-min", metavar="PRESSURE", help="Minimum printed on the tyre."),
    click.option("--tyre-max", metavar="PRESSURE", help="Maximum printed on the tyre."),
    click.option(
        "--approved",
        type=click.Choice(["yes", "no", "unknown"]),
        help="Is the tyre approved for straight-side rims?",
    ),
    click.option(
        "--bead", type=click.Choice(["rigid", "folding", "unknown"]), help="Bead of the tyre."
    ),
    click.option(
        "--air",
        type=click.Choice(["tube", "tubeless", "unknown"]),
        help="With an inner tube or without.",
    ),
)

ABOUT_WHEEL = (
    click.option(
        "--position", type=click.Choice(["front", "rear", "any"]), help="Front or rear wheel."
    ),
    click.option(
        "--chuck", type=click.Choice(["pin-open", "pressure-open"]), help="Which chuck fills it."
    ),
)

OVERWRITE = click.option("--overwrite", is_flag=True, help="Replace that file.")
DATABASE = click.option(
    "--database", metavar="URL", help="Register elsewhere: a file, or postgresql://USER@HOST/NAME."
)


def _note_create(context: click.Context, _parameter: click.Parameter, wanted: bool) -> None:
    context.meta[CREATE_ASKED] = wanted


CREATE_ASKED = "rimward.create"
CREATE = click.option(
    "--create",
    is_flag=True,
    expose_value=False,
    callback=_note_create,
    help="Make the register that --database names.",
)
JSON = click.option("--json", "as_json", is_flag=True, help="Machine-readable output.")
WHO = click.option(
    "--by", "who", default="", metavar="NAME", help="Who enters this (default: the login name)."
)


def options(*groups: Any) -> Callable[[F], F]:
    """Add options, or tuples of them, to a command in the order given."""
    flat = [one for group in groups for one in (group if isinstance(group, tuple) else (group,))]

    def add(command: F) -> F:
        for one in reversed(flat):
            command = one(command)
        return command

    return add


@contextlib.contextmanager
def register(database: str | None) -> Any:
    """Register, closed at the end; created with --create."""
    from rimward.wheels.register import open_register

    context = click.get_current_context(silent=True)
    create = bool(context and context.meta.get(CREATE_ASKED))
    with contextlib.closing(open_register(database, create)) as opened:
        yield opened


def stated(**values: Any) -> dict[str, Any]:
    """Options that were given, by field name."""
    return {name: value for name, value in values.items() if value is not None}


def new_file(
    path: Path, overwrite: bool, fix: str = "Give another name with -o, or add --overwrite."
) -> Path:
    """Raise Refusal with `fix` for a file that exists, unless overwriting was requested."""
    if path.exists() and not overwrite:
        raise Refusal(f"{path} exists already.", fix)
    return path
