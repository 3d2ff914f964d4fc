"""Complete calibration: as found, fit, write, as left, certificate. The caller supplies the dialogue with the person."""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from rimward.base.errors import Refusal
from rimward.device.calibration import keep
from rimward.device.calibration.certificate import Certificate, write_certificate
from rimward.device.calibration.fit import Calibrated, Point, assess_as_left, fit_points
from rimward.device.calibration.run import (
    Reference,
    Step,
    collect,
    in_force,
    left_sequence,
    revisions,
    scale_of,
    sequence,
    write_back,
)
from rimward.device.link import Client, verbs


@dataclass(frozen=True)
class Given:
    """Data stated by the person. `readings`: a CSV file for the points, read back if it exists; `fresh`: ignore an unfinished one."""

    nominal_pa: tuple[int, ...]
    reference: Reference
    person: str
    place: str = ""
    serials: tuple[str, str] = ("", "")
    readings: Path | None = None
    fresh: bool = False
    dry_run: bool = False


@dataclass(frozen=True)
class Questions:
    """`shown(step)`: reading of the reference, gauge Pa; `say`: one line of progress."""

    shown: Callable[[Step], float]
    say: Callable[[str], None]


@dataclass(frozen=True)
class Outcome:
    """Result. `written` is empty for a trial."""

    job: keep.Job
    result: Calibrated
    certificate: Certificate
    written: dict[str, int]


def calibrate(client: Client, given: Given, ask: Questions) -> Outcome:
    """Run a calibration to its end, or continue an interrupted one. Every point is stored at once."""
    job = keep.job_of(verbs.device_name(client), given.fresh)
    gauge = given.reference
    job.facts.update(
        person=given.person, place=given.place, serials=list(given.serials), reference=asdict(gauge)
    )
    written: dict[str, int] = job.facts.get("written", {})
    if job.state != keep.WRITTEN:
        _take_points(client, job, given, ask)
    result = _fitted(client, job, gauge)
    if given.dry_run:
        return Outcome(job, result, _certificate(job, given, result, None), {})
    if job.state != keep.WRITTEN:
        written = _write(client, job, result, ask)
        job.facts.update(state=keep.WRITTEN, written=written)
        job.save()
    left = assess_as_left(
        _left_points(client, job, given, ask), result, gauge.expanded_pa, gauge.resolution_pa
    )
    certificate = _certificate(job, given, result, left)
    job.facts["state"] = keep.DONE if left.conforms else keep.OPEN
    if not left.conforms:
        job.refuse(certificate.verdict)
    job.facts["left"] = [asdict(point) for point in left.points]
    job.save()
    return Outcome(job, result, certificate, written)


def _take_points(client: Client, job: keep.Job, given: Given, ask: Questions) -> None:
    have = job.run(given.nominal_pa, revisions(client), in_force(client))
    if not have and given.readings is not None and given.readings.exists():
        for point in keep.read_readings(given.readings):
            job.keep(point)
        have = job.points()
    if have:
        ask.say(f"Continuing calibration {job.number}: {len(have)} points are stored.")

    def kept(point: Point) -> None:
        job.keep(point)
        if given.readings is not None:
            keep.write_readings(given.readings, job.points())

    collect(client, sequence(given.nominal_pa), ask.shown, have, kept)
    job.complete()


def _fitted(client: Client, job: keep.Job, gauge: Reference) -> Calibrated:
    try:
        return fit_points(
            job.points(),
            gauge.expanded_pa,
            gauge.k,
            gauge.resolution_pa,
            scale_of(client),
            job.in_force,
        )
    except Refusal as refusal:
        job.refuse(refusal.text)
        raise Refusal(
            refusal.text, f"{refusal.fix} The points are stored as {job.number}."
        ) from refusal


def _write(client: Client, job: keep.Job, result: Calibrated, ask: Questions) -> dict[str, int]:
    """Write the result; each part is confirmed at the inflator. Declined parts can be written by the same command again."""
    try:
        return write_back(client, result, job.running, tell=ask.say)
    except Refusal as refusal:
        raise Refusal(
            refusal.text, f"{refusal.fix} All points are stored: repeat the command to continue."
        ) from refusal


def _left_points(client: Client, job: keep.Job, given: Given, ask: Questions) -> list[Point]:
    ask.say("Written. Now measure again, as left: zero, lowest, middle, highest.")
    return collect(client, left_sequence(given.nominal_pa), ask.shown)


def _certificate(job: keep.Job, given: Given, result: Calibrated, left: Any) -> Certificate:
    when = float(job.facts["begun_s"])
    device, gauge = str(job.facts["device"]), given.reference
    return Certificate(
        job.number,
        given.person,
        given.place,
        device,
        given.serials,
        gauge,
        job.as_found(),
        result,
        left,
        when,
    )


def file_certificate(
    outcome: Outcome, to: Path | None, document: Callable[..., bytes]
) -> list[Path]:
    """Write the certificate beside the stored calibration and to `to`. `document(title, parts)` makes a PDF (`paper.sheet.document`)."""
    places = [outcome.job.path.with_suffix(".pdf"), *([to] if to is not None else [])]
    return [write_certificate(outcome.certificate, place, document) for place in places]
