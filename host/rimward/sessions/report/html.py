"""Reports as one self-contained HTML file."""

from importlib import resources

from jinja2 import Environment

from rimward import __version__
from rimward.sessions.eventtext import event_text
from rimward.sessions.facts import CAUTIONS, limit_text, sections
from rimward.sessions.report.build import (
    FILL_HEADS,
    History,
    Report,
    fill_row,
    picture,
    picture_says,
)


def session_html(report: Report) -> str:
    """Return the report of one session."""
    drawn = picture(report.log, "svg").decode()
    return _render(
        "session.html.j2",
        title=report.title,
        sections=sections(report.facts),
        parties=report.parties,
        trace=drawn[drawn.index("<svg") :] if drawn else "",
        says=picture_says(report.facts),
        events=[(row["tick"], event_text(row)) for row in report.log.events],
        digest=report.digest,
        verified=report.facts.verification.holds,
    )


def history_html(history: History) -> str:
    """Return the history of a wheel."""
    return _render(
        "history.html.j2",
        title=history.title,
        h=history,
        heads=FILL_HEADS,
        rows=[fill_row(f) for f in history.fills],
        limit_text=limit_text,
    )


def _render(name: str, **values: object) -> str:
    folder = resources.files("rimward.sessions.report").joinpath("templates")
    environment = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True)
    style = folder.joinpath("report.css").read_text(encoding="utf-8")
    text = folder.joinpath(name).read_text(encoding="utf-8")
    return environment.from_string(text).render(
        style=style, cautions=CAUTIONS, version=__version__, **values
    )
