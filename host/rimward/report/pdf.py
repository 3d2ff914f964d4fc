"""Reports as PDF, A4, with the font inside."""

from collections.abc import Sequence
from typing import Any

from rimward import __version__
from rimward.report.build import FILL_HEADS, History, Report, fill_row, picture, picture_says
from rimward.sessions.facts import CAUTIONS, limit_text, sections
from rimward.tag.drawing import font_file

INK, RULE, GOOD, BAD = (20, 24, 29), (150, 155, 162), (31, 90, 43), (143, 23, 23)
NAME_MM = 62
MARGIN_MM = 16


def session_pdf(report: Report) -> bytes:
    """The report of one session."""
    pdf = _document(report.title)
    held = report.facts.verification.holds
    rows = sections(report.facts)
    pdf.set_text_color(*(GOOD if held else BAD))
    _line(pdf, rows[5][1][0][2], 11, bold=True)
    pdf.set_text_color(*INK)
    _cautions(pdf)
    drawn = picture(report.log, "png")
    if drawn:
        import io

        pdf.image(io.BytesIO(drawn), w=pdf.epw, alt_text=picture_says(report.facts))
    for heading, lines in rows:
        _section(pdf, heading, [(name, text) for _key, name, text in lines])
    start = report.log.events[0]["tick"] if report.log.events else 0
    _section(pdf, "Events", [(f"{(e['tick'] - start) * 0.002:.2f} s", e["event"]) for e in report.log.events])
    pdf.ln(2)
    _line(pdf, f"Made by Rimward {__version__} from a session file with SHA-256 {report.digest}. All pressures gauge unless they say absolute.", 7)
    return bytes(pdf.output())


def history_pdf(history: History) -> bytes:
    """The history of a wheel."""
    pdf = _document(history.title, "landscape")
    _line(pdf, f"Wheel {history.wheel_id}: kept on this computer: fills {len(history.fills)}, profiles issued {len(history.profiles)}.", 10)
    _cautions(pdf)
    _grid(pdf, "Fills", FILL_HEADS, [fill_row(f) for f in history.fills])
    if history.intervals:
        _heading(pdf, "Loss between fills")
        for line in history.loss:
            _line(pdf, line, 9, bold=True)
        for line in history.intervals:
            _line(pdf, line, 8)
    issued = [(str(p["revision"]), p["when"], p["who"], limit_text(p["ceiling_pa"]), limit_text(p["target_pa"])) for p in history.profiles]
    _grid(pdf, "Profiles", ("Revision", "Issued", "By", "Ceiling", "Target"), issued)
    pdf.ln(2)
    _line(pdf, f"Made by Rimward {__version__}. All pressures gauge.", 7)
    return bytes(pdf.output())


def _document(title: str, orientation: str = "portrait") -> Any:
    from fpdf import FPDF

    class Sheet(FPDF):
        def footer(self) -> None:
            self.set_y(-12)
            self.set_font("DejaVu", "", 8)
            self.cell(0, 6, f"{title}, page {self.page_no()} of {{nb}}", align="R")

    pdf = Sheet(orientation=orientation, format="A4")  # type: ignore[arg-type]
    pdf.set_margin(MARGIN_MM)
    pdf.set_auto_page_break(True, 16)
    for bold in (False, True):
        pdf.add_font("DejaVu", "B" if bold else "", str(font_file(bold)))
    pdf.set_title(title)
    pdf.set_lang("en")
    pdf.add_page()
    pdf.set_text_color(*INK)
    _line(pdf, title, 18, bold=True)
    return pdf


def _line(pdf: Any, text: str, size_pt: float, bold: bool = False) -> None:
    pdf.set_font("DejaVu", "B" if bold else "", size_pt)
    pdf.multi_cell(0, size_pt * 0.5, text, align="L", new_x="LMARGIN", new_y="NEXT")


def _cautions(pdf: Any) -> None:
    pdf.ln(1)
    top = pdf.get_y()
    pdf.set_x(pdf.l_margin + 5)
    pdf.set_font("DejaVu", "", 9)
    for text in CAUTIONS:
        pdf.set_x(pdf.l_margin + 5)
        pdf.multi_cell(0, 4.6, text, align="L", new_x="LMARGIN", new_y="NEXT")
    pdf.set_fill_color(*INK)
    pdf.rect(pdf.l_margin, top, 2.5, pdf.get_y() - top, style="F")
    pdf.set_fill_color(255)  # a table fills its cells with whatever was set last
    pdf.ln(2)


def _heading(pdf: Any, text: str) -> None:
    if pdf.will_page_break(24):
        pdf.add_page()
    pdf.ln(2.5)
    pdf.set_draw_color(*INK)
    pdf.set_line_width(0.6)
    pdf.line(pdf.l_margin, pdf.get_y(), pdf.w - pdf.r_margin, pdf.get_y())
    pdf.ln(1)
    _line(pdf, text, 11.5, bold=True)


def _section(pdf: Any, heading: str, rows: Sequence[tuple[str, str]]) -> None:
    _heading(pdf, heading)
    for name, text in rows:
        if pdf.will_page_break(10):
            pdf.add_page()
        y = pdf.get_y()
        pdf.set_font("DejaVu", "B", 9)
        pdf.cell(NAME_MM, 5, name)
        pdf.set_font("DejaVu", "", 9)
        pdf.set_xy(pdf.l_margin + NAME_MM, y)
        pdf.multi_cell(0, 5, text, align="L", new_x="LMARGIN", new_y="NEXT")


def _grid(pdf: Any, heading: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    _heading(pdf, heading)
    pdf.set_font("DejaVu", "", 8)
    if not rows:
        _line(pdf, "None.", 9)
        return
    pdf.set_draw_color(*RULE)
    with pdf.table(borders_layout="HORIZONTAL_LINES", line_height=4.2, text_align="LEFT", first_row_as_headings=False) as table:
        for bold, cells in [(True, heads), *((False, row) for row in rows)]:
            line = table.row()
            pdf.set_font("DejaVu", "B" if bold else "", 8)
            for cell in cells:
                line.cell(cell)
