"""`rimward install`: the firmware onto a board."""

from dataclasses import asdict

import click

from rimward.commands._port import json_option
from rimward.output import console, emit_json, progress_console


@click.command()
@click.option("--port", required=True, metavar="PORT", help="Serial port of the board, its workshop contact closed at power-up.")
@click.option("--source", is_flag=True, help="Install source, for a board that compiles itself; never on an RP2040, whose kernels have to be machine code.")
@click.option("--bench", is_flag=True, help="The proof bench's firmware, for a board built as a bench; it takes no ordinary profile.")
@json_option
def command(port: str, source: bool, bench: bool, as_json: bool) -> None:
    """Put the firmware on a board, whole or not at all.

    Files are written aside, checked by digests the board works out itself, and only then put in place. The pump stays off meanwhile:
    with the workshop contact closed at power-up no tick ever runs.
    """
    from rimward.install.device import Device
    from rimward.install.plan import bench_items, items
    from rimward.install.put import install

    rows = bench_items(not source) if bench else items(not source)
    with Device(port) as device:
        outcome = install(device, rows, lambda text: progress_console.print(text, markup=False), not source)
    if as_json:
        emit_json({**asdict(outcome), "compiled": not source, "bench": bench})
        return
    was = f"firmware {outcome.before} -> {outcome.after}" if outcome.before else f"firmware {outcome.after}, new"
    console.print(f"{outcome.interpreter}: {was}.", markup=False)
    console.print(
        f"{outcome.written} files written, {outcome.unchanged} unchanged, {outcome.removed} removed, {outcome.bytes} bytes, all digests fit.", markup=False
    )
    console.print("Open the workshop contact, switch off and on, then go through the check-out sheet.", markup=False)
