"""Options shared by every command that talks to an inflator."""

import functools
from collections.abc import Callable
from typing import Any

import click

from rimward.base import settings


def port_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add `--port`; default: the setting `port`, else the port of the only inflator present.

    Looked up when the command runs, so that wrong usage is reported first.
    """

    @functools.wraps(command)
    def with_port(*, port: str | None, **given: Any) -> Any:
        return command(port=port or default_port(), **given)

    text = "Serial port of the inflator. Default: RIMWARD_PORT, else the only inflator present."
    return click.option("--port", metavar="PORT", help=text)(with_port)


def default_port() -> str:
    """Return the setting `port`, else the port of the only inflator present. Refusal without one."""
    from rimward.device.link.ports import only_inflator

    return settings.value("port") or only_inflator()


json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


def tell(text: str) -> None:
    """Print an instruction on standard error, so that JSON on standard output stays complete."""
    click.echo(text, err=True)
