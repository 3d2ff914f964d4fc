"""`rimward campaign`: very many simulated sessions."""

import sys
from pathlib import Path
from typing import Any

import click

from rimward.base.errors import Refusal
from rimward.base.output import console, emit_json, progress_console
from rimward.cli.commands._port import json_option


@click.command()
@click.option(
    "--sessions",
    default=1000,
    show_default=True,
    type=click.IntRange(1, 100_000_000),
    help="How many.",
)
@click.option(
    "--seed",
    default=1,
    show_default=True,
    type=click.IntRange(0),
    help="The same seed gives the same result on any number of cores.",
)
@click.option(
    "--faults",
    multiple=True,
    default=("all",),
    help="all, none, list, or a name; may be given again.",
)
@click.option(
    "--people",
    "who",
    multiple=True,
    default=("all",),
    help="all, or a person such as patient or moves-to-full; may be given again.",
)
@click.option("--workers", default=0, type=click.IntRange(0), help="Processes; 0: one a core.")
@click.option(
    "--scheduler",
    default="",
    help="Address of a dask scheduler, as tcp://host:port, to spread the work over its workers.",
)
@click.option(
    "--resume",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Go on with this file of results.",
)
@click.option(
    "--out",
    default="campaign",
    show_default=True,
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for results and report.",
)
@json_option
def command(
    sessions: int, seed: int, faults: tuple[str, ...], who: tuple[str, ...], workers: int, scheduler: str, resume: Path | None, out: Path, as_json: bool
) -> None:  # fmt: skip
    """Simulate many fills by the real kernels, over wheels, instruments, conditions, persons and faults; report the results.

    Exit 1 if any session of set D (detectable faults, or none) admitted air at or above its ceiling.
    """
    from rimward.simulation.campaign import people, report
    from rimward.simulation.campaign.run import plan_of, run

    if faults == ("list",):
        return _list(as_json)
    plan = plan_of(sessions, seed, faults, people.NAMES if who == ("all",) else who)
    path = resume or out / "results.bin"
    if resume is not None and not resume.is_file():
        raise Refusal(
            f"There are no results in {resume} to go on with.",
            "Correct the name, or leave --resume out to begin a new campaign.",
        )
    if resume is None and path.exists():
        raise Refusal(
            f"{path} is there already.", f"Go on with it by --resume {path}, or give another --out."
        )
    import numba  # noqa: F401  # its absence is reported before a result file is made

    _tell_compiling()
    try:
        results = run(plan, path, _progress, workers, scheduler)
    except KeyboardInterrupt:
        progress_console.print()
        raise Refusal(
            f"Interrupted; what is done is kept in {path}.", f"Go on with --resume {path}."
        ) from None
    figures = report.write(results, out)
    if as_json:
        emit_json(figures)
    else:
        for line in report.lines(figures, out):
            console.print(line, markup=False)
    if figures["exceedances"]:
        sys.exit(1)


def _tell_compiling() -> None:
    """Announce that kernels and plant are being compiled, where they are."""
    from rimward.simulation.engines import SOURCES
    from rimward.simulation.plant import kept

    if not kept.is_kept(SOURCES, "session"):
        progress_console.print(
            "Compiling the kernels and the plant for this computer: once, a minute or two ..."
        )


def _progress(done: int, wanted: int, left_s: float) -> None:
    """Show progress: one overwritten line on a terminal, a line from time to time elsewhere."""
    text = f"{done} of {wanted} sessions, {_time(left_s)} left"
    if progress_console.is_terminal:
        progress_console.print(f"\r{text}   ", end="" if done < wanted else "\n")
    elif done == wanted or done * 10 // wanted != max(done - 200, 0) * 10 // wanted:
        progress_console.print(text)


def _time(seconds: float) -> str:
    minutes = int(seconds) // 60
    return (
        f"{minutes // 60} h {minutes % 60:02d} min"
        if minutes >= 60
        else f"{minutes} min {int(seconds) % 60:02d} s"
    )


def _list(as_json: bool) -> None:
    from rimward.simulation.plant.faults import FAULTS

    rows: list[dict[str, Any]] = [
        {"fault": f.name, "set": f.set, "text": f.text, "reason": f.reason} for f in FAULTS.values()
    ]
    if as_json:
        return emit_json({"faults": rows})
    for row in rows:
        console.print(f"{row['set']}  {row['fault']:20s} {row['text']}", markup=False)
