"""Wheel tags: the right words in true size, a code that survives blur and tilt, and no tag that no longer counts passing for one that does."""

import json
import math
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pypdfium2
import pytest
import segno
from PIL import Image, ImageEnhance, ImageFilter
from rimward.base.errors import Refusal
from rimward.limits.ceiling import Place, Ride
from rimward.paper import drawing
from rimward.wheels.profiles import Asked, build
from rimward.wheels.tag import code, design, reading

from tests.unit.shopdesk import FRONT, RIDE

WHEEL = {
    "label": "Aspen race",
    "position": "front",
    "rim": "622x23TSS",
    "rim_max": "5 bar",
    "tyre": "30-622",
    "approved": "yes",
    "air": "tubeless",
}
PROFILE = build(WHEEL, bytes(range(1, 9)), 3, Asked(410_000, Place.of(18, 200), Ride.of(2400, 45)))
PAGE = design.wheel_tag(PROFILE)
DPI = 300


def texts(page):
    return [item.text for item in page.items if isinstance(item, drawing.Text)]


@pytest.fixture(scope="module")
def printed(tmp_path_factory) -> Image.Image:
    """The tag as PNG, as the command writes it."""
    path = tmp_path_factory.mktemp("tag") / "tag.png"
    drawing.write(PAGE, path, design.PIXEL_MM)
    with Image.open(path) as image:
        return image.convert("L")


def photographed(
    image: Image.Image,
    dpi: float = DPI,
    angle: float = 0.0,
    blur_px: float = 0.0,
    lean: float = 0.0,
    contrast: float = 1.0,
) -> Image.Image:
    """The tag on a grey bench: at a camera's resolution, turned, leaned back (perspective), out of focus, in dull light."""
    scale = dpi / (25.4 / design.PIXEL_MM)
    small = image.resize(
        (round(image.width * scale), round(image.height * scale)), Image.Resampling.LANCZOS
    )
    bench = Image.new("L", (small.width * 2, small.height * 2), 110)
    bench.paste(small, (small.width // 2, small.height // 2))
    bench = bench.rotate(angle, Image.Resampling.BICUBIC, fillcolor=110)
    if lean:
        w, h, d = bench.width, bench.height, bench.width * lean
        bench = bench.transform(
            (w, h),
            Image.Transform.QUAD,
            (-d, 0, d, h, w - d, h, w + d, 0),
            Image.Resampling.BICUBIC,
            fillcolor=110,
        )
    return ImageEnhance.Contrast(bench.filter(ImageFilter.GaussianBlur(blur_px))).enhance(contrast)


def read_back(image: Image.Image, tmp_path: Path, name: str = "photo.png") -> bytes:
    image.save(tmp_path / name)
    return reading.read(tmp_path / name)


def test_the_tag_says_what_a_person_needs():
    said = " ".join(texts(PAGE))
    for words in ("CEILING", "gauge", "4.27", "bar", "61.9", "psi", "4.10 bar  59.4 psi", "30-622 on 622x23TSS", "FRONT", "Aspen race", "revision 3",
                  "Never fill above the ceiling."):  # fmt: skip
        assert words in said
    import re

    assert re.search(r"20\d\d-\d\d-\d\d", said)


def test_limits_on_the_tag_round_down():
    values = {**WHEEL, "rim": "622x19TC", "rim_max": "73 psi"}
    said = " ".join(
        texts(
            design.wheel_tag(build(values, bytes(range(1, 9)), 1, Asked(499_999, Place.of(20, 0))))
        )
    )
    assert "5.03" in said and "72.9" in said  # 73 psi is 503.317 kPa; the ceiling is 503 kPa
    assert "4.99 bar  72.5 psi" in said


@pytest.mark.parametrize("change, target_pa", [
    ({}, 410_000), ({"label": "W" * 20, "position": "any"}, 300_000), ({"label": "Ωμέγα κύκλος"}, 300_000),
    ({"rim": "622x15C", "tyre": "23-622", "tyre_max": "12 bar", "rim_max": None, "approved": None, "air": "tube"}, 800_000),
    ({"rim": "622x23?", "bead": "rigid", "air": "tube"}, 300_000),
])  # fmt: skip
def test_nothing_stands_outside_the_tag_or_in_the_codes_quiet_zone(change, target_pa):
    values = {name: value for name, value in {**WHEEL, **change}.items() if value is not None}
    page = design.wheel_tag(build(values, bytes(range(1, 9)), 1, Asked(target_pa, Place.of(20, 0))))
    (modules,) = [item for item in page.items if isinstance(item, drawing.Modules)]
    side = len(modules.rows) * modules.module_mm
    quiet = code.QUIET_MODULES * modules.module_mm
    assert modules.module_mm >= 0.4 and modules.module_mm / (25.4 / 203) == pytest.approx(
        round(modules.module_mm / (25.4 / 203)), abs=0.01
    )
    assert (
        modules.x_mm + side + quiet <= 64 + 1e-9
        and modules.y_mm >= quiet
        and modules.y_mm + side + quiet <= 32 + 1e-9
    )
    lines = [item for item in page.items if isinstance(item, drawing.Text)]
    for line in lines:
        left = drawing.left_edge(line)
        assert (
            left >= 1
            and left + drawing.width_mm(line.text, line.size_pt, line.bold)
            <= modules.x_mm - quiet + 0.01
        ), line.text
        assert line.y_mm + design.DESCENT * line.size_pt * drawing.PT_MM <= 31.5, line.text
        assert capital_mm(line) >= 1.5, line.text
    rows = {}
    for line in lines:
        rows.setdefault(line.y_mm, []).append(
            (
                drawing.left_edge(line),
                drawing.width_mm(line.text, line.size_pt, line.bold),
                line.text,
            )
        )
    for row in rows.values():
        for (x, w, _), (after, _, text) in zip(sorted(row), sorted(row)[1:], strict=False):
            assert x + w <= after + 1e-6, f"{text} overlaps what stands before it"


def capital_mm(line):
    """Height of a capital letter as the font draws it."""
    from fontTools.pens.boundsPen import BoundsPen

    opened, _, glyphs = drawing.font(line.bold)
    pen = BoundsPen(glyphs)
    glyphs["H"].draw(pen)
    return pen.bounds[3] / opened["head"].unitsPerEm * line.size_pt * drawing.PT_MM


def test_the_tag_cautions_against_the_plane_of_the_wheel_and_puts_the_makers_first():
    said = " ".join(texts(PAGE))
    assert "wheel's plane" in said and "makers' limits come first" in said


def test_a_label_printer_of_203_dots_an_inch_prints_every_module_and_is_read_back(tmp_path):
    """Each module is whole dots; the picture as printed, black and white only, is read."""
    path = tmp_path / "tag.png"
    drawing.write(PAGE, path, 25.4 / 203)
    with Image.open(path) as image:
        assert image.info["dpi"][0] == pytest.approx(203, abs=0.1)
        bilevel = image.convert("L").point(lambda v: 255 if v > 127 else 0)
    assert read_back(bilevel, tmp_path, "printed.png") == PROFILE


@pytest.mark.parametrize(("sheet", "size_mm"), [("a4", (210, 297)), ("letter", (215.9, 279.4))])
def test_a_tag_on_a_sheet_keeps_its_size_and_reads_back(tmp_path, sheet, size_mm):
    path = tmp_path / "tag.pdf"
    drawing.write(PAGE, path, design.PIXEL_MM, sheet)
    with pypdfium2.PdfDocument(path) as pdf:
        assert pdf[0].get_size() == pytest.approx([mm / 25.4 * 72 for mm in size_mm], abs=0.02)
        image = pdf[0].render(scale=300 / 72).to_pil().convert("L")
    assert read_back(image, tmp_path) == PROFILE
    with pytest.raises(Refusal, match="Only a PDF"):
        drawing.write(PAGE, tmp_path / "tag.svg", design.PIXEL_MM, sheet)


def test_the_code_is_level_m_alphanumeric_and_small_enough():
    made = segno.make_qr(code.to_text(PROFILE), error="m", mode="alphanumeric", boost_error=False)
    assert (made.error, made.mode) == ("M", "alphanumeric") and len(made.matrix) == len(
        code.modules(PROFILE)
    ) <= 45
    assert code.from_text(code.to_text(PROFILE)) == PROFILE


@pytest.mark.parametrize("dpi", [1016, 300, 203])
def test_a_clean_print_is_read_at_any_resolution(printed, tmp_path, dpi):
    assert read_back(photographed(printed, dpi), tmp_path) == PROFILE


@pytest.mark.parametrize("how", [
    {"blur_px": 1.5}, {"blur_px": 2.0}, {"angle": 7}, {"angle": -23}, {"angle": 90}, {"angle": 181}, {"lean": 0.06}, {"lean": 0.12},
    {"angle": 12, "blur_px": 1.2}, {"angle": -30, "lean": 0.08, "blur_px": 1.0}, {"contrast": 0.35}, {"contrast": 0.4, "blur_px": 1.2, "angle": 5},
    {"dpi": 600, "blur_px": 4.0, "angle": 15}, {"dpi": 250, "blur_px": 1.0, "angle": 33, "lean": 0.05},
])  # fmt: skip
def test_blurred_and_tilted_pictures_are_read(printed, tmp_path, how):
    assert read_back(photographed(printed, **how), tmp_path) == PROFILE


def test_a_jpeg_of_a_photograph_is_read(printed, tmp_path):
    photographed(printed, angle=8, blur_px=1).save(tmp_path / "p.jpg", quality=45)
    assert reading.read(tmp_path / "p.jpg") == PROFILE


def test_a_scratch_through_the_code_is_read(printed, tmp_path):
    scratched = photographed(printed)
    scratched.paste(255, (scratched.width // 2, 0, scratched.width // 2 + 4, scratched.height))
    assert read_back(scratched, tmp_path) == PROFILE


def test_strong_blur_is_refused_never_misread(printed, tmp_path):
    with pytest.raises(Refusal, match="No wheel tag"):
        read_back(photographed(printed, blur_px=12), tmp_path)


def test_a_pdf_tag_has_true_size_and_reads_back(tmp_path):
    drawing.write(PAGE, tmp_path / "tag.pdf", design.PIXEL_MM)
    with pypdfium2.PdfDocument(tmp_path / "tag.pdf") as pdf:
        assert len(pdf) == 1
        page = pdf[0]
        assert page.get_size() == pytest.approx((64 / 25.4 * 72, 32 / 25.4 * 72), abs=0.02)
        said = page.get_textpage().get_text_range()
        image = page.render(scale=DPI / 72).to_pil()
    assert "CEILING" in said and "4.27" in said
    assert read_back(image, tmp_path) == PROFILE


def test_an_svg_tag_has_true_size_and_the_same_modules(tmp_path):
    drawing.write(PAGE, tmp_path / "tag.svg", design.PIXEL_MM)
    root = ElementTree.parse(tmp_path / "tag.svg").getroot()
    space = "{http://www.w3.org/2000/svg}"
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == (
        "64mm",
        "32mm",
        "0 0 64 32",
    )
    assert "4.27 bar (61.9 psi)" in root.findtext(f"{space}desc")
    assert not root.findall(f".//{space}text")  # outlines: no font is needed to print it
    (path,) = [p.get("d") for p in root.findall(f"{space}path") if p.get("shape-rendering")]
    dark = (
        sum(float(run.split("h")[1].split("v")[0]) for run in path.split("M")[1:])
        / design.MODULE_MM
    )
    assert round(dark) == sum(sum(row) for row in code.modules(PROFILE)) and math.isclose(
        dark, round(dark), abs_tol=0.01
    )


def test_a_png_tag_knows_its_size(tmp_path):
    drawing.write(PAGE, tmp_path / "tag.png", design.PIXEL_MM)
    with Image.open(tmp_path / "tag.png") as image:
        dpi = image.info["dpi"][0]
        assert image.width / dpi * 25.4 == pytest.approx(
            64, abs=0.05
        ) and image.height / dpi * 25.4 == pytest.approx(32, abs=0.05)


@pytest.mark.parametrize("content", [b"", b"not a picture", b"\x89PNG\r\n\x1a\n" + b"\0" * 40])
def test_files_of_another_kind_than_a_picture_are_refused(tmp_path, content):
    (tmp_path / "x.png").write_bytes(content)
    with pytest.raises(Refusal, match=r"x\.png"):
        reading.read(tmp_path / "x.png")


def test_a_picture_of_too_many_pixels_is_refused_before_it_is_decoded(tmp_path, monkeypatch):
    monkeypatch.setattr(reading, "IMAGE_MAX_PIXELS", 999)
    Image.new("L", (40, 25)).save(tmp_path / "x.png")
    with pytest.raises(Refusal, match="pixels"):
        reading.read(tmp_path / "x.png")


@pytest.mark.parametrize(
    "text, says",
    [
        ("HELLO", "No wheel tag"),
        ("RW1:", "profile"),
        ("RW1:ABC000", "profile"),
        ("RW1:ABC$$$", "group"),
        ("RW1:GGW", "group"),
        ("RW2:AB", "No wheel tag"),
    ],
)
def test_other_codes_are_refused(tmp_path, text, says):
    segno.make_qr(text).save(str(tmp_path / "q.png"), scale=6, border=4)
    with pytest.raises(Refusal, match=says):
        reading.read(tmp_path / "q.png")


def test_two_different_tags_in_one_picture_are_refused(printed, tmp_path):
    other = build(
        {**WHEEL, "label": "Birch"}, bytes(range(2, 10)), 1, Asked(400_000, Place.of(18, 200))
    )
    drawing.write(design.wheel_tag(other), tmp_path / "o.png", design.PIXEL_MM)
    with Image.open(tmp_path / "o.png") as second:
        both = Image.new("L", (printed.width * 2, printed.height), 255)
        both.paste(printed, (0, 0))
        both.paste(second.convert("L"), (printed.width, 0))
    with pytest.raises(Refusal, match="2 different"):
        read_back(both, tmp_path)


def test_the_command_prints_reads_and_reports_what_is_superseded(desk, tmp_path):
    desk.json("key", "new")
    desk.json("wheel", "add", *FRONT)
    assert desk("tag", "print", "aspen", "-o", "t.png") == 1 and "no profile yet" in desk.err
    desk.json("profile", "make", "--wheel", "aspen", "--target", "4.1 bar", *RIDE)
    told = desk.json("tag", "print", "aspen", "-o", "t.png")
    assert (
        told["width_mm"] == 64
        and told["height_mm"] == 32
        and told["module_mm"] >= 0.4
        and told["code"].startswith("RW1:")
    )
    for form in ("svg", "pdf"):
        assert desk("tag", "print", "aspen", "-o", f"t.{form}") == 0, desk.err
    assert desk("tag", "print", "aspen", "-o", "t.gif") == 1 and ".svg, .pdf, .png" in desk.err

    read = desk.json("tag", "read", "t.png", "-o", "read.rwp")
    assert (
        read["standing"] == "current"
        and read["superseded"] is False
        and read["origin"]["state"] == "ours"
    )
    assert (tmp_path / "read.rwp").read_bytes() == (tmp_path / "aspen-race-r1.rwp").read_bytes()

    desk.json("profile", "make", "--wheel", "aspen", "--target", "4.2 bar", *RIDE)
    assert desk("tag", "read", "t.png", "--json") == 1, "a tag that no longer counts ends with 1"
    read = json.loads(desk.out)
    assert read["superseded"] is True and "SUPERSEDED" in read["says"] and "SUPERSEDED" in desk.err
    assert (
        desk("tag", "read", "t.png", "-o", "old.rwp") == 1 and not (tmp_path / "old.rwp").exists()
    )
    assert desk("tag", "read", "t.png") == 1 and "SUPERSEDED" in desk.out

    desk.json("wheel", "edit", "aspen", "--rim-max", "4.5 bar")
    assert desk("tag", "print", "aspen", "-o", "u.png") == 1 and "REFUSED" in desk.err
    assert (
        desk("tag", "print", "--profile", "aspen-race-r1.rwp", "-o", "u.png") == 1
        and not (tmp_path / "u.png").exists()
    )


def test_a_tag_of_another_workshop_says_so(desk, tmp_path, monkeypatch):
    desk.json("key", "new")
    desk.json("wheel", "add", *FRONT)
    desk.json("profile", "make", "--wheel", "aspen", "--target", "4.1 bar", *RIDE)
    desk.json("tag", "print", "aspen", "-o", "t.png")
    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path / "elsewhere"))
    desk.json("key", "new")
    read = desk.json("tag", "read", "t.png")
    assert read["standing"] == "unknown-wheel" and read["origin"]["state"] == "foreign"
    assert desk("tag", "read", "t.png") == 0 and "TAG NOT OURS" in desk.out


def test_a_long_label_is_cut_with_an_ellipsis_and_pressures_never_are():
    text, size = drawing.fitted("Fernhollow Wheels number forty-two", 20, 6, 4.4, True)
    assert text.endswith("…") and size == 4.4 and drawing.width_mm(text, size, True) <= 20
    assert drawing.fitted("Oak", 20, 6, 4.4) == ("Oak", 6)


@pytest.mark.parametrize("words, code_", [((), 2), (("aspen", "--profile", "x.rwp"), 2)])
def test_print_needs_one_source(desk, words, code_):
    assert desk("tag", "print", *words, "-o", "t.png") == code_
