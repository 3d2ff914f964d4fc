"""`rimward bringup`: a new board, step by step, and its yearly check."""

import sys
from pathlib import Path

import click

from rimward.bringup import bring_up
from rimward.bringup.keep import keep_baseline, load_baseline, row, sheet
from rimward.commands._port import json_option, port_option
from rimward.link.ports import about_row, open_client
from rimward.output import console, emit_json, progress_console
from rimward.register.place import data_dir
from rimward.report.paper import document


class AtTheBench:
    """The person at the terminal."""

    def act(self, step):  # type: ignore[no-untyped-def]
        """Show what to do; steps of the inflator's own begin as soon as the person goes on."""
        progress_console.print(f"{step.phase}: {step.act or step.finds}.", markup=False)
        if step.act:
            click.prompt("Press Enter when you are about to", default="", show_default=False, err=True)

    def read(self, step):  # type: ignore[no-untyped-def]
        """Ask for the instrument's figure."""
        return click.prompt(f"{step.finds}, {step.unit}", type=float, err=True)

    def done(self, step):  # type: ignore[no-untyped-def]
        """Nothing to end."""

    def confirm(self, text):  # type: ignore[no-untyped-def]
        """Have a result confirmed at the inflator."""
        progress_console.print(text, markup=False)


@click.command()
@port_option
@click.option("--yearly", is_flag=True, help="Compare with this unit's own figures too, within 15 %.")
@click.option("-o", "--out", type=click.Path(dir_okay=False, path_type=Path), default=Path("bringup.pdf"), show_default=True, help="The record as PDF.")
@json_option
def command(port, yearly, out, as_json):  # type: ignore[no-untyped-def]
    """Walk a new board through its first checks: without air first, then with air into a closed volume. No air until all steps hold.

    Have at hand: oscilloscope, meter of 10 megohm, hand pump with reference gauge, a vessel of 2 L or more, no wheel. Eye protection on.
    What the inflator keeps is confirmed there with the workshop button. Exit 1 if a step does not hold.
    """
    def say(found):  # type: ignore[no-untyped-def]
        """Print one step."""
        _, name, value, wanted, result = row(found)
        progress_console.print(f"  {result}: {name}: {value}, wanted {wanted}", markup=False)

    with open_client(port) as client:
        device = about_row(port, client.about)["device"]
        baseline = load_baseline(data_dir(), device) if yearly else None
        result = bring_up(client, AtTheBench(), baseline, say)
    out.write_bytes(document(*sheet(result, device, yearly)))
    kept = str(keep_baseline(data_dir(), device, result)) if result.whole and not yearly else None
    told = {"device": device, "ok": result.whole, "yearly": yearly, "level": result.level, "file": str(out), "baseline": kept}
    told["steps"] = [{"step": f.step.key, "phase": f.step.phase, "value": f.value, "unit": f.step.unit, "low": f.step.low, "high": f.step.high, "own": f.against, "holds": f.holds}
                     for f in result.found]
    if as_json:
        emit_json(told)
    elif result.whole:
        console.print(f"Every step holds: air is enabled. Record: {out}.", markup=False)
    else:
        last = result.found[-1].step
        console.print(f"Not passed at '{last.finds}'. It may be: {', '.join(last.faults)}. The inflator gives no air. Record: {out}.", markup=False)
    if not result.whole:
        sys.exit(1)
