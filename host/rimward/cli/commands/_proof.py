"""What the proof commands share: the type of a share, files, and checks."""

from pathlib import Path

import click

from rimward.base.errors import Refusal
from rimward.cli.commands.wheel_options import options

SPECIMEN = options(
    click.option(
        "--rim",
        "rim_text",
        required=True,
        metavar="SIZE",
        help="Rim size and type, such as 622x23TSS; type ? when unknown.",
    ),
    click.option(
        "--rim-max",
        required=True,
        metavar="PRESSURE",
        help="Maximum marked on the rim, such as '5 bar'.",
    ),
    click.option(
        "--tyre", "tyre_text", required=True, metavar="SIZE", help="Tyre size, such as 28-622."
    ),
    click.option(
        "--tyre-max", required=True, metavar="PRESSURE", help="Maximum marked on the tyre."
    ),
)
MEDIUM = click.option(
    "--medium",
    type=click.Choice(["water", "air"]),
    default="water",
    show_default=True,
    help="What fills the tyre.",
)
RETENTION_ONLY = click.option("--retention-only", is_flag=True, help="Stop after the 110 % hold.")
FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


def one_end(retention_only: bool, top: str | None) -> None:
    """Refuse a ramp's end for a test without a ramp."""
    if retention_only and top:
        raise click.UsageError(
            "--to is where a release ramp ends, and --retention-only has none. Give one of them."
        )


def need_proof_extra() -> None:
    """Raise Refusal when a package of the extra `proof` is missing."""
    try:
        import jinja2  # noqa: F401
        import matplotlib  # noqa: F401
        import scipy  # noqa: F401
    except ImportError as missing:
        raise Refusal(
            f"The proof bench needs {missing.name}.",
            "Install it with: pip install 'rimward[proof]'",
        ) from None


def write_text(path: Path, text: str) -> None:
    """Write a file. Raises Refusal where it cannot be written."""
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as wrong:
        raise Refusal(
            f"{path.name} cannot be written ({wrong.strerror}).", "Choose another place with -o."
        ) from None
