"""Reports as PDF, A4 or Letter, with embedded font. The report of a fill is one page if everything fits."""

import io
from collections.abc import Sequence

from rimward import __version__
from rimward.paper.sheet import (
    Sheet,
    caution_box,
    fits,
    grid,
    heading,
    line,
    new_sheet,
    rows_in_columns,
    section,
    signature,
)
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

GOOD, BAD = (31, 90, 43), (143, 23, 23)
PICTURES_IN = (4.6, 3.8, 3.2)  # heights to try, for a width of 10
Section = tuple[str, list[tuple[str, str]]]


def session_pdf(report: Report, paper: str | None = None) -> bytes:
    """Return the report of one session: one page in two columns if everything fits, else one section after the other."""
    for picture_in in PICTURES_IN:
        one = _one_page(report, paper, picture_in)
        if one is not None:
            return bytes(one.output())
    sheet = new_sheet(report.title, paper)
    _head(sheet, report, PICTURES_IN[0])
    for name, lines in _sections(report):
        section(sheet, name, lines)
    section(sheet, "Events", _events(report))
    signature(sheet, ("Signature", "Date"))
    _foot(sheet, report)
    return bytes(sheet.output())


def _one_page(report: Report, paper: str | None, picture_in: float) -> Sheet | None:
    """Return the report on one page with a picture of this height, None if it does not fit."""
    sheet = new_sheet(report.title, paper)
    sheet.set_auto_page_break(False)
    _head(sheet, report, picture_in)
    parts = _sections(report)
    events = "; ".join(f"{at} {name}" for at, name in _events(report))
    rows_in_columns(sheet, [parts[0], parts[1], parts[4]], [parts[2], parts[3], parts[5]])
    line(sheet, f"Events: {events}.", 7)
    signature(sheet, ("Signature", "Date"))
    _foot(sheet, report)
    return sheet if fits(sheet) else None


def _head(sheet: Sheet, report: Report, picture_in: float) -> None:
    sheet.set_text_color(*(GOOD if report.facts.verification.holds else BAD))
    line(sheet, sections(report.facts)[5][1][0][2], 10, bold=True)
    sheet.ink()
    line(sheet, "   ".join(f"{name}: {text}" for name, text in report.parties), 9)
    caution_box(sheet, CAUTIONS)
    drawn = picture(report.log, "png", picture_in)
    if drawn:
        sheet.image(io.BytesIO(drawn), w=sheet.epw, alt_text=picture_says(report.facts))


def _sections(report: Report) -> list[Section]:
    return [
        (name, [(label, text) for _key, label, text in lines])
        for name, lines in sections(report.facts)
    ]


def _events(report: Report) -> list[tuple[str, str]]:
    start = report.log.events[0]["tick"] if report.log.events else 0
    return [(f"{(e['tick'] - start) * 0.002:.2f} s", event_text(e)) for e in report.log.events]


def _foot(sheet: Sheet, report: Report) -> None:
    sheet.ln(1.5)
    line(
        sheet,
        f"Made by Rimward {__version__} from a session file with SHA-256 {report.digest}. All pressures gauge unless they say absolute.",
        6.5,
    )


def history_pdf(history: History, paper: str | None = None) -> bytes:
    """Return the history of a wheel."""
    sheet = new_sheet(history.title, paper, "landscape")
    line(
        sheet,
        f"Wheel {history.wheel_id}: stored on this computer: fills {len(history.fills)}, profiles issued {len(history.profiles)}.",
        10,
    )
    caution_box(sheet, CAUTIONS)
    grid(sheet, "Fills", FILL_HEADS, [fill_row(f) for f in history.fills])
    if history.intervals:
        heading(sheet, "Loss between fills")
        _lines(sheet, history.loss, 9, bold=True)
        _lines(sheet, history.intervals, 8)
    issued = [
        (
            str(p["revision"]),
            p["when"],
            p["who"],
            limit_text(p["ceiling_pa"]),
            limit_text(p["target_pa"]),
        )
        for p in history.profiles
    ]
    grid(sheet, "Profiles", ("Revision", "Issued", "By", "Ceiling", "Target"), issued)
    sheet.ln(2)
    line(sheet, f"Made by Rimward {__version__}. All pressures gauge.", 7)
    return bytes(sheet.output())


def _lines(sheet: Sheet, texts: Sequence[str], size_pt: float, bold: bool = False) -> None:
    for text in texts:
        line(sheet, text, size_pt, bold)
