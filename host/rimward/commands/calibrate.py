"""`rimward calibrate`: an inflator against a reference gauge."""

import csv
from pathlib import Path

import click

from rimward.commands._port import json_option, port_option
from rimward.errors import Refusal
from rimward.output import console, emit_json, progress_console


@click.command()
@port_option
@click.option("--points", default="0.5,1,2,3,4,4.5,4.9", show_default=True, help="Pressures to visit up and down, bar gauge.")
@click.option("--reference", "name", default="reference gauge", help="What the reference gauge is called.")
@click.option("--reference-u", required=True, help="Expanded uncertainty of the reference, such as '1 kPa'.")
@click.option("--reference-k", default=2.0, type=click.FloatRange(min=1.0), show_default=True, help="Its coverage factor.")
@click.option("--resolution", required=True, help="Resolution of the reference, such as '0.5 kPa'.")
@click.option("--certificate", default=0, type=click.IntRange(0, 65535), help="Number of its certificate.")
@click.option("--readings", type=click.Path(dir_okay=False, path_type=Path), help="Also keep the points in this CSV file.")
@click.option("-o", "--out", type=click.Path(dir_okay=False, path_type=Path), default=Path("calibration.html"), show_default=True)
@click.option("--dry-run", is_flag=True, help="Fit and report, write nothing to the inflator.")
@json_option
def command(port, points, name, reference_u, reference_k, resolution, certificate, readings, out, dry_run, as_json):  # type: ignore[no-untyped-def]
    """Guide through a calibration against a reference gauge, at least six points up and down, and write it to the inflator.

    Bring the pressure to each point, let it settle, and type what the reference shows. The workshop button must be held while the
    result is written. With the range key on low the independent cutoff opens above 5 bar: turn it to high for points beyond.
    Eye protection on; stay out of the plane of a wheel used as the volume.
    """
    from rimward.calibration import Reference, collect, fit_points, write_back
    from rimward.calibration.certificate import write_certificate
    from rimward.calibration.fit import POINTS_MIN, SPAN_MIN_PA
    from rimward.link.ports import about_row, open_client
    from rimward.units import parse_pressure, show_reading

    try:
        nominal = [parse_pressure(f"{part.strip()} bar") for part in points.split(",")]
    except Refusal as refusal:
        raise click.UsageError(f"--points {points}: {refusal.text}") from refusal
    if len(set(nominal)) < POINTS_MIN or max(nominal) < SPAN_MIN_PA:
        raise click.UsageError(f"--points {points}: at least {POINTS_MIN} different pressures, the highest {SPAN_MIN_PA / 1e5:.1f} bar or more.")
    gauge = Reference(name, float(parse_pressure(reference_u)), reference_k, float(parse_pressure(resolution)), certificate)

    def ask(pa: int, rising: bool) -> float:
        progress_console.print(f"Bring the reference {'up' if rising else 'down'} to {show_reading(pa)} gauge and let it settle.", markup=False)
        while True:  # a slip of the fingers must not cost the points taken so far
            try:
                return float(parse_pressure(click.prompt("What it shows, with unit", err=True)))
            except Refusal as refusal:
                progress_console.print(refusal.text, markup=False)

    with open_client(port) as client:
        found = collect(client, nominal, ask)
        if readings:
            with readings.open("w", newline="") as file:
                rows = csv.writer(file)
                rows.writerow(["rising", "reference_pa", "a_pa", "b_pa", "spread_pa"])
                rows.writerows([p.rising, p.reference_pa, round(p.a_pa, 1), round(p.b_pa, 1), round(p.spread_pa, 1)] for p in found)
        result = fit_points(found, gauge.expanded_pa, gauge.k, gauge.resolution_pa)
        revisions = {}
        if not dry_run:
            click.prompt("Hold the workshop button and press Enter", default="", show_default=False, err=True)
            revisions = write_back(client, result, gauge)
        files = write_certificate(result, gauge, about_row(port, client.about)["device"], out, written=not dry_run)
    told = {"guard_pa": result.guard_pa, "files": [str(f) for f in files], "written": revisions}
    told["channels"] = [{k: getattr(c, k) for k in ("name", "gain", "offset_pa", "residual_pa", "hysteresis_pa", "guard_pa")} for c in result.channels]
    if as_json:
        emit_json(told)
    else:
        for c in result.channels:
            console.print(f"Transducer {c.name.upper()}: gain {c.gain:.5f}, offset {c.offset_pa:+.0f} Pa, largest residual {c.residual_pa:.0f} Pa.")
        console.print(f"Guard band of this inflator: {show_reading(result.guard_pa)}. Report: {', '.join(map(str, files))}.", markup=False)
