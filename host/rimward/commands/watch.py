"""`rimward watch`: an inflator's pressure, ceiling and state, live."""

import time

import click

from rimward.commands._port import json_option, port_option
from rimward.output import console


@click.command()
@port_option
@click.option("--rate", default=10, show_default=True, type=click.IntRange(1, 50), help="Readings a second.")
@click.option("--seconds", type=float, help="Stop after so long; else until interrupted.")
@json_option
def command(port: str, rate: int, seconds: float | None, as_json: bool) -> None:
    """Show live pressure, ceiling and state. With --json one object a line."""
    from rich.live import Live

    from rimward.link.live import Watcher
    from rimward.link.ports import open_client

    end = time.monotonic() + seconds if seconds else None
    with open_client(port, hold=False, reconnect_s=10.0) as client:
        watcher = Watcher(client, rate)
        try:
            if as_json:
                for row in watcher.rows(end):
                    click.echo(watcher.json_line(row))
            else:
                with Live(console=console, auto_refresh=False) as live:
                    for row in watcher.rows(end):
                        live.update(watcher.panel(row), refresh=True)
        except KeyboardInterrupt:
            pass
        finally:
            watcher.stop()
