"""Paper documents as PDF, A4 or Letter: headings, sections, tables, pictures, a signature line."""

import io
from collections.abc import Sequence
from typing import Any

from fpdf import FPDF

from rimward.base import settings
from rimward.paper.drawing import font_file

INK, RULE = (20, 24, 29), (150, 155, 162)
PAPERS = {"a4": "A4", "letter": "Letter"}
NAME_MM = 62
MARGIN_MM = 16
FOOT_MM = 16


class Sheet(FPDF):
    """Document with title and page number at the foot of every page."""

    def __init__(self, title: str, paper: str, orientation: str) -> None:
        super().__init__(orientation=orientation, format=paper)
        self.heading_text = title

    def footer(self) -> None:
        """Write title and page number."""
        self.set_y(-12)
        self.set_font("DejaVu", "", 8)
        self.cell(0, 6, f"{self.heading_text}, page {self.page_no()} of {{nb}}", align="R")

    def ink(self) -> None:
        """Set the ordinary text colour."""
        self.set_text_color(*INK)


def new_sheet(title: str, paper: str | None = None, orientation: str = "portrait") -> Sheet:
    """Start a document with its first page and title. `paper`: a name of PAPERS; None: the setting `paper`, else A4."""
    sheet = Sheet(title, PAPERS[paper or settings.value("paper") or "a4"], orientation)
    sheet.set_margin(MARGIN_MM)
    sheet.set_auto_page_break(True, FOOT_MM)
    for bold in (False, True):
        sheet.add_font("DejaVu", "B" if bold else "", str(font_file(bold)))
    sheet.set_title(title)
    sheet.set_lang("en")
    sheet.add_page()
    sheet.ink()
    line(sheet, title, 16, bold=True)
    return sheet


def line(sheet: Sheet, text: str, size_pt: float, bold: bool = False) -> None:
    """Write a paragraph over the full width."""
    sheet.set_font("DejaVu", "B" if bold else "", size_pt)
    sheet.multi_cell(0, size_pt * 0.5, text, align="L", new_x="LMARGIN", new_y="NEXT")


def caution_box(sheet: Sheet, texts: Sequence[str]) -> None:
    """Write cautions with a bar beside them."""
    sheet.ln(1)
    top = sheet.get_y()
    sheet.set_font("DejaVu", "", 8.5)
    for text in texts:
        sheet.set_x(sheet.l_margin + 5)
        sheet.multi_cell(0, 4.2, text, align="L", new_x="LMARGIN", new_y="NEXT")
    sheet.set_fill_color(*INK)
    sheet.rect(sheet.l_margin, top, 2.5, sheet.get_y() - top, style="F")
    sheet.set_fill_color(255)  # a table fills its cells with the last colour set
    sheet.ln(1.5)


def heading(sheet: Sheet, text: str) -> None:
    """Write a heading under a rule, kept together with the following text."""
    if sheet.will_page_break(24):
        sheet.add_page()
    sheet.ln(2.5)
    sheet.set_draw_color(*INK)
    sheet.set_line_width(0.6)
    sheet.line(sheet.l_margin, sheet.get_y(), sheet.w - sheet.r_margin, sheet.get_y())
    sheet.ln(1)
    line(sheet, text, 11.5, bold=True)


def section(sheet: Sheet, title: str, rows: Sequence[tuple[str, str]]) -> None:
    """Write a heading and its rows of name and text."""
    heading(sheet, title)
    for name, text in rows:
        if sheet.will_page_break(10):
            sheet.add_page()
        y = sheet.get_y()
        sheet.set_font("DejaVu", "B", 9)
        sheet.cell(NAME_MM, 5, name)
        sheet.set_font("DejaVu", "", 9)
        sheet.set_xy(sheet.l_margin + NAME_MM, y)
        sheet.multi_cell(0, 5, text, align="L", new_x="LMARGIN", new_y="NEXT")


def rows_in_columns(
    sheet: Sheet, *columns: Sequence[tuple[str, Sequence[tuple[str, str]]]]
) -> None:
    """Write sections side by side in small type, one column each; continue below the longest, past the page's end if they do not fit."""
    top, lowest, gap = sheet.get_y(), sheet.get_y(), 5.0
    width = (sheet.epw - gap * (len(columns) - 1)) / len(columns)
    for number, sections in enumerate(columns):
        x = sheet.l_margin + number * (width + gap)
        sheet.set_y(top)
        for title, rows in sections:
            _small_section(sheet, x, width, title, rows)
        lowest = max(lowest, sheet.get_y())
    sheet.set_y(lowest + 1)


def _small_section(
    sheet: Sheet, x: float, width: float, title: str, rows: Sequence[tuple[str, str]]
) -> None:
    name_mm, step = width * 0.31, 3.3
    y = sheet.get_y() + 1.2
    sheet.set_draw_color(*INK)
    sheet.set_line_width(0.4)
    sheet.line(x, y, x + width, y)
    sheet.set_xy(x, y + 0.6)
    sheet.set_font("DejaVu", "B", 8)
    sheet.cell(width, 4, title)
    sheet.set_y(y + 4.8)
    for name, text in rows:
        y = sheet.get_y()
        sheet.set_xy(x, y)
        sheet.set_font("DejaVu", "B", 6.5)
        sheet.multi_cell(name_mm, step, name, align="L", new_x="LMARGIN", new_y="NEXT")
        below = sheet.get_y()
        sheet.set_xy(x + name_mm, y)
        sheet.set_font("DejaVu", "", 6.5)
        sheet.multi_cell(width - name_mm, step, text, align="L", new_x="LMARGIN", new_y="NEXT")
        sheet.set_y(max(below, sheet.get_y()))


def grid(sheet: Sheet, title: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Write a table under a heading."""
    heading(sheet, title)
    sheet.set_font("DejaVu", "", 8)
    if not rows:
        line(sheet, "None.", 9)
        return
    sheet.set_draw_color(*RULE)
    with sheet.table(
        borders_layout="HORIZONTAL_LINES",
        line_height=4.2,
        text_align="LEFT",
        first_row_as_headings=False,
    ) as table:
        for bold, cells in [(True, heads), *((False, row) for row in rows)]:
            row = table.row()
            sheet.set_font("DejaVu", "B" if bold else "", 8)
            for cell in cells:
                row.cell(cell)


def signature(sheet: Sheet, names: Sequence[str]) -> None:
    """Draw lines for signatures, side by side."""
    if sheet.will_page_break(14):
        sheet.add_page()
    sheet.ln(8)
    width, gap = sheet.epw / len(names), 6.0
    y = sheet.get_y()
    sheet.set_draw_color(*INK)
    sheet.set_line_width(0.2)
    sheet.set_font("DejaVu", "", 7.5)
    for number, name in enumerate(names):
        x = sheet.l_margin + number * width
        sheet.line(x, y, x + width - gap, y)
        sheet.set_xy(x, y + 0.5)
        sheet.cell(width, 4, name)
    sheet.set_xy(sheet.l_margin, y + 5)


def fits(sheet: Sheet) -> bool:
    """Return True if everything on a sheet without page breaks is above its foot."""
    return sheet.pages_count == 1 and sheet.get_y() <= sheet.h - FOOT_MM + 2


def document(title: str, parts: Sequence[tuple[str, Any]], paper: str | None = None) -> bytes:
    """Return a PDF of parts in order, for certificates and similar documents.

    Parts: ("text", str), ("cautions", texts), ("rows", (title, rows of name and text)), ("table", (title, heads, rows)),
    ("picture", (PNG bytes, what it shows in words)), ("signature", names). Raises KeyError for another kind.
    """
    sheet = new_sheet(title, paper)
    for kind, what in parts:
        if kind == "picture":
            sheet.image(io.BytesIO(what[0]), w=sheet.epw, alt_text=what[1])
        else:
            PARTS[kind](sheet, what)
    return bytes(sheet.output())


PARTS: dict[str, Any] = {
    "text": lambda sheet, what: line(sheet, what, 9),
    "cautions": caution_box,
    "rows": lambda sheet, what: section(sheet, *what),
    "table": lambda sheet, what: grid(sheet, *what),
    "signature": signature,
}
