"""`rimward replay`: recorded inputs through the real kernels."""

import sys
from dataclasses import asdict
from pathlib import Path

import click

from rimward.base.errors import Refusal
from rimward.base.output import console, emit_json
from rimward.cli.commands._port import json_option
from rimward.cli.commands.session_files import SESSION


@click.command()
@click.argument("file", type=SESSION)
@click.option(
    "--good-part",
    is_flag=True,
    help="Be content with the part of a torn or damaged record that can be read.",
)
@json_option
def command(file: Path, good_part: bool, as_json: bool) -> None:
    """Run a session's recorded inputs through the real guard and fill controller.

    Exit 0: the record is complete and the decisions are the same. 1: a difference, shown, or a record that is torn, cut or damaged.
    """
    from rimward.sessions import read_session, replay
    from rimward.sessions.verification import kernels_text, recorded_by_ours

    log = read_session(file)
    if recorded_by_ours(log) is False:
        raise Refusal(
            f"This session was recorded by other kernels: {kernels_text(log)}.",
            "Replay it with the host of that version.",
        )
    result = replay(log)
    if as_json:
        spans = [{"first_tick": tick, "ticks": ticks} for tick, ticks in result.spans]
        differences = [asdict(row) for row in result.differences]
        emit_json(
            {
                "identical": result.identical,
                "ticks": result.ticks,
                "spans": spans,
                "whole": not log.damage,
                "damage": log.damage,
                "differences": differences,
            }
        )
    else:
        for tick, ticks in result.spans:
            console.print(f"full rate: ticks {tick} to {tick + ticks - 1} ({ticks * 0.002:.1f} s)")
        if log.damage:
            console.print(f"read up to byte {log.good_bytes}: {log.damage}", markup=False)
        for row in result.differences:
            console.print(row.line(), markup=False)
        verdict = (
            "the same decisions"
            if result.identical
            else "no full-rate ticks to replay"
            if not result.ticks
            else "OTHER DECISIONS"
        )
        console.print(f"{result.ticks} ticks replayed: {verdict}.")
    if not result.identical or (log.damage and not good_part):
        sys.exit(1)
