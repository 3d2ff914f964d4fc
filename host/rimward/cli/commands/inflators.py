"""`rimward inflators`: serial ports with an inflator, and the owner's settings of one."""

from typing import Any

import click
from rich.markup import escape
from rich.table import Table

from rimward.base.output import console, emit_json
from rimward.base.units import parse_pressure, show_reading
from rimward.cli.commands._port import json_option, port_option, tell


@click.group(invoke_without_command=True)
@click.option(
    "--port",
    metavar="PORT",
    help="This one alone, with its last trips, its starts and the wear of its flash.",
)
@json_option
@click.pass_context
def command(context: click.Context, port: str | None, as_json: bool) -> None:
    """List serial ports with their inflators. With `set`, set one's name, unit, buzzer and air source."""
    from rimward.device.link.ports import inflators

    if context.invoked_subcommand is not None:
        if port is not None or as_json:
            raise click.UsageError(f"Put the options after `{context.invoked_subcommand}`.")
        return
    if port is not None:
        state = one(port)
        if as_json:
            emit_json(state)
        else:
            print_one(state)
        return
    rows = list(inflators())
    if as_json:
        emit_json(rows)
        return
    found = [row for row in rows if row["inflator"]]
    if not found:
        console.print(
            "No inflator found. Plug one in, or start one with `rimward virtual`.", markup=False
        )
    else:
        for row in found:
            console.print(row["port"], markup=False)
            key = "workshop key enrolled" if row["key_enrolled"] else "no workshop key"
            console.print(
                f"  {row['device']}: {row['board']}, firmware {row['firmware']} on {row['interpreter']}",
                markup=False,
            )
            console.print(
                f"  {key}, {'fault latched: see its display' if row['latched'] else 'no fault'}",
                markup=False,
            )
            console.print(f"  {row['calibration']['words']}", markup=False)
    for row in rows:
        if not row["inflator"]:
            console.print(f"{row['port']}: {row['why']}", markup=False)


@command.command("set")
@port_option
@click.option("--name", help="What this inflator is called: at most 16 letters.")
@click.option(
    "--unit", type=click.Choice(["bar", "psi"]), help="Unit that the display shows first."
)
@click.option("--buzzer", type=click.Choice(["on", "off"]), help="Whether it beeps.")
@click.option(
    "--source",
    type=click.Choice(["compressor", "line"]),
    help="Its own compressor, or a workshop's line. Confirmed at the inflator.",
)
@click.option(
    "--supply",
    metavar="PRESSURE",
    help="With --source line: pressure of the line, gauge, as '8 bar'.",
)
@click.option(
    "--delivery",
    metavar="L/MIN",
    type=float,
    help="With --source compressor: free air at no back pressure, L/min.",
)
@json_option
def set_(
    port: str, supply: str | None, delivery: float | None, as_json: bool, **given: Any
) -> None:
    """Set an inflator's name, unit, buzzer and air source. Settings not given are unchanged.

    The air source decides how much air the inflator expects: its display names it, and a person there confirms it with the workshop button.
    """
    from rimward.device.link import tuning
    from rimward.device.link.ports import open_client

    if given["buzzer"] is not None:
        given["buzzer"] = given["buzzer"] == "on"
    pa = parse_pressure(supply) if supply is not None else None
    values = tuning.values_of(
        {
            **given,
            "supply_pa": pa,
            "delivery_ml_min": round(1000 * delivery) if delivery is not None else None,
        }
    )
    with open_client(port) as client:
        tuning.write(client, values, tell)
        now = tuning.read(client)
    if as_json:
        emit_json(vars(now))
        return
    source = "its own compressor" if now.source == "compressor" else "a line"
    if now.supply_pa:
        source += f" of {now.supply_pa / 1e5:.2f} bar"
    if now.delivery_ml_min:
        source += f", {now.delivery_ml_min / 1e3:g} L/min"
    console.print(
        f"{now.name or 'No name'}, {now.unit} first, buzzer {'on' if now.buzzer else 'off'}, air from {source}.",
        markup=False,
    )


def one(port: str) -> dict[str, Any]:
    """Identification and condition of the inflator on a port."""
    from rimward.device.link.condition import condition
    from rimward.device.link.ports import about_row, open_client

    with open_client(port) as client:
        return {**about_row(port, client.about), **condition(client)}


def print_one(state: dict[str, Any]) -> None:
    """Print one inflator."""

    from rimward.sessions.facts import when_text

    console.print(
        f"{state['device']}: {state['board']}, firmware {state['firmware']} on {state['interpreter']}",
        markup=False,
    )
    console.print(
        f"workshop key {'enrolled' if state['key_enrolled'] else 'none'}, {'fault latched: see its display' if state['latched'] else 'no fault'}",
        markup=False,
    )
    held = f"{state['sessions_begun']} sessions begun, {state['sessions_held']} held, {state['profiles']} profiles"
    console.print(f"started {state['starts']} times, {held}", markup=False)
    console.print(state["calibration"]["words"], markup=False)
    worn = state["wear"]
    console.print(
        f"flash: about {worn['erases']} erases, {worn['part'] * 100:.2g} % of its life (an estimate)",
        markup=False,
    )
    if not state["trips"]:
        console.print("No trip is kept.", markup=False)
        return
    table = Table(
        "when",
        "session",
        "cause",
        "at the hose (gauge)",
        "likely reason",
        "next",
        title="Last trips",
        title_justify="left",
    )
    for row in state["trips"]:
        when = (
            when_text(row["unix_s"])
            if row["unix_s"]
            else f"start {row['boot']}, {row['tick'] * 0.002:.0f} s"
        )
        texts = (
            row["cause"],
            show_reading(row["value_pa"]),
            escape(row["cause_reason"]),
            escape(row["cause_next"]),
        )
        table.add_row(when, str(row["session"] or ""), *texts)
    console.print(table)
