"""Page of text, boxes and code modules in millimetres, drawn identically as SVG, PDF and PNG.

Letters in SVG are outlines and the PDF embeds its font, so that a tag looks the same on any computer and printer.
"""

import functools
import importlib.util
import io
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from rimward.base.errors import Refusal

PT_MM = 25.4 / 72
BLACK, WHITE, GREY = (0, 0, 0), (255, 255, 255), (90, 90, 90)
FORMS = (".svg", ".pdf", ".png")
SHEETS = {
    "a4": (210.0, 297.0),
    "letter": (215.9, 279.4),
}  # ISO 216; ANSI/ASME Y14.1 size A, from memory
SHEET_MARGIN_MM, CUT_MM = 15.0, 5.0
Colour = tuple[int, int, int]


@dataclass(frozen=True)
class Text:
    """One line; `x_mm`, `y_mm` its baseline; `anchor` start, middle or end."""

    x_mm: float
    y_mm: float
    text: str
    size_pt: float
    bold: bool = False
    colour: Colour = BLACK
    anchor: str = "start"


@dataclass(frozen=True)
class Box:
    """A rectangle, filled or outlined."""

    x_mm: float
    y_mm: float
    w_mm: float
    h_mm: float
    fill: Colour | None = None
    stroke_mm: float = 0.0


@dataclass(frozen=True)
class Modules:
    """A code's dark modules, each a square of `module_mm`; the quiet zone is the caller's."""

    x_mm: float
    y_mm: float
    module_mm: float
    rows: tuple[tuple[bool, ...], ...]


@dataclass(frozen=True)
class Page:
    """Page and its items in drawing order. `title` and `says` are for screen readers and file properties."""

    width_mm: float
    height_mm: float
    title: str
    says: str
    items: Sequence[Text | Box | Modules] = field(default_factory=tuple)


@functools.cache
def font_file(bold: bool) -> Path:
    """DejaVu Sans as shipped with the plotting library (found without importing that library)."""
    spec = importlib.util.find_spec("matplotlib")
    if spec is None or spec.origin is None:
        raise Refusal("The font of matplotlib is missing.", "Install Rimward again.")
    return (
        Path(spec.origin).parent
        / "mpl-data"
        / "fonts"
        / "ttf"
        / ("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf")
    )


@functools.cache
def font(bold: bool) -> tuple[Any, dict[int, str], Any]:
    """Return the opened font, its character map and its glyphs."""
    from fontTools.ttLib import TTFont

    opened = TTFont(font_file(bold))
    return opened, opened.getBestCmap(), opened.getGlyphSet()


def glyph_names(text: str, bold: bool) -> list[str]:
    """Glyph names of a text."""
    cmap = font(bold)[1]
    return [cmap.get(ord(c), ".notdef") for c in text]


def width_mm(text: str, size_pt: float, bold: bool = False) -> float:
    """Width of a line, mm."""
    opened, _, glyphs = font(bold)
    units = sum(glyphs[name].width for name in glyph_names(text, bold))
    return float(units / opened["head"].unitsPerEm * size_pt * PT_MM)


def fitted(
    text: str, room_mm: float, size_pt: float, least_pt: float, bold: bool = False
) -> tuple[str, float]:
    """Shrink a line, then cut it with an ellipsis, until it fits. Never used on a pressure."""
    while size_pt > least_pt and width_mm(text, size_pt, bold) > room_mm:
        size_pt = max(least_pt, size_pt - 0.25)
    whole = text
    while text and width_mm(text, size_pt, bold) > room_mm:
        whole = whole[:-1].rstrip()
        text = whole + "…"
    return text, size_pt


def left_edge(item: Text) -> float:
    """Left edge of a line, mm."""
    share = {"start": 0.0, "middle": 0.5, "end": 1.0}[item.anchor]
    return item.x_mm - share * width_mm(item.text, item.size_pt, item.bold)


def number(value: float) -> str:
    """Format a coordinate."""
    return f"{value:.4f}".rstrip("0").rstrip(".")


def svg_colour(colour: Colour) -> str:
    """Format a colour for SVG."""
    return "#{:02x}{:02x}{:02x}".format(*colour)


def svg_text(item: Text) -> str:
    """Outlines of a line."""
    from fontTools.pens.svgPathPen import SVGPathPen
    from fontTools.pens.transformPen import TransformPen

    opened, _, glyphs = font(item.bold)
    scale = item.size_pt * PT_MM / opened["head"].unitsPerEm
    pen = SVGPathPen(glyphs, ntos=number)
    x = left_edge(item)
    for name in glyph_names(item.text, item.bold):
        glyphs[name].draw(TransformPen(pen, (scale, 0, 0, -scale, x, item.y_mm)))
        x += glyphs[name].width * scale
    return f'<path fill="{svg_colour(item.colour)}" d="{pen.getCommands()}"/>'


def svg_box(item: Box) -> str:
    """Box as SVG."""
    fill = svg_colour(item.fill) if item.fill else "none"
    stroke = f' stroke="#000000" stroke-width="{number(item.stroke_mm)}"' if item.stroke_mm else ""
    x, y, w, h = (number(v) for v in (item.x_mm, item.y_mm, item.w_mm, item.h_mm))
    return f'<rect x="{x}" y="{y}" width="{w}" height="{h}" fill="{fill}"{stroke}/>'


def runs(item: Modules) -> list[tuple[float, float, float]]:
    """Return the joined runs of dark modules in a row: (x, y, width) in mm."""
    found = []
    for r, row in enumerate(item.rows):
        start = None
        for c, dark in enumerate((*row, False)):
            if dark and start is None:
                start = c
            elif not dark and start is not None:
                found.append(
                    (
                        item.x_mm + start * item.module_mm,
                        item.y_mm + r * item.module_mm,
                        (c - start) * item.module_mm,
                    )
                )
                start = None
    return found


def svg_modules(item: Modules) -> str:
    """Code modules as SVG."""
    step = number(item.module_mm)
    path = "".join(
        f"M{number(x)} {number(y)}h{number(w)}v{step}h-{number(w)}z" for x, y, w in runs(item)
    )
    return f'<path fill="#000000" shape-rendering="crispEdges" d="{path}"/>'


def to_svg(page: Page) -> bytes:
    """Return the page as SVG 1.1 in true size."""
    drawers = {Text: svg_text, Box: svg_box, Modules: svg_modules}
    w, h = number(page.width_mm), number(page.height_mm)
    body = "\n".join(drawers[type(item)](item) for item in page.items)  # type: ignore[operator]
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" viewBox="0 0 {w} {h}" role="img">'
    return f"{head}\n<title>{escape(page.title)}</title>\n<desc>{escape(page.says)}</desc>\n{body}\n</svg>\n".encode()


def on_sheet(page: Page, sheet: str) -> Page:
    """Place the page in true size at the top left of a sheet of paper (a name of SHEETS), with cutting marks."""
    width, height = SHEETS[sheet]
    x, y, far_x, far_y = (
        SHEET_MARGIN_MM,
        SHEET_MARGIN_MM,
        SHEET_MARGIN_MM + page.width_mm,
        SHEET_MARGIN_MM + page.height_mm,
    )
    moved = [replace(item, x_mm=item.x_mm + x, y_mm=item.y_mm + y) for item in page.items]
    across = [
        Box(at, line, CUT_MM, 0.1, fill=GREY)
        for line in (y, far_y)
        for at in (x - CUT_MM - 1, far_x + 1)
    ]
    along = [
        Box(line, at, 0.1, CUT_MM, fill=GREY)
        for line in (x, far_x)
        for at in (y - CUT_MM - 1, far_y + 1)
    ]
    return Page(width, height, page.title, page.says, [*moved, *across, *along])


def to_pdf(page: Page) -> bytes:
    """Return the page as a one-page PDF in true size."""
    from fpdf import FPDF

    pdf = FPDF(unit="mm", format=(page.width_mm, page.height_mm))
    pdf.set_auto_page_break(False)
    pdf.set_margin(0)
    for bold in (False, True):
        pdf.add_font("DejaVu", "B" if bold else "", str(font_file(bold)))
    pdf.set_title(page.title)
    pdf.set_subject(page.says)
    pdf.add_page()
    for item in page.items:
        pdf_item(pdf, item)
    return bytes(pdf.output())


def pdf_item(pdf: Any, item: Text | Box | Modules) -> None:
    """Draw one item into the PDF."""
    if isinstance(item, Text):
        pdf.set_font("DejaVu", "B" if item.bold else "", item.size_pt)
        pdf.set_text_color(*item.colour)
        pdf.text(left_edge(item), item.y_mm, item.text)
    elif isinstance(item, Box):
        pdf.set_line_width(item.stroke_mm or 0.1)
        if item.fill:
            pdf.set_fill_color(*item.fill)
        style = ("D" if item.stroke_mm else "") + ("F" if item.fill else "")
        pdf.rect(item.x_mm, item.y_mm, item.w_mm, item.h_mm, style=style)
    else:
        pdf.set_fill_color(*BLACK)
        for x, y, w in runs(item):
            pdf.rect(x, y, w, item.module_mm, style="F")


def to_png(page: Page, pixel_mm: float) -> bytes:
    """Return the page as PNG, `pixel_mm` a pixel; it contains the resolution, so that it prints in true size."""

    from PIL import Image, ImageDraw

    image = Image.new(
        "RGB", (round(page.width_mm / pixel_mm), round(page.height_mm / pixel_mm)), WHITE
    )
    draw = ImageDraw.Draw(image)
    for item in page.items:
        png_item(draw, item, pixel_mm)
    out = io.BytesIO()
    image.save(out, "PNG", dpi=(25.4 / pixel_mm, 25.4 / pixel_mm))
    return out.getvalue()


def png_item(draw: Any, item: Text | Box | Modules, pixel_mm: float) -> None:
    """Draw one item into the picture."""
    from PIL import ImageFont

    if isinstance(item, Text):
        face = ImageFont.truetype(
            str(font_file(item.bold)),
            item.size_pt * PT_MM / pixel_mm,
            layout_engine=ImageFont.Layout.BASIC,
        )
        draw.text(
            (left_edge(item) / pixel_mm, item.y_mm / pixel_mm),
            item.text,
            item.colour,
            font=face,
            anchor="ls",
        )
    elif isinstance(item, Box):
        corners = pixels(item.x_mm, item.y_mm, item.w_mm, item.h_mm, pixel_mm)
        draw.rectangle(
            corners,
            fill=item.fill,
            outline=BLACK if item.stroke_mm else None,
            width=max(1, round(item.stroke_mm / pixel_mm)),
        )
    else:
        for x, y, w in runs(item):
            draw.rectangle(pixels(x, y, w, item.module_mm, pixel_mm), fill=BLACK)


def pixels(
    x_mm: float, y_mm: float, w_mm: float, h_mm: float, pixel_mm: float
) -> tuple[int, int, int, int]:
    """First and last pixel of a rectangle."""
    left, top = round(x_mm / pixel_mm), round(y_mm / pixel_mm)
    return left, top, round((x_mm + w_mm) / pixel_mm) - 1, round((y_mm + h_mm) / pixel_mm) - 1


def write(page: Page, path: Path, pixel_mm: float, sheet: str | None = None) -> None:
    """Write the page in the format of the file name's suffix; on a sheet of paper where `sheet` names one (PDF only)."""
    form = path.suffix.lower()
    if sheet is not None and form != ".pdf":
        raise Refusal(
            "Only a PDF can be placed on a sheet of paper.",
            "End the name in .pdf, or omit --sheet.",
        )
    page = page if sheet is None else on_sheet(page, sheet)
    if form not in FORMS:
        raise Refusal(f"'{path.name}' has no known format.", f"End the name in {', '.join(FORMS)}.")
    data = (
        to_svg(page)
        if form == ".svg"
        else to_pdf(page)
        if form == ".pdf"
        else to_png(page, pixel_mm)
    )
    try:
        path.write_bytes(data)
    except OSError as failed:
        raise Refusal(
            f"{path} cannot be written: {failed.strerror}.", "Choose another place."
        ) from failed
