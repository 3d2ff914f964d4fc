"""`rimward demo`: the whole job on an invented wheel."""

from pathlib import Path

import click

from rimward.base.output import console, emit_json, progress_console


@click.command()
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("rimward-demo"),
    show_default=True,
    help="Folder for what it writes.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON.")
def command(out: Path, as_json: bool) -> None:
    """Run the whole job on an invented wheel, then try five ways to exceed its ceiling.

    Computes the ceiling, sends the profile to a virtual inflator whose firmware runs on MicroPython, fills the tyre, pulls the session,
    replays it and draws it. Writes profile.rwp, session.rws, fill.png and summary.json.
    """
    from rimward.simulation.demo import run_demo

    tell = progress_console.print if as_json else console.print
    summary = run_demo(out, lambda line: tell(line, markup=False))
    if as_json:
        emit_json(summary)
    else:
        console.print(f"Everything held. Files are in {out}/.", markup=False)
