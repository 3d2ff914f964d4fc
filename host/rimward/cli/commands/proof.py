"""`rimward proof`: plan and run retention and release tests, analyse and join their results."""

import click

from rimward.base import units
from rimward.base.errors import Refusal
from rimward.base.output import console, emit_json
from rimward.cli.commands._proof import MEDIUM, RETENTION_ONLY, SPECIMEN, need_proof_extra, one_end
from rimward.cli.commands.proof_analyse import analyse_command, merge_command
from rimward.cli.commands.proof_run import finish_command, run_command
from rimward.limits.ceiling import Rim, Tyre
from rimward.limits.volume import volumes


@click.group()
def command() -> None:
    """Plan, run and analyse retention and release tests.

    Local codes, the makers' instructions and a qualified person come first. Keep out of the plane of the wheel.
    """


@command.command("plan")
@SPECIMEN
@click.option(
    "--recommended",
    metavar="PRESSURE",
    help="Recommended pressure marked on the tyre, which 16 CFR 1512.10 counts from.",
)
@click.option(
    "--volume-l",
    type=click.FloatRange(0, 200, min_open=True),
    help="Volume of the tyre, when measured; otherwise the high estimate.",
)
@MEDIUM
@RETENTION_ONLY
@click.option(
    "--to",
    "top",
    metavar="PRESSURE",
    help="Where the release ramp ends. Twice the limit if not given, or the bench's own end where that is lower.",
)
@click.option(
    "--step",
    default="0.25 bar",
    show_default=True,
    metavar="PRESSURE",
    help="Step of the release ramp.",
)
@click.option(
    "--step-hold",
    default=60,
    show_default=True,
    type=click.IntRange(1, 86_400),
    metavar="SECONDS",
    help="Hold at each step.",
)
@click.option(
    "--ramp",
    default=5.0,
    show_default=True,
    type=click.FloatRange(0, 1000, min_open=True),
    metavar="KPA_S",
    help="Rise between steps, kPa/s.",
)
@click.option(
    "--gauge-u",
    metavar="PRESSURE",
    help="Expanded uncertainty U of the gauge, held on top of 110 %; the bench's class bound if not given.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document on standard output.")
def plan_command(
    rim_text: str, rim_max: str, tyre_text: str, tyre_max: str, recommended: str | None, volume_l: float | None, medium: str,
    retention_only: bool, top: str | None, step: str, step_hold: int, ramp: float, gauge_u: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Plan steps, stored energy, stand-off and protection for one retention or release test."""
    one_end(retention_only, top)
    need_proof_extra()
    from rimward.proof import plan, reach, show

    rim, tyre = Rim.parse(rim_text, rim_max), Tyre.parse(tyre_text, max_text=tyre_max)
    if rim.max_pa is None or tyre.max_pa is None:
        raise Refusal("A maximum is not readable.", "Write it as '5 bar' or '72.5 psi'.")
    reach.check_pair(rim, tyre)
    if tyre.bead_seat_mm is None and volume_l is None:
        raise Refusal(
            "The tyre's bead seat is not known, so neither is its volume.",
            "Write the size as 28-622, or give --volume-l.",
        )
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
        **({"gauge_u_pa": units.parse_pressure(gauge_u, up=True)} if gauge_u else {}),
    )
    made = plan.plan(want)
    if as_json:
        emit_json(made)
    else:
        show.plan(made, console)


@command.command("schema")
@click.option(
    "--json", "as_json", is_flag=True, help="The published metadata document (W3C CSV on the Web)."
)
def schema_command(as_json: bool) -> None:
    """Show the columns of a proof CSV file, for labs that exchange data."""
    from rimward.proof import schema

    if as_json:
        emit_json(schema.document())
    else:
        click.echo(schema.text())


for one in (run_command, finish_command, analyse_command, merge_command):
    command.add_command(one)
