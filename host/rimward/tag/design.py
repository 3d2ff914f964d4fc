"""What stands on a wheel tag of 25 x 40 mm."""

from typing import Any

from rimward import profiles
from rimward.records import unpack_profile
from rimward.tag.code import QUIET_MODULES, modules
from rimward.tag.drawing import BLACK, PT_MM, WHITE, Box, Modules, Page, Text, fitted, width_mm
from rimward.units import bar_down, psi_down, show_limit

WIDTH_MM, HEIGHT_MM = 25.0, 40.0
MARGIN_MM = 1.2
PIXEL_MM = 0.025  # 1016 dots per inch
MODULE_MM = 0.4  # a whole number of pixels; what cameras and label printers still hold
SMALL_PT = 4.1
DESCENT = 0.24  # of the type's size below its baseline
WARNING = ("Never fill above the ceiling.", "Check bead. Guard your eyes.")
WARNING_MM = (16.95, 18.3)


def code_at_bottom(data: bytes) -> tuple[Modules, float]:
    """The code in the middle of the tag's foot, and the height where its quiet zone begins."""
    rows = modules(data)
    top = HEIGHT_MM - (len(rows) + 2 * QUIET_MODULES) * MODULE_MM
    x = round((WIDTH_MM - len(rows) * MODULE_MM) / 2 / PIXEL_MM) * PIXEL_MM
    return Modules(x, top + QUIET_MODULES * MODULE_MM, MODULE_MM, rows), top


def size_line(f: dict[str, Any], words: dict[str, Any]) -> str:
    """Tyre and rim as their two-number sizes."""
    tyre = f"{f['tyre_width_dmm'] / 10:g}-{f['bead_seat_mm']}"
    inner = f"x{f['rim_width_dmm'] / 10:g}" if f["rim_width_dmm"] else ""
    kind = "?" if words["rim_class"] == "unknown" else words["rim_class"]
    return f"{tyre} on {f['bead_seat_mm']}{inner}{kind}"


def wheel_tag(data: bytes) -> Page:
    """The tag of a checked profile: ceiling and target in both units, size, front or rear, date, warning, code."""
    f, words = unpack_profile(data), profiles.to_json(data)
    code, below = code_at_bottom(data)
    right = WIDTH_MM - MARGIN_MM
    room = WIDTH_MM - 2 * MARGIN_MM
    place = {"front": "FRONT", "rear": "REAR", "any": "ANY"}[words["position"]]
    place_mm = width_mm(place, 5.0, True) + 1.2
    items: list[Text | Box | Modules] = [
        Box(0, 0, WIDTH_MM, HEIGHT_MM, fill=WHITE),
        Text(MARGIN_MM, 3.2, *fitted(words["label"], room, 6.4, 4.4, True), True),
        Text(MARGIN_MM, 5.6, *fitted(size_line(f, words), room, 5.4, 4.0)),
        Box(right - place_mm, 6.5, place_mm, 2.4, fill=BLACK),
        Text(right - place_mm / 2, 8.3, place, 5.0, True, WHITE, "middle"),
        Text(MARGIN_MM, 8.3, "CEILING", 5.0, True),
        Text(MARGIN_MM + width_mm("CEILING ", 5.0, True), 8.3, "gauge", 4.4),
        *pressure_row(f["ceiling_pa"], 11.6, 8.6, right),
        Text(MARGIN_MM, 13.7, "target", 4.8),
        Text(right, 13.7, f"{bar_down(f['target_pa'])} bar  {psi_down(f['target_pa'])} psi", 5.2, False, BLACK, "end"),
        Text(MARGIN_MM, 15.5, f"{words['made']}  revision {f['revision']}", SMALL_PT),
        *(Text(MARGIN_MM, y, line, SMALL_PT) for y, line in zip(WARNING_MM, WARNING)),
        code,
    ]
    assert WARNING_MM[-1] + DESCENT * SMALL_PT * PT_MM <= below, "the warning would stand in the code's quiet zone"
    says = f"Ceiling {show_limit(f['ceiling_pa'])} gauge, target {show_limit(f['target_pa'])}, {size_line(f, words)}. " + " ".join(WARNING)
    return Page(WIDTH_MM, HEIGHT_MM, f"Wheel tag: {words['label']}, {words['position']}", says, items)


def pressure_row(pa: int, y_mm: float, size_pt: float, right_mm: float) -> list[Text]:
    """The ceiling in bar and psi in one row of large figures with small units, smaller where both would not fit."""
    bar, psi, gap = bar_down(pa), psi_down(pa), 0.5
    while row_mm(bar, psi, gap, size_pt) > right_mm - MARGIN_MM:
        size_pt -= 0.2
    unit_pt = size_pt * 0.55
    psi_x = right_mm - width_mm("psi", unit_pt) - gap
    bar_end = MARGIN_MM + width_mm(bar, size_pt, True)
    return [
        Text(MARGIN_MM, y_mm, bar, size_pt, True),
        Text(bar_end + gap, y_mm, "bar", unit_pt),
        Text(psi_x, y_mm, psi, size_pt, True, BLACK, "end"),
        Text(psi_x + gap, y_mm, "psi", unit_pt),
    ]


def row_mm(bar: str, psi: str, gap_mm: float, size_pt: float) -> float:
    """The width of both figures with their units and the gaps between."""
    figures = width_mm(bar, size_pt, True) + width_mm(psi, size_pt, True)
    return figures + width_mm("barpsi", size_pt * 0.55) + 4 * gap_mm
