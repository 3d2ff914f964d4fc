"""`rimward proof`: plan and run retention and release tests, analyse and join their results."""

import signal
from pathlib import Path

import click

from rimward import units
from rimward.errors import Refusal
from rimward.output import console, emit_json, progress_console

FILE = click.Path(exists=True, dir_okay=False, path_type=Path)


class Share(click.ParamType):
    """A share such as 0.95."""

    name = "share"

    def convert(self, value, param, ctx):
        try:
            share = float(value)
        except ValueError:
            self.fail(f"'{value}' is not a number. Write 0.95 for 95 %.", param, ctx)
        if not 0.5 <= share <= 0.9999:
            self.fail(f"{value} is out of range. Write a share from 0.5 to 0.9999, such as 0.95 for 95 %.", param, ctx)
        return share


@click.group()
def command() -> None:
    """Plan, run and analyse retention and release tests.

    Local codes, the makers' instructions and a qualified person come first. Nobody stands in the plane of the wheel.
    """


@command.command("plan")
@click.option("--rim", "rim_text", required=True, metavar="SIZE", help="Rim size and type, such as 622x23TSS; type ? when unknown.")
@click.option("--rim-max", required=True, metavar="PRESSURE", help="Maximum marked on the rim, such as '5 bar'.")
@click.option("--tyre", "tyre_text", required=True, metavar="SIZE", help="Tyre size, such as 28-622.")
@click.option("--tyre-max", required=True, metavar="PRESSURE", help="Maximum marked on the tyre.")
@click.option("--recommended", metavar="PRESSURE", help="Recommended pressure marked on the tyre, which 16 CFR 1512.10 counts from.")
@click.option("--volume-l", type=click.FloatRange(0, 200, min_open=True), help="Volume of the tyre, when measured; otherwise the high estimate.")
@click.option("--medium", type=click.Choice(["water", "air"]), default="water", show_default=True, help="What fills the tyre.")
@click.option("--retention-only", is_flag=True, help="Stop after the 110 % hold.")
@click.option("--to", "top", metavar="PRESSURE", help="Where the release ramp ends. Twice the limit if not given, or the bench's own end where that is lower.")
@click.option("--step", default="0.25 bar", show_default=True, metavar="PRESSURE", help="Step of the release ramp.")
@click.option("--step-hold", default=60, show_default=True, type=click.IntRange(1, 86_400), metavar="SECONDS", help="Hold at each step.")
@click.option("--ramp", default=5.0, show_default=True, type=click.FloatRange(0, 1000, min_open=True), metavar="KPA_S", help="Rise between steps, kPa/s.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
def plan_command(rim_text, rim_max, tyre_text, tyre_max, recommended, volume_l, medium, retention_only, top, step, step_hold, ramp, as_json) -> None:
    """Steps, stored energy, stand-off and protection for one retention or release test."""
    _one_end(retention_only, top)
    _need_proof_extra()
    from rimward.ceiling import Rim, Tyre
    from rimward.proof import plan, reach, show
    from rimward.volume import volumes

    rim, tyre = Rim.parse(rim_text, rim_max), Tyre.parse(tyre_text, max_text=tyre_max)
    if rim.max_pa is None or tyre.max_pa is None:
        raise Refusal("A maximum is not readable.", "Write it as '5 bar' or '72.5 psi'.")
    reach.check_pair(rim, tyre)
    if tyre.bead_seat_mm is None and volume_l is None:
        raise Refusal("The tyre's bead seat is not known, so neither is its volume.", "Write the size as 28-622, or give --volume-l.")
    want = plan.Want(
        rim_max_pa=rim.max_pa,
        tyre_max_pa=tyre.max_pa,
        volume_l=volume_l or volumes(tyre.width_mm, tyre.bead_seat_mm or 622, rim.inner_mm).high_l,
        straight_side=rim.straight_side,
        recommended_pa=units.parse_pressure(recommended) if recommended else None,
        medium=medium,
        release=not retention_only,
        step_pa=units.parse_pressure(step),
        step_hold_s=step_hold,
        ramp_kpa_s=ramp,
        top_pa=units.parse_pressure(top) if top else None,
    )
    made = plan.plan(want)
    if as_json:
        emit_json(made)
    else:
        show.plan(made, console)


@command.command("run")
@click.option("--port", metavar="PORT", help="Serial port of the bench; `rimward inflators` lists it.")
@click.option("--virtual", is_flag=True, help="On a virtual bench, with a virtual person behind the screen.")
@click.option("--label", required=True, help="Name of the specimen, as it stands on rim and tyre; at most 20 letters.")
@click.option("--rim", "rim_text", required=True, metavar="SIZE", help="Rim size and type, such as 622x23TSS; type ? when unknown.")
@click.option("--rim-max", required=True, metavar="PRESSURE", help="Maximum marked on the rim, such as '5 bar'.")
@click.option("--tyre", "tyre_text", required=True, metavar="SIZE", help="Tyre size, such as 28-622.")
@click.option("--tyre-max", required=True, metavar="PRESSURE", help="Maximum marked on the tyre.")
@click.option("--medium", type=click.Choice(["water", "air"]), default="water", show_default=True, help="What fills the tyre.")
@click.option("--air-l", type=click.FloatRange(0.05, 60), help="Air behind the chuck, L: the transfer bottle's if not given; with --medium air the tyre's.")
@click.option("--retention-only", is_flag=True, help="Stop after the 110 % hold.")
@click.option("--to", "top", metavar="PRESSURE", help="Where the release ramp ends: the bench's own end if not given.")
@click.option("--blow-off", metavar="PRESSURE", help="With --virtual: where the virtual tyre leaves its rim.")
@click.option("--slip", metavar="PRESSURE", help="With --virtual: where a bead of it slips.")
@click.option("--leak", metavar="PRESSURE", help="With --virtual: where it begins to leak.")
@click.option("--seconds", type=click.FloatRange(0, 3600), help="With --virtual: time constant of the leak, or of a slow --blow-off.")
@click.option("-o", "--output", type=click.Path(file_okay=False, path_type=Path), default=Path("."), help="Folder for session, row and the bench's own record.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output; progress on standard error.")
def run_command(port, virtual, label, rim_text, rim_max, tyre_text, tyre_max, medium, air_l, retention_only, top, blow_off, slip, leak, seconds, output, as_json) -> None:
    """Run a test on the proof bench: seat, limit, 110 % for 5 minutes, then steps of 0.25 bar a minute until it lets go.

    A person holds the run control behind the screen the whole time; letting go, or this command ending, stops the air and vents.
    """
    if bool(port) == virtual:
        raise click.UsageError("Give --port of the bench, or --virtual.")
    _one_end(retention_only, top)
    acts = {"blow-off": blow_off, "slip": slip, "leak": leak}
    for name, pressure in acts.items():
        if pressure and not virtual:
            raise click.UsageError(f"--{name} is for --virtual: a real tyre decides itself.")
    if medium == "air" and not air_l:
        raise click.UsageError("With --medium air give the tyre's volume with --air-l.")
    _need_proof_extra()
    from rimward.ceiling import Rim, Tyre
    from rimward.proof import bench, run, show
    from rimward.proof.specimen import Specimen
    from rimward.volume import volumes

    rim, tyre = Rim.parse(rim_text, rim_max), Tyre.parse(tyre_text, max_text=tyre_max)
    test = bench.test_of(label, rim, tyre, None if retention_only else top or "", air_l, medium)
    tyre_ml = round(volumes(test.tyre_width_mm, test.bead_seat_mm, rim.inner_mm).nominal_l * 1000)
    for line in show.before_run(test, medium):
        progress_console.print(line, markup=False)
    tell = show.teller(progress_console, test)
    signal.signal(signal.SIGTERM, _interrupt)
    if virtual:
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
        raise Refusal(f"The test was stopped ({found['reason']}); what was recorded is saved.", "Read the cause on the bench, correct it, then test a new specimen.")


def _interrupt(_signal: int, _frame: object) -> None:
    """A request to end is an interrupt: what was heard is made a row first."""
    raise KeyboardInterrupt


@command.command("finish")
@click.argument("file", type=FILE)
@click.option("--port", metavar="PORT", help="Serial port of the bench that ran the test; without it the samples heard live are all there is.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
def finish_command(file, port, as_json) -> None:
    """Complete an interrupted test from its FILE.json: fetch the bench's record, join it with what was heard live, write the row."""
    _need_proof_extra()
    from rimward import keys
    from rimward.link.ports import open_client
    from rimward.proof import run, show

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


@command.command("analyse")
@click.argument("files", nargs=-1, required=True, type=FILE)
@click.option("--coverage", type=Share(), default=0.95, show_default=True, help="Part of the batch that the bound holds for.")
@click.option("--confidence", type=Share(), default=0.95, show_default=True, help="How sure the bound is.")
@click.option("--gauge-u", metavar="PRESSURE", help="Expanded uncertainty U (k = 2) of the gauge; a column gauge_u_bar goes by row.")
@click.option("--effect", "effects", multiple=True, metavar="COLUMN", help="Column for a linear effect; all that vary if not given.")
@click.option("--unverified", is_flag=True, help="Count session files too whose chain does not fit the bench key of this computer; each is marked.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
@click.option("-o", "--output", type=click.Path(dir_okay=False, path_type=Path), help="Write a report as one HTML file.")
def analyse_command(files, coverage, confidence, gauge_u, effects, unverified, as_json, output) -> None:
    """What the samples in FILES show of the margin between limit and release."""
    if output and output.suffix.lower() not in (".html", ".htm"):
        raise click.UsageError(f"{output.name}: only HTML reports are written. Name the file report.html.")
    _need_proof_extra()
    from rimward.proof import analyse, bounds, load, show
    from rimward.proof.effects import COLUMNS

    unknown = [column for column in effects if column not in COLUMNS]
    if unknown:
        raise click.UsageError(f"--effect {unknown[0]} is no numeric column. Choose from {', '.join(COLUMNS)}.")
    ask = bounds.Ask(coverage, confidence, units.parse_pressure(gauge_u, up=True) if gauge_u else None)
    samples = load.read_files(list(files), unverified)
    found = analyse.analyse(samples, ask, list(dict.fromkeys(effects)))
    if output:
        from rimward.proof import report

        _write(output, report.html(found, samples))
    if as_json:
        emit_json(found)
    else:
        show.analysis(found, console)


@command.command("merge")
@click.argument("files", nargs=-1, required=True, type=FILE)
@click.option("-o", "--output", type=click.Path(dir_okay=False, path_type=Path), help="Write the joined CSV here instead of standard output.")
@click.option("--json", "as_json", is_flag=True, help="What was found, as JSON on standard output; needs -o.")
def merge_command(files, output, as_json) -> None:
    """Join FILES into one CSV, leave out repeated rows and point at suspects."""
    if as_json and not output:
        raise click.UsageError("--json needs -o, since standard output cannot hold both. Add -o joined.csv.")
    from rimward.proof import load, merge, show

    merged = merge.merge(load.read_files(list(files)))
    text = merge.to_csv(merged.samples)
    if output:
        _write(output, text)
    else:
        click.echo(text, nl=False)
    if as_json:
        emit_json(merge.as_json(merged))
    else:
        show.merged(merge.as_json(merged), progress_console)


@command.command("schema")
@click.option("--json", "as_json", is_flag=True, help="The published metadata document (W3C CSV on the Web).")
def schema_command(as_json) -> None:
    """The columns of a proof CSV file, for labs that exchange data."""
    from rimward.proof import schema

    if as_json:
        emit_json(schema.document())
    else:
        click.echo(schema.text())


def _one_end(retention_only: bool, top: str | None) -> None:
    if retention_only and top:
        raise click.UsageError("--to is where a release ramp ends, and --retention-only has none. Give one of them.")


def _need_proof_extra() -> None:
    try:
        import jinja2  # noqa: F401
        import matplotlib  # noqa: F401
        import scipy  # noqa: F401
    except ImportError as missing:
        raise Refusal(f"The proof bench needs {missing.name}.", "Install it with: pip install 'rimward[proof]'") from None


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as wrong:
        raise Refusal(f"{path.name} cannot be written ({wrong.strerror}).", "Choose another place with -o.") from None
