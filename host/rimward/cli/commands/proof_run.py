"""`rimward proof run` and `finish`: a test on the bench."""

import signal
from dataclasses import replace
from pathlib import Path

import click

from rimward.base.errors import Refusal
from rimward.base.output import console, emit_json, progress_console
from rimward.cli.commands._proof import (
    FILE,
    MEDIUM,
    RETENTION_ONLY,
    SPECIMEN,
    need_proof_extra,
    one_end,
)
from rimward.limits.ceiling import Rim, Tyre
from rimward.limits.volume import volumes


@click.command("run")
@click.option(
    "--port", metavar="PORT", help="Serial port of the bench; `rimward inflators` lists it."
)
@click.option(
    "--virtual", is_flag=True, help="On a virtual bench, with a virtual person behind the screen."
)
@click.option(
    "--label",
    required=True,
    help="Name of the specimen as marked on rim and tyre; at most 16 letters.",
)
@SPECIMEN
@MEDIUM
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="NAME=VALUE",
    help="A column of the row, as batch=FW-12 or rim_id=R0117; kept in the record.",
)
@click.option(
    "--air-l",
    type=click.FloatRange(0.05, 60),
    help="Air behind the chuck, L: the transfer bottle's if not given; with --medium air the tyre's.",
)
@RETENTION_ONLY
@click.option(
    "--to",
    "top",
    metavar="PRESSURE",
    help="Where the release ramp ends: the bench's own end if not given.",
)
@click.option(
    "--thinned",
    is_flag=True,
    help="Accept that the bench's own record keeps only every eighth sample of what this computer has on disk: for tests that are longer "
    "than its memory holds at the full rate.",
)
@click.option(
    "--blow-off", metavar="PRESSURE", help="With --virtual: where the virtual tyre leaves its rim."
)
@click.option("--slip", metavar="PRESSURE", help="With --virtual: where a bead of it slips.")
@click.option("--leak", metavar="PRESSURE", help="With --virtual: where it begins to leak.")
@click.option(
    "--seconds",
    type=click.FloatRange(0, 3600),
    help="With --virtual: time constant of the leak, or of a slow --blow-off.",
)
@click.option(
    "-o",
    "--output",
    type=click.Path(file_okay=False, path_type=Path),
    default=Path("."),
    help="Folder for session, row and the bench's own record.",
)
@click.option(
    "--json",
    "as_json",
    is_flag=True,
    help="One JSON document on standard output; progress on standard error.",
)
def run_command(
    port: str | None, virtual: bool, label: str, rim_text: str, rim_max: str, tyre_text: str, tyre_max: str, medium: str,
    columns: tuple[str, ...], air_l: float | None, retention_only: bool, top: str | None, thinned: bool, blow_off: str | None, slip: str | None,
    leak: str | None, seconds: float | None, output: Path, as_json: bool,
) -> None:  # fmt: skip
    """Run a test on the proof bench: seat, limit, 110 % for 5 minutes, then steps of 0.25 bar a minute until release.

    A person holds the run control behind the screen the whole time; releasing it, or the end of this command, stops the air and vents.
    """
    if bool(port) == virtual:
        raise click.UsageError("Give --port of the bench, or --virtual.")
    one_end(retention_only, top)
    acts = {"blow-off": blow_off, "slip": slip, "leak": leak}
    for name, pressure in acts.items():
        if pressure and not virtual:
            raise click.UsageError(f"--{name} is for --virtual: a real tyre decides itself.")
    if medium == "air" and not air_l:
        raise click.UsageError("With --medium air give the tyre's volume with --air-l.")
    need_proof_extra()
    from rimward.proof import bench, run, show, stated
    from rimward.proof.specimen import Specimen

    rim, tyre = Rim.parse(rim_text, rim_max), Tyre.parse(tyre_text, max_text=tyre_max)
    test = replace(
        bench.test_of(label, rim, tyre, None if retention_only else top or "", air_l, medium),
        columns=stated.parse(columns),
        thinned=thinned,
    )
    tyre_ml = round(volumes(test.tyre_width_mm, test.bead_seat_mm, rim.inner_mm).nominal_l * 1000)
    for line in show.before_run(test, medium):
        progress_console.print(line, markup=False)
    tell = show.teller(progress_console, test)
    signal.signal(signal.SIGTERM, _interrupt)
    if not port:
        specimen = Specimen(tyre_ml)
        for name, pressure in acts.items():
            if pressure:
                specimen.add(name, pressure, seconds or 0.0)
        found = run.run_virtual(test, output, tell, specimen=specimen)
    else:
        found = run.run_port(port, test, output, tell)
    if as_json:
        emit_json(found)
    else:
        show.run(found, console)
    if found["ended"] == "stopped":
        raise Refusal(
            f"The test was stopped ({found['reason']}); what was recorded is saved.",
            "Read the cause on the bench, correct it, then test a new specimen.",
        )


def _interrupt(_signal: int, _frame: object) -> None:
    """Handle a request to end as an interrupt: the samples received are first made a row."""
    raise KeyboardInterrupt


@click.command("finish")
@click.argument("file", type=FILE)
@click.option(
    "--port",
    metavar="PORT",
    help="Serial port of the bench that ran the test; without it the samples heard live are all there is.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
def finish_command(file: Path, port: str | None, as_json: bool) -> None:
    """Complete an interrupted test from its FILE.json: pull the bench's record, join it with the live samples, write the row."""
    need_proof_extra()
    from rimward.device.link.ports import open_client
    from rimward.proof import run, show
    from rimward.wheels import keys

    ring = keys.load("bench")
    if port:
        with open_client(port, reconnect_s=run.RECONNECT_S) as client:
            found = run.finish(file, client, ring)
    else:
        found = run.finish(file, None, ring)
    if as_json:
        emit_json(found)
    else:
        show.run(found, console)
