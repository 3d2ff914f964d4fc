"""Content of a report: a session's facts with its trace, or a wheel's fills and profiles."""

import contextlib
import hashlib
import io
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rimward.base import settings
from rimward.base.errors import Refusal
from rimward.sessions.drawing import paint
from rimward.sessions.facts import (
    Facts,
    facts,
    limit_text,
    reading_text,
    target_text,
    verdict_text,
    when_text,
)
from rimward.sessions.log import SessionLog, read_session
from rimward.sessions.report.archive import NAME, Archive, Query, who_kept
from rimward.sessions.report.losses import interval_text, wheel_loss
from rimward.sessions.verification import keys_for
from rimward.wheels.register import open_register

FORMS = (".html", ".pdf")
HISTORY_MOST = 200


@dataclass(frozen=True)
class Report:
    """One session, ready to be written."""

    facts: Facts
    log: SessionLog
    data: bytes
    workshop: str = ""
    customer: str = ""

    @property
    def parties(self) -> tuple[tuple[str, str], ...]:
        """Return (name, text) of workshop, customer and person."""
        return (
            ("Workshop", self.workshop or "not stated"),
            ("Customer", self.customer or "not stated"),
            ("Filled by", self.facts.who or "not recorded"),
        )

    @property
    def title(self) -> str:
        """Heading of the report."""
        return f"Fill of {self.facts.label}"

    @property
    def digest(self) -> str:
        """SHA-256 of the session file behind the report."""

        return hashlib.sha256(self.data).hexdigest()


@dataclass(frozen=True)
class History:
    """One wheel: its fills, newest first, and every profile issued for it."""

    wheel_id: str
    label: str
    fills: tuple[Facts, ...]
    profiles: tuple[dict[str, Any], ...]
    loss: tuple[str, ...] = ()
    intervals: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """Heading of the history."""
        return f"History of {self.label}"


def report_of(data: bytes, who: str = "", customer: str = "") -> Report:
    """Build the report of a session's bytes, with the setting `workshop`. Refusal for bytes that are not a session."""
    log = read_session(data)
    return Report(
        facts(log, data, who, keys_for(log)), log, data, settings.value("workshop") or "", customer
    )


def owner_of(wheel_id: str | None, database: str | None = None) -> str:
    """Owner of a wheel by the register; empty if unknown."""

    if wheel_id is None:
        return ""
    try:
        with contextlib.closing(open_register(database)) as register:
            wheel = register.by_id(wheel_id)
    except Refusal:
        return ""  # a report works without a register
    return str(wheel.values.get("owner", "")) if wheel else ""


def session_report(wanted: str, customer: str = "", database: str | None = None) -> Report:
    """Build the report of a session file, or of a stored session by name. The customer is the wheel's owner unless stated."""
    found = _session_report(wanted)
    return replace(found, customer=customer or owner_of(found.facts.wheel_id, database))


def _session_report(wanted: str) -> Report:
    if NAME.fullmatch(wanted) and not Path(wanted).exists():
        archive = Archive()
        return report_of(archive.read(wanted), archive.row(wanted)["who"])
    try:
        data = Path(wanted).read_bytes()
    except OSError as wrong:
        raise Refusal(
            f"{wanted} cannot be read: {wrong.strerror}.",
            "Use a session file, or the name of a stored session.",
        ) from wrong
    return report_of(data, who_kept(data))


def history_of(wanted: str, database: str | None = None) -> History:
    """Build the history of a wheel of the register, or of one that only stored fills name."""

    archive = Archive()
    try:
        with contextlib.closing(open_register(database)) as register:
            wheel = register.get(wanted, include_retired=True)
            changes = register.history(wheel.wheel_id)
    except Refusal:
        rows = archive.find(Query(wheel_id=wanted.lower()), 1)
        if not rows:
            raise
        return History(wanted.lower(), rows[0]["label"], _fills(archive, wanted.lower()), ())
    issued = [
        {
            "when": when_text(c.at_ms // 1000),
            "who": c.who,
            **{name: c.value[name] for name in ("revision", "ceiling_pa", "target_pa")},
        }
        for c in reversed(changes)
        if c.field == "profile" and c.value
    ]
    lost = wheel_loss(wheel, archive)
    between = tuple(interval_text(one) for one in reversed(lost.intervals))
    return History(
        wheel.wheel_id,
        wheel.label,
        _fills(archive, wheel.wheel_id),
        tuple(issued),
        tuple(lost.lines),
        between,
    )


def _fills(archive: Archive, wheel_id: str) -> tuple[Facts, ...]:
    found = [
        (archive.read(row["name"]), row["who"])
        for row in archive.find(Query(wheel_id=wheel_id), HISTORY_MOST)
    ]
    return tuple(report_of(data, who).facts for data, who in found)


FILL_HEADS = ("When", "Who", "Target", "Settled", "Highest", "Ceiling", "Ended by", "Verification")


def fill_row(f: Facts) -> tuple[str, ...]:
    """One fill of a history."""
    return (
        when_text(f.unix_s) if f.unix_s else "unknown",
        f.who or "not recorded",
        limit_text(f.target_pa),
        reading_text(f.tyre_pa, f.ceiling_pa),
        reading_text(f.highest_pa, f.ceiling_pa),
        limit_text(f.ceiling_pa),
        f.cause,
        verdict_text(f),
    )


def picture(log: SessionLog, form: str, height_in: float = 4.6) -> bytes:
    """Trace with target, stop reading and ceiling, as `svg` or `png`; None where the session holds no trace."""
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    if not len(log.series()):
        return b""
    figure = Figure(figsize=(10, height_in), dpi=150)
    FigureCanvasAgg(figure)
    paint(figure.subplots(), log)
    figure.tight_layout()
    out = io.BytesIO()
    with rc_context({"svg.hashsalt": "rimward"}):
        figure.savefig(out, format=form, metadata={"Date": None} if form == "svg" else None)
    return out.getvalue()


def picture_says(f: Facts) -> str:
    """Return the description of the picture."""
    return (
        f"Pressure over {f.seconds:.0f} seconds: highest reading {reading_text(f.highest_pa, f.ceiling_pa)}, target {target_text(f)}, "
        f"stop reading {limit_text(f.stop_pa)}, ceiling {limit_text(f.ceiling_pa)}."
    )
