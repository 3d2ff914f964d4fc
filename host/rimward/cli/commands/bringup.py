"""`rimward bringup`: a new board, step by step, and its yearly check."""

import sys
from pathlib import Path

import click

from rimward.base.output import console, emit_json, progress_console
from rimward.cli.commands._port import json_option, port_option
from rimward.device.bringup import bring_up
from rimward.device.bringup.keep import keep_baseline, load_baseline, row, sheet, suspects
from rimward.device.bringup.run import Found
from rimward.device.bringup.steps import Step
from rimward.device.link.ports import about_row, open_client
from rimward.paper.sheet import document
from rimward.wheels.register.place import data_dir


class AtTheBench:
    """The person at the terminal."""

    def act(self, step: Step) -> None:
        """Show the step's action; steps of the inflator itself begin when the person continues."""
        progress_console.print(f"{step.phase}: {step.act or step.finds}.", markup=False)
        if step.act:
            click.prompt(
                "Press Enter when you are about to", default="", show_default=False, err=True
            )

    def read(self, step: Step) -> float:
        """Ask for the instrument's figure."""
        return float(click.prompt(f"{step.finds}, {step.unit}", type=float, err=True))

    def done(self, step: Step) -> None:
        """Do nothing: no action to end."""

    def confirm(self, text: str) -> None:
        """Ask the person to confirm a result at the inflator."""
        progress_console.print(text, markup=False)


@click.command()
@port_option
@click.option(
    "--yearly", is_flag=True, help="Compare with this unit's own figures too, within 15 %."
)
@click.option(
    "-o",
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    default=Path("bringup.pdf"),
    show_default=True,
    help="The record as PDF.",
)
@json_option
def command(port: str, yearly: bool, out: Path, as_json: bool) -> None:
    """Bring up a new board: first checks without air, then with air into a closed volume. No air until all steps pass.

    Have ready: oscilloscope, meter of 10 megohm, hand pump with reference gauge, a vessel of 2 L or more, no wheel. Eye protection on.
    The result is confirmed at the inflator with the workshop button. Exit 1 if a step fails.
    """

    def say(found: Found) -> None:
        """Print one step."""
        _, name, value, wanted, result = row(found)
        progress_console.print(f"  {result}: {name}: {value}, wanted {wanted}", markup=False)

    with open_client(port) as client:
        device = about_row(port, client.about)["device"]
        baseline = load_baseline(data_dir(), device) if yearly else None
        result = bring_up(client, AtTheBench(), baseline, say)
    out.write_bytes(document(*sheet(result, device, yearly)))
    kept = str(keep_baseline(data_dir(), device, result)) if result.whole and not yearly else None
    report = {
        "device": device,
        "ok": result.whole,
        "yearly": yearly,
        "level": result.level,
        "file": str(out),
        "baseline": kept,
    }
    report["steps"] = [
        {
            "step": f.step.key,
            "phase": f.step.phase,
            "value": f.value,
            "unit": f.step.unit,
            "low": f.step.low,
            "high": f.step.high,
            "own": f.against,
            "holds": f.holds,
        }
        for f in result.found
    ]
    if as_json:
        emit_json(report)
    elif result.whole:
        console.print(f"Every step holds: air is enabled. Record: {out}.", markup=False)
    else:
        console.print(
            f"{suspects(result.found[-1])} The inflator gives no air. Record: {out}.", markup=False
        )
    if not result.whole:
        sys.exit(1)
