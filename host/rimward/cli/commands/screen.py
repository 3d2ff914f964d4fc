"""`rimward screen`: display of an inflator."""

import sys
from pathlib import Path

import click

from rimward.base.output import console, emit_json, takes_all
from rimward.cli.commands._port import json_option, port_option


@click.command()
@port_option
@click.option(
    "--png",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="FILE",
    help="Write the picture there.",
)
@json_option
def command(port: str, png: Path | None, as_json: bool) -> None:
    """Show the picture on an inflator's display. With --json its name and texts."""

    from rimward.device.link.ports import open_client
    from rimward.device.link.screen import drawn, read_screen, write_png

    with open_client(port, hold=False) as client:
        shown = read_screen(client)
    if png is not None:
        write_png(shown.frame, png)
    if as_json:
        emit_json(
            {
                "screen": shown.name,
                "lines": list(shown.lines),
                "frame": shown.frame.hex(),
                "png": str(png) if png else None,
            }
        )
    elif png is not None:
        console.print(f"Picture of screen {shown.name} written to {png}.", markup=False)
    else:
        for line in drawn(shown.frame, console.width, takes_all(sys.stdout)):
            console.print(line, markup=False)
