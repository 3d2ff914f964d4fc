"""The options that every command talking to an inflator shares."""

import click


def _chosen(_context: click.Context, _parameter: click.Parameter, stated: str | None) -> str:
    """The port stated, else the setting `port`, else that of the only inflator present."""
    from rimward import settings
    from rimward.link.ports import only_inflator

    port = stated or settings.value("port")
    if port is not None:
        return port
    return only_inflator()


port_option = click.option(
    "--port", callback=_chosen, metavar="PORT", help="Serial port of the inflator. Default: RIMWARD_PORT, else the only inflator present."
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")
