"""The options that every command talking to an inflator shares."""

import functools
from collections.abc import Callable
from typing import Any

import click


def port_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Adds `--port`. Where it is not given the command gets the setting `port`, else the port of the only inflator present.

    Looked up when the command runs, so that wrong usage is told first.
    """

    @functools.wraps(command)
    def with_port(*, port: str | None, **given: Any) -> Any:
        return command(port=port or default_port(), **given)

    text = "Serial port of the inflator. Default: RIMWARD_PORT, else the only inflator present."
    return click.option("--port", metavar="PORT", help=text)(with_port)


def default_port() -> str:
    """The setting `port`, else the port of the only inflator present. Refusal where that says none."""
    from rimward import settings
    from rimward.link.ports import only_inflator

    return settings.value("port") or only_inflator()


json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


def tell(text: str) -> None:
    """An instruction on standard error, so that JSON on standard output stays whole."""
    click.echo(text, err=True)
