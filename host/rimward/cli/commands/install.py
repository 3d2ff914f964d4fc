"""`rimward install`: installs the firmware on a board and checks it."""

from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from rimward.base.output import console, emit_json, progress_console
from rimward.cli.commands._port import json_option
from rimward.device.install import plan
from rimward.device.install.device import Device
from rimward.device.install.put import install

WAIT_S = 120.0


@click.command()
@click.option(
    "--port",
    metavar="PORT",
    help="Serial port of the board, its workshop contact closed at power-up.",
)
@click.option(
    "--source",
    is_flag=True,
    help="Install source, for a board that compiles itself; never on an RP2040, whose kernels have to be machine code.",
)
@click.option(
    "--bench",
    is_flag=True,
    help="The proof bench's firmware, for a board built as a bench; it takes no ordinary profile.",
)
@click.option(
    "--wait",
    "wait_s",
    type=click.FloatRange(0),
    default=WAIT_S,
    show_default=True,
    help="Seconds to wait for the start before the self-check.",
)
@click.option("--no-check", is_flag=True, help="Leave out the self-check.")
@click.option("--check-only", is_flag=True, help="Only the self-check, of an inflator that runs.")
@click.option(
    "--to",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    help="Write the files into a folder instead.",
)
@click.option(
    "--frozen",
    is_flag=True,
    help="With --to: modules to freeze into an interpreter of your own (manifest.py).",
)
@json_option
def command(
    port: str | None,
    source: bool,
    bench: bool,
    wait_s: float,
    no_check: bool,
    check_only: bool,
    folder: Path | None,
    frozen: bool,
    as_json: bool,
) -> None:
    """Install the firmware on a board, completely or not at all, and check it over its link.

    Files are written aside, checked by digests that the board computes itself, and only then put in place. The pump stays off meanwhile:
    with the workshop contact closed at power-up no tick ever runs. For the self-check open it, then switch the board off and on.
    """

    if (port is None) == (folder is None):
        raise click.UsageError("Give --port, or --to for a folder.")
    if frozen and folder is None:
        raise click.UsageError("--frozen needs --to.")
    if folder is not None:
        written = _write(
            plan.bench_items(not source, frozen)
            if bench
            else plan.items(not source, frozen=frozen),
            folder,
        )
        if as_json:
            emit_json({"folder": str(folder), "files": written})
        else:
            console.print(f"{written} files written to {folder}.", markup=False)
        return
    assert port is not None
    report: dict[str, Any] = (
        {}
        if check_only
        else _install(
            port,
            plan.bench_items(not source) if bench else plan.items(not source),
            source,
            bench,
            as_json,
        )
    )
    if not no_check:
        report["check"] = _check(port, wait_s, as_json)
    if as_json:
        emit_json(report)
    if not no_check and not report["check"]["ok"]:
        raise SystemExit(1)


def _write(rows: list[Any], folder: Path) -> int:
    for item in rows:
        path = folder / item.path.lstrip("/")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(item.data)
    return len(rows)


def _tell(text: str) -> None:
    progress_console.print(text, markup=False)


def _install(
    port: str, rows: list[Any], source: bool, bench: bool, as_json: bool
) -> dict[str, Any]:

    with Device(port) as device:
        outcome = install(device, rows, _tell, not source)
    if not as_json:
        was = (
            f"firmware {outcome.before} -> {outcome.after}"
            if outcome.before
            else f"firmware {outcome.after}, new"
        )
        console.print(f"{outcome.interpreter}: {was}.", markup=False)
        counts = f"{outcome.written} files written, {outcome.unchanged} unchanged, {outcome.removed} removed, {outcome.bytes} bytes"
        console.print(f"{counts}, all digests fit.", markup=False)
        console.print(
            "Open the workshop contact, switch off and on, then go through the check-out sheet.",
            markup=False,
        )
    return {**asdict(outcome), "compiled": not source, "bench": bench}


def _check(port: str, wait_s: float, as_json: bool) -> dict[str, Any]:
    from rimward.device.install.selfcheck import self_check, wait_for

    with wait_for(port, wait_s, _tell) as client:
        found = self_check(client)
    if not as_json:
        console.print(
            f"Start {found.boots}, {found.ticks_a_second} ticks a second, longest {found.tick_us} us, {found.heap_free} bytes free; "
            f"store: {found.wheels} wheels, {found.sessions} sessions, {found.trips} trips.",
            markup=False,
        )
        for problem in found.problems or ("The self-check found nothing wrong.",):
            console.print(problem, markup=False)
    return found.row()
