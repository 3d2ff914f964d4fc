"""`rimward proof analyse` and `merge`: samples of several tests together."""

from pathlib import Path
from typing import Any

import click

from rimward.base import units
from rimward.base.output import console, emit_json, progress_console
from rimward.cli.commands._proof import FILE, need_proof_extra, write_text


class Share(click.ParamType):  # type: ignore[type-arg]
    """A share such as 0.95."""

    name = "share"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Parse and check the value, as click requires."""
        try:
            share = float(value)
        except ValueError:
            self.fail(f"'{value}' is not a number. Write 0.95 for 95 %.", param, ctx)
        if not 0.5 <= share <= 0.9999:
            self.fail(
                f"{value} is out of range. Write a share from 0.5 to 0.9999, such as 0.95 for 95 %.",
                param,
                ctx,
            )
        return share


@click.command("analyse")
@click.argument("files", nargs=-1, required=True, type=FILE)
@click.option(
    "--coverage",
    type=Share(),
    default=0.95,
    show_default=True,
    help="Part of the batch that the bound holds for.",
)
@click.option(
    "--confidence", type=Share(), default=0.95, show_default=True, help="How sure the bound is."
)
@click.option(
    "--gauge-u",
    metavar="PRESSURE",
    help="Expanded uncertainty U (k = 2) of the gauge; a column gauge_u_bar goes by row.",
)
@click.option(
    "--effect",
    "effects",
    multiple=True,
    metavar="COLUMN",
    help="Column for a linear effect; all that vary if not given.",
)
@click.option(
    "--unverified",
    is_flag=True,
    help="Count session files too whose chain does not fit the bench key of this computer; each is marked.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
@click.option(
    "-o",
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write a report as one HTML file.",
)
def analyse_command(
    files: tuple[Path, ...], coverage: float, confidence: float, gauge_u: str | None, effects: tuple[str, ...], unverified: bool,
    as_json: bool, output: Path | None,
) -> None:  # fmt: skip
    """Analyse the margin between limit and release of the samples in FILES."""
    if output and output.suffix.lower() not in (".html", ".htm"):
        raise click.UsageError(
            f"{output.name}: only HTML reports are written. Name the file report.html."
        )
    need_proof_extra()
    from rimward.proof import analyse, bounds, reading, show
    from rimward.proof.effects import COLUMNS

    unknown = [column for column in effects if column not in COLUMNS]
    if unknown:
        raise click.UsageError(
            f"--effect {unknown[0]} is no numeric column. Choose from {', '.join(COLUMNS)}."
        )
    ask = bounds.Ask(
        coverage, confidence, units.parse_pressure(gauge_u, up=True) if gauge_u else None
    )
    samples = reading.read_files(list(files), unverified)
    found = analyse.analyse(samples, ask, list(dict.fromkeys(effects)))
    if output:
        from rimward.proof import report

        write_text(output, report.html(found, samples))
    if as_json:
        emit_json(found)
    else:
        show.analysis(found, console)


@click.command("merge")
@click.argument("files", nargs=-1, required=True, type=FILE)
@click.option(
    "-o",
    "--output",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the joined CSV here instead of standard output.",
)
@click.option(
    "--json", "as_json", is_flag=True, help="What was found, as JSON on standard output; needs -o."
)
def merge_command(files: tuple[Path, ...], output: Path | None, as_json: bool) -> None:
    """Join FILES into one CSV, leave out repeated rows and report suspects."""
    if as_json and not output:
        raise click.UsageError(
            "--json needs -o, since standard output cannot hold both. Add -o joined.csv."
        )
    from rimward.proof import merge, reading, show

    merged = merge.merge(reading.read_files(list(files)))
    text = merge.to_csv(merged.samples)
    if output:
        write_text(output, text)
    else:
        click.echo(text, nl=False)
    if as_json:
        emit_json(merge.as_json(merged))
    else:
        show.merged(merge.as_json(merged), progress_console)
