"""Design of a wheel tag of 64 x 32 mm: readable text and an exact code on a label printer of 203 dots per inch."""

from typing import Any

from rimward.base.units import bar_down, psi_down, show_limit
from rimward.formats.records import unpack_profile
from rimward.paper.drawing import BLACK, PT_MM, WHITE, Box, Modules, Page, Text, fitted, width_mm
from rimward.wheels import profile_files
from rimward.wheels.tag.code import QUIET_MODULES, modules

WIDTH_MM, HEIGHT_MM = 64.0, 32.0
MARGIN_MM = 1.5
PIXEL_MM = 0.025  # 1016 dots per inch
MODULE_MM = 0.5  # four dots at 203 dots per inch, six at 305
CAPITAL = 0.729  # height of a capital letter, as a share of the type's size
LETTER_MM = 1.5  # least height of a capital letter
SMALL_PT = 5.9
assert SMALL_PT * PT_MM * CAPITAL >= LETTER_MM
DESCENT = 0.24  # share of the type's size below its baseline
WARNING = (
    "Never fill above the ceiling.",
    "Stay out of the wheel's plane.",
    "The makers' limits come first.",
    "Check bead. Protect eyes.",
)
WARNING_MM = (22.9, 25.5, 28.1, 30.7)


def code_at_right(data: bytes) -> tuple[Modules, float]:
    """Place the code at the right edge, vertically centred. Return it and the left edge of its quiet zone, mm."""
    rows = modules(data)
    side, quiet = len(rows) * MODULE_MM, QUIET_MODULES * MODULE_MM
    return Modules(
        WIDTH_MM - quiet - side, (HEIGHT_MM - side) / 2, MODULE_MM, rows
    ), WIDTH_MM - 2 * quiet - side


def size_line(f: dict[str, Any], words: dict[str, Any]) -> str:
    """Format tyre and rim as their two-number sizes."""
    tyre = f"{f['tyre_width_dmm'] / 10:g}-{f['bead_seat_mm']}"
    inner = f"x{f['rim_width_dmm'] / 10:g}" if f["rim_width_dmm"] else ""
    kind = "?" if words["rim_class"] == "unknown" else words["rim_class"]
    return f"{tyre} on {f['bead_seat_mm']}{inner}{kind}"


def wheel_tag(data: bytes) -> Page:
    """Draw the tag of a checked profile: ceiling and target in both units, size, front or rear, date, cautions, code."""
    f, words = unpack_profile(data), profile_files.to_json(data)
    code, right = code_at_right(data)
    room = right - MARGIN_MM
    place = {"front": "FRONT", "rear": "REAR", "any": "ANY"}[words["position"]]
    place_mm = width_mm(place, SMALL_PT, True) + 1.4
    items: list[Text | Box | Modules] = [
        Box(0, 0, WIDTH_MM, HEIGHT_MM, fill=WHITE),
        Text(MARGIN_MM, 3.7, *fitted(words["label"], room, 7.5, SMALL_PT, True), True),
        Text(MARGIN_MM, 6.6, *fitted(size_line(f, words), room, 6.4, SMALL_PT)),
        Box(right - place_mm, 7.6, place_mm, 2.8, fill=BLACK),
        Text(right - place_mm / 2, 9.8, place, SMALL_PT, True, WHITE, "middle"),
        Text(MARGIN_MM, 9.8, "CEILING", SMALL_PT, True),
        Text(MARGIN_MM + width_mm("CEILING ", SMALL_PT, True), 9.8, "gauge", SMALL_PT),
        *pressure_row(f["ceiling_pa"], 14.2, 11.5, right),
        Text(MARGIN_MM, 17.2, "target", SMALL_PT),
        Text(
            right,
            17.2,
            f"{bar_down(f['target_pa'])} bar  {psi_down(f['target_pa'])} psi",
            SMALL_PT,
            False,
            BLACK,
            "end",
        ),
        Text(
            MARGIN_MM,
            20.0,
            *fitted(f"{words['made']}  revision {f['revision']}", room, SMALL_PT, SMALL_PT),
        ),
        *(Text(MARGIN_MM, y, line, SMALL_PT) for y, line in zip(WARNING_MM, WARNING)),
        code,
    ]
    says = (
        f"Ceiling {show_limit(f['ceiling_pa'])} gauge, target {show_limit(f['target_pa'])}, {size_line(f, words)}. "
        + " ".join(WARNING)
    )
    return Page(
        WIDTH_MM, HEIGHT_MM, f"Wheel tag: {words['label']}, {words['position']}", says, items
    )


def pressure_row(pa: int, y_mm: float, size_pt: float, right_mm: float) -> list[Text]:
    """Draw the ceiling in bar and psi as one row of large figures with small units, smaller where both would not fit."""
    bar, psi, gap = bar_down(pa), psi_down(pa), 0.6
    while row_mm(bar, psi, gap, size_pt) > right_mm - MARGIN_MM:
        size_pt -= 0.2
    psi_x = right_mm - width_mm("psi", SMALL_PT) - gap
    bar_end = MARGIN_MM + width_mm(bar, size_pt, True)
    return [
        Text(MARGIN_MM, y_mm, bar, size_pt, True),
        Text(bar_end + gap, y_mm, "bar", SMALL_PT),
        Text(psi_x, y_mm, psi, size_pt, True, BLACK, "end"),
        Text(psi_x + gap, y_mm, "psi", SMALL_PT),
    ]


def row_mm(bar: str, psi: str, gap_mm: float, size_pt: float) -> float:
    """Width of both figures with their units and gaps, mm."""
    figures = width_mm(bar, size_pt, True) + width_mm(psi, size_pt, True)
    return figures + width_mm("barpsi", SMALL_PT) + 5 * gap_mm
