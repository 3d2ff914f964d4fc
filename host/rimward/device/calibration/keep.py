"""Calibrations on this computer: one file each, written after every point, so that no entry is lost and the first as-found run stays.

An unfinished calibration that was begun within a day continues. The first complete run of a calibration is its as-found run;
later runs never
replace it.
"""

import csv
import json
import os
import time
from collections.abc import Sequence
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any

from rimward.base.errors import Refusal
from rimward.device.calibration.fit import Factors, Point
from rimward.wheels.register.place import data_dir

FOLDER = "calibrations"
GOES_ON_S = 86_400
OPEN, WRITTEN, DONE = "open", "written", "done"
COLUMNS = tuple(field.name for field in fields(Point))


class Job:
    """One calibration: entries, readings, progress. `facts`: content of its file."""

    def __init__(self, path: Path, facts: dict[str, Any]) -> None:
        self.path = path
        self.facts = facts

    @property
    def number(self) -> str:
        """Number of the certificate: inflator, year, running number."""
        return str(self.facts["number"])

    @property
    def running(self) -> int:
        """Running number among this inflator's calibrations."""
        return int(self.facts["running"])

    @property
    def state(self) -> str:
        """Open, written (to the inflator) or done."""
        return str(self.facts["state"])

    def run(
        self, nominal: Sequence[int], revisions: Sequence[int], in_force: Factors
    ) -> list[Point]:
        """Points of the run to continue: the last one if it has the same pressures and was neither refused nor taken with other
        settings.
        """
        last = self.last
        if (
            not last
            or last["refused"]
            or last["nominal_pa"] != list(nominal)
            or last["revisions"] != list(revisions)
        ):
            last = {
                "begun": _now(),
                "nominal_pa": list(nominal),
                "revisions": list(revisions),
                "in_force": in_force,
                "refused": "",
            }
            self.facts["runs"].append({**last, "complete": False, "points": []})
            self.save()
        return self.points()

    @property
    def last(self) -> dict[str, Any]:
        """Last run; empty before the first."""
        return self.facts["runs"][-1] if self.facts["runs"] else {}

    @property
    def in_force(self) -> Factors:
        """Gain and offset of both transducers during the last run."""
        return {name: (float(row[0]), float(row[1])) for name, row in self.last["in_force"].items()}

    def complete(self) -> None:
        """Return True if the last run has all its points."""
        self.last["complete"] = True
        self.save()

    def points(self) -> list[Point]:
        """Points of the last run."""
        return [Point(**row) for row in self.last["points"]]

    def as_found(self) -> list[Point]:
        """Points of the first complete run, before anything was written."""
        first = next((run for run in self.facts["runs"] if run["complete"]), self.last)
        return [Point(**row) for row in first["points"]]

    def keep(self, point: Point) -> None:
        """Add one point to the last run."""
        self.last["points"].append(asdict(point))
        self.save()

    def refuse(self, why: str) -> None:
        """Mark the last run as unusable; it stays on file."""
        self.last["refused"] = why
        self.save()

    def save(self) -> None:
        """Write the file, completely or not at all."""
        aside = self.path.with_suffix(".part")
        try:
            aside.write_text(json.dumps(self.facts, indent=1) + "\n")
            aside.replace(self.path)
        except OSError as failed:
            raise Refusal(
                f"{self.path} cannot be written: {failed.strerror}.",
                "Free space on the disk; earlier entries are stored.",
            ) from failed


def folder_of(device: str) -> Path:
    """Folder of one inflator's calibrations."""
    folder = data_dir() / FOLDER / device
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    return folder


def jobs(device: str) -> list[Job]:
    """Return the stored calibrations of an inflator, oldest first. Refusal for an unreadable file."""
    found = []
    for path in folder_of(device).glob("*.json"):
        try:
            found.append(Job(path, json.loads(path.read_text())))
        except (OSError, ValueError) as failed:
            raise Refusal(
                f"{path} cannot be read.", "Move it; the other calibrations are intact."
            ) from failed
    return sorted(found, key=lambda job: job.running)


def job_of(device: str, fresh: bool = False) -> Job:
    """Return the calibration to continue, or a new one (`fresh`: always)."""
    known = jobs(device)
    last = known[-1] if known else None
    if (
        last is not None
        and not fresh
        and last.state != DONE
        and time.time() - last.facts["begun_s"] < GOES_ON_S
    ):
        return last
    running = last.running + 1 if last else 1
    number = f"{device}-{time.strftime('%Y')}-{running:03d}"
    facts = {
        "number": number,
        "running": running,
        "device": device,
        "begun_s": time.time(),
        "begun": _now(),
        "state": OPEN,
        "runs": [],
        "left": [],
    }
    job = Job(folder_of(device) / f"{number}.json", facts)
    job.save()
    return job


def _now() -> str:
    return time.strftime("%Y-%m-%d %H:%M:%S")


def write_readings(path: Path, points: Sequence[Point]) -> None:
    """Write the points as CSV, completely or not at all."""
    aside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with aside.open("w", newline="") as file:
            rows = csv.writer(file)
            rows.writerow(COLUMNS)
            rows.writerows(
                [int(p.rising), *(getattr(p, name) for name in COLUMNS[1:])] for p in points
            )
        aside.replace(path)
    except OSError as failed:
        raise Refusal(
            f"{path} cannot be written: {failed.strerror}.",
            "Free space or choose another place; the points themselves are stored.",
        ) from failed


def read_readings(path: Path) -> list[Point]:
    """Read points from a CSV file made by `write_readings`. Refusal for another file."""
    try:
        with path.open(newline="") as file:
            rows = list(csv.DictReader(file))
        return [
            Point(
                row["rising"] == "1",
                *(float(row[name]) for name in COLUMNS[1:5]),  # type: ignore[arg-type]
                *(int(row[name]) for name in COLUMNS[5:]),
            )
            for row in rows
        ]
    except (OSError, KeyError, TypeError, ValueError) as failed:
        raise Refusal(
            f"{path} does not contain the points of a calibration.",
            "Use a file written by `rimward calibrate --readings`, or a new name.",
        ) from failed
