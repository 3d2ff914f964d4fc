"""`rimward calibrate`: calibration of an inflator against a reference gauge."""

import datetime
import getpass
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rimward.base import settings
from rimward.base.errors import Refusal
from rimward.base.output import console, emit_json, progress_console
from rimward.base.units import parse_pressure, parse_reading, show_minimum, show_reading
from rimward.cli.commands._port import json_option, port_option

if TYPE_CHECKING:
    from rimward.device.calibration import Reference
    from rimward.device.calibration.guided import Outcome, Questions
    from rimward.device.calibration.run import Step as GaugeStep

FILE = click.Path(dir_okay=False, path_type=Path)


@click.command()
@port_option
@click.option(
    "--points",
    help="Pressures to visit up and down besides zero, bar gauge. Default: 0.5,1,2,3,4,4.5,4.9; of a bench 1,2.5,4,5.5,7,8.5,9.8.",
)
@click.option(
    "--reference", "name", default="reference gauge", help="What the reference gauge is called."
)
@click.option("--reference-serial", default="", help="Its serial number.")
@click.option(
    "--reference-u", required=True, help="Expanded uncertainty of the reference, such as '1 kPa'."
)
@click.option(
    "--reference-k",
    default=2.0,
    type=click.FloatRange(min=1.0),
    show_default=True,
    help="Its coverage factor.",
)
@click.option(
    "--reference-certificate", "certificate", default="", help="Number of its certificate."
)
@click.option(
    "--reference-due",
    required=True,
    type=click.DateTime(["%Y-%m-%d"]),
    help="Day on which its own calibration ends.",
)
@click.option("--resolution", required=True, help="Resolution of the reference, such as '0.5 kPa'.")
@click.option(
    "--by",
    "person",
    default="",
    metavar="NAME",
    help="Who calibrates (default: RIMWARD_USER, else the login name).",
)
@click.option("--place", default="", help="Where (default: the workshop).")
@click.option("--serial-a", default="", help="Serial number of transducer A.")
@click.option("--serial-b", default="", help="Serial number of transducer B.")
@click.option(
    "--readings",
    type=FILE,
    help="Keep the points in this CSV file too; one that exists is read back and gone on with.",
)
@click.option(
    "-o",
    "--out",
    type=FILE,
    default=Path("calibration.pdf"),
    show_default=True,
    help="The certificate.",
)
@click.option(
    "--new", "fresh", is_flag=True, help="Begin a new calibration even if one was broken off today."
)
@click.option("--dry-run", is_flag=True, help="Fit and report, write nothing to the inflator.")
@json_option
def command(
    port: str, points: str | None, reference_due: datetime.datetime, person: str, place: str, serial_a: str, serial_b: str,
    readings: Path | None, out: Path, fresh: bool, dry_run: bool, as_json: bool, **gauge: Any,
) -> None:  # fmt: skip
    """Guide through a calibration against a reference gauge and write it to the inflator.

    Zero with the manifold open to the air, two preloads to the highest pressure, at least six pressures up and down, zero; then, with the
    result written, some of them again. Let the pressure settle at each point and type the reading of the reference. Each point is stored at
    once: after an interruption the same command continues. Each part of the result is confirmed at the inflator with the workshop
    button. With
    the range key at low the independent cutoff opens above 5 bar: turn it to high for points beyond. On a proof bench hold UP until the
    service page appears: its vent stays closed while that page is shown.
    Eye protection on; stay out of the plane of a wheel used as the volume.
    """
    from rimward.device.calibration import Reference, scale_of
    from rimward.device.calibration.guided import Given, calibrate, file_certificate
    from rimward.device.link.ports import open_client
    from rimward.paper.sheet import document

    if reference_due.date() < datetime.date.today():
        raise Refusal(
            f"The calibration of the reference ended on {reference_due:%Y-%m-%d}.",
            "Have it calibrated, or take another reference.",
        )
    stated = _nominal(points) if points else None
    reference = _reference(Reference, gauge, reference_due)
    person = person or settings.value("user") or getpass.getuser()
    place = place or settings.value("workshop") or ""
    with open_client(port) as client:
        scale = scale_of(client)
        nominal = stated or _nominal(DEFAULT_POINTS[scale.end_pa > 900_000])
        if max(nominal) < scale.reach_pa:
            raise Refusal(
                f"The highest point is {max(nominal) / 1e5:.2f} bar.",
                f"Give --points up to at least {scale.reach_pa / 1e5:.1f} bar.",
            )
        given = Given(
            nominal, reference, person, place, (serial_a, serial_b), readings, fresh, dry_run
        )
        done = calibrate(client, given, _questions())
    files = file_certificate(done, out, document)
    if as_json:
        emit_json(_as_json(done, files))
    else:
        _show(done, files)
    left = done.certificate.left
    if left is not None and not left.conforms:
        sys.exit(1)


def _as_json(done: "Outcome", files: list[Path]) -> dict[str, Any]:
    left = done.certificate.left
    shown: dict[str, Any] = {
        "number": done.job.number,
        "guard_pa": done.result.guard_pa,
        "due": done.certificate.due,
        "files": [str(f) for f in files],
        "written": done.written,
        "as_left": None
        if left is None
        else {"worst_pa": left.worst_pa, "allowed_pa": left.allowed_pa, "conforms": left.conforms},
    }
    names = ("name", "gain", "offset_pa", "residual_pa", "hysteresis_pa", "guard_pa")
    shown["channels"] = [{k: getattr(c, k) for k in names} for c in done.result.channels]
    return shown


def _show(done: "Outcome", files: list[Path]) -> None:
    for c in done.result.channels:
        console.print(
            f"Transducer {c.name.upper()}: gain {c.gain:.5f}, offset {c.offset_pa:+.0f} Pa, largest residual {c.residual_pa:.0f} Pa."
        )
    console.print(
        f"Guard band of this inflator: {show_minimum(done.result.guard_pa)}.", markup=False
    )
    console.print(
        f"{done.certificate.verdict} Certificate {done.job.number}: {', '.join(map(str, files))}.",
        markup=False,
    )


DEFAULT_POINTS = (
    "0.5,1,2,3,4,4.5,4.9",
    "1,2.5,4,5.5,7,8.5,9.8",
)  # of an ordinary inflator, of a bench


def _nominal(points: str) -> tuple[int, ...]:
    from rimward.device.calibration.fit import ORDINARY, POINTS_MIN

    try:
        nominal = tuple(parse_pressure(f"{part.strip()} bar") for part in points.split(","))
    except Refusal as refusal:
        raise click.UsageError(f"--points {points}: {refusal.text}") from refusal
    if len(set(nominal)) < POINTS_MIN or max(nominal) < ORDINARY.reach_pa or min(nominal) <= 0:
        reach = ORDINARY.reach_pa / 1e5
        raise click.UsageError(
            f"--points {points}: at least {POINTS_MIN} different pressures above zero, the highest {reach:.1f} bar or more."
        )
    return nominal


def _reference(
    make: Callable[..., "Reference"], gauge: dict[str, Any], due: datetime.datetime
) -> "Reference":
    """`make`: the class Reference, loaded late."""
    u, resolution = (float(parse_pressure(gauge[name])) for name in ("reference_u", "resolution"))
    return make(
        gauge["name"],
        u,
        gauge["reference_k"],
        resolution,
        gauge["certificate"],
        gauge["reference_serial"],
        f"{due:%Y-%m-%d}",
    )


def _questions() -> "Questions":
    from rimward.device.calibration.guided import Questions

    def say(line: str) -> None:
        progress_console.print(line, markup=False)

    def shown(step: "GaugeStep") -> float:
        say(_request(step))
        if not step.measured:
            click.prompt("Press Enter once it is there", default="", show_default=False, err=True)
            return float(step.nominal_pa)
        while True:  # a typing error must not cost the points taken so far
            try:
                return float(parse_reading(click.prompt("What it shows, with unit", err=True)))
            except Refusal as refusal:
                say(refusal.text)

    return Questions(shown, say)


def _request(step: "GaugeStep") -> str:
    """Instruction for a step."""
    at = f"{show_reading(step.nominal_pa)} gauge"
    return {
        "zero": "Zero: open the manifold to the air.",
        "open": "Let all pressure out: open the manifold to the air.",
        "preload": f"Preload: bring the pressure to {at} and hold it for half a minute.",
        "rising": f"Bring the reference up to {at} and let it settle.",
        "falling": f"Bring the reference down to {at} and let it settle.",
    }[step.kind]
