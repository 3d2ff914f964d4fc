"""`rimward serve`: the workshop page."""

import contextlib
import sys

import click

from rimward.base.output import console, emit_json, progress_console
from rimward.cli.commands.wheel_options import DATABASE


@click.command()
@click.option(
    "--port",
    "serial",
    metavar="PORT",
    help="Serial port of the inflator; without it the only one here is used, or you choose on the page.",
)
@click.option(
    "--host",
    default="127.0.0.1",
    show_default=True,
    help="Address to listen on. Another than this computer's own needs --open-to.",
)
@click.option(
    "--listen",
    default=8477,
    show_default=True,
    type=click.IntRange(0, 65535),
    help="TCP port of the page; 0 takes a free one.",
)
@click.option(
    "--open-to",
    multiple=True,
    metavar="NAME",
    help="A host name by which other devices may open the page. May be given several times.",
)
@click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON line with the address, then run."
)
@DATABASE
def command(
    serial: str | None,
    host: str,
    listen: int,
    open_to: tuple[str, ...],
    as_json: bool,
    database: str | None,
) -> None:
    """Serve the workshop page on this computer. Runs until interrupted, which exits with 0.

    Open the address it prints: its token admits a browser. No page can start the air.
    """
    from rimward.web.serve import Server

    server = Server(serial, host, listen, open_to, database)
    if as_json:
        emit_json({"address": server.address, "host": host, "listen": server.listen})
    else:
        console.print(f"The workshop page is at {server.address}", markup=False)
        console.print("Only who has this address gets in. Interrupt to end it.", markup=False)
        if open_to:
            console.print(
                "Others on this network can reach it: the line is not encrypted. Use it on a network of your own only.",
                markup=False,
            )
    sys.stdout.flush()
    with contextlib.suppress(
        KeyboardInterrupt
    ):  # an interrupt or SIGTERM is the normal end, not a failure
        server.run()
    progress_console.print("The workshop page has ended.")
