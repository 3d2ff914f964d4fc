"""Printable card of a preset (A6, landscape): HTML, PDF, PNG or SVG. Every figure is computed at printing."""

import time
from collections.abc import Sequence
from html import escape
from pathlib import Path

from rimward.base.errors import Refusal
from rimward.base.units import bar_down, celsius, psi_down, show_limit, show_minimum
from rimward.limits.ceiling.model import Place, Ride
from rimward.paper import drawing
from rimward.paper.drawing import BLACK, GREY, WHITE, Box, Page, Text, fitted, width_mm
from rimward.wheels.preset import Checked, Preset

WIDTH_MM, HEIGHT_MM = 148.0, 105.0
MARGIN_MM = 7.0
PIXEL_MM = 0.1
FORMS = (".html", *drawing.FORMS)
CAUTIONS = (
    "Each wheel has its own ceiling: never fill one wheel by the other's. All pressures are gauge.",
    "Check the bead all round before riding. While filling wear eye protection and stay out of the wheel's plane.",
    "The makers' limits and local rules come first. This card is void once tyre or rim is changed.",
)


def ride_lines(checked: Sequence[Checked]) -> list[str]:
    """Conditions for which the ceilings hold: one line where they are the same for both wheels, else one for each."""
    lines = [conditions_line(one.asked.place, one.asked.ride) for one in checked]
    if len(set(lines)) == 1:
        return lines[:1]
    return [f"{one.end.capitalize()}: {line}" for one, line in zip(checked, lines, strict=True)]


def ride_line(checked: Sequence[Checked]) -> str:
    """Conditions for which the ceilings hold, as one text."""
    return " ".join(ride_lines(checked))


def conditions_line(place: Place, ride: Ride | None) -> str:
    """Place of the fill and ride, as text."""
    filled = (
        f"Filled at {celsius(place.temp_ck):.0f} °C"
        if place.temp_ck is not None
        else "Fill temperature not stated"
    )
    filled += f", {place.altitude_m:.0f} m"
    cold = (
        f" Coldest {celsius(ride.temp_min_ck):.0f} °C."
        if ride is not None and ride.temp_min_ck is not None
        else ""
    )
    if ride is None or not ride.stated:
        return f"{filled}. Ride not stated: the limits hold at the fill, not on a hotter or higher ride.{cold}"
    parts = []
    if ride.altitude_max_m is not None:
        parts.append(f"up to {ride.altitude_max_m:.0f} m")
    if ride.temp_max_ck is not None:
        parts.append(f"tyre up to {celsius(ride.temp_max_ck):.0f} °C")
    missing = [
        name
        for name, value in (("height", ride.altitude_max_m), ("heat", ride.temp_max_ck))
        if value is None
    ]
    unstated = f" No {missing[0]} of the ride is stated." if missing else ""
    return f"{filled}. Ride {', '.join(parts)}: the limits hold on the whole ride as stated.{unstated}{cold}"


def size_line(one: Checked) -> str:
    """Format the wheel's tyre and rim size."""
    values = one.wheel.values
    return f"{values['tyre']} on {values['rim']}"


def reason_line(one: Checked) -> str:
    """Format the governing limit."""
    answer = one.answer
    return f"limit {show_limit(answer.limit_pa or 0)}, by {answer.governing}"


def window_line(one: Checked) -> str:
    """Format the window between the tyre's printed minimum and the ceiling."""
    low = one.answer.window.min_pa
    return (
        f"tyre's printed minimum {show_minimum(low)}"
        if low is not None
        else "the tyre's minimum is unknown"
    )


def ceiling_of(one: Checked) -> int:
    """Ceiling of a checked end, Pa; every checked end has one."""
    assert one.answer.ceiling_pa is not None  # a wheel without a ceiling was refused
    return one.answer.ceiling_pa


def column(one: Checked, x_mm: float, w_mm: float) -> list[Text | Box]:
    """Draw one wheel's half of the card."""
    ceiling_pa, inner = ceiling_of(one), x_mm + 3
    room = w_mm - 6
    figure = f"{bar_down(ceiling_pa)} bar"
    psi = f"{psi_down(ceiling_pa)} psi"
    target_bar, target_psi = f"{bar_down(one.target_pa)} bar", f"{psi_down(one.target_pa)} psi"
    return [
        Box(x_mm, 27, w_mm, 53, stroke_mm=0.3),
        Box(x_mm, 27, w_mm, 7, fill=BLACK),
        Text(inner, 31.9, one.end.upper(), 11, True, WHITE),
        Text(inner, 39.4, *fitted(one.wheel.label, room, 11, 7, True), True),
        Text(inner, 44.2, *fitted(size_line(one), room, 9.5, 6)),
        Text(inner, 50, "TARGET", 8, True),
        Text(inner + width_mm("TARGET ", 8, True), 50, "gauge", 8),
        Text(inner, 57.6, target_bar, 17, True),
        Text(x_mm + w_mm - 3, 57.6, target_psi, 17, True, BLACK, "end"),
        Text(inner, 63, "ceiling: never above", 8),
        Text(inner, 69, figure, 12, True),
        Text(x_mm + w_mm - 3, 69, psi, 12, True, BLACK, "end"),
        Text(inner, 74, *fitted(reason_line(one), room, 7, 5.5), False, GREY),
        Text(inner, 77.8, *fitted(window_line(one), room, 7, 5.5), False, GREY),
    ]


def card(preset: Preset, wheels: Sequence[Checked]) -> Page:
    """Draw the card."""
    room = WIDTH_MM - 2 * MARGIN_MM
    half = (room - 4) / 2
    made = f"printed {time.strftime('%Y-%m-%d', time.gmtime())}"
    title, size = fitted(
        f"{preset.name} · {preset.rider}", room - width_mm(made, 8) - 4, 15, 9, True
    )
    items: list[Text | Box] = [
        Box(0, 0, WIDTH_MM, HEIGHT_MM, fill=WHITE),
        Text(MARGIN_MM, 14, title, size, True),
        Text(WIDTH_MM - MARGIN_MM, 14, made, 8, False, GREY, "end"),
        *(
            Text(MARGIN_MM, y_mm, *fitted(line, room, 8.5, 5))
            for line, y_mm in zip(reversed(ride_lines(wheels)), (24.0, 20.2), strict=False)
        ),
        *column(wheels[0], MARGIN_MM, half),
        *column(wheels[1], MARGIN_MM + half + 4, half),
        *(
            Text(MARGIN_MM, 86.5 + 4.6 * i, *fitted(line, room, 8, 6))
            for i, line in enumerate(CAUTIONS)
        ),
    ]
    says = "; ".join(
        f"{one.end} {one.wheel.label}: ceiling {show_limit(ceiling_of(one))}, target {show_limit(one.target_pa)}"
        for one in wheels
    )
    return Page(WIDTH_MM, HEIGHT_MM, f"Preset card: {preset.name}, {preset.rider}", says, items)


STYLE = """
@page { size: 148mm 105mm; margin: 0 }
body { font: 11pt/1.35 sans-serif; color: #000; background: #fff; max-width: 134mm; margin: 7mm auto; padding: 0 3mm }
h1 { font-size: 15pt; margin: 0 } h2 { background: #000; color: #fff; font-size: 11pt; margin: 0 -3mm 2mm; padding: 1mm 3mm }
.pair { display: grid; grid-template-columns: repeat(auto-fit, minmax(55mm, 1fr)); gap: 4mm; margin: 3mm 0 }
section { border: .3mm solid #000; padding: 0 3mm 2mm } dl { margin: 0 } dd { margin: 0 0 1mm }
.target { font-size: 17pt; font-weight: bold } .ceiling { font-size: 12pt; font-weight: bold } .why { color: #444; font-size: 8.5pt } ul { font-size: 8.5pt; margin: 0; padding-left: 4mm }
"""


def html_column(one: Checked) -> str:
    """Return one wheel's half of the card as HTML."""
    return (
        f"<section><h2>{one.end.upper()}</h2><b>{escape(one.wheel.label)}</b><br>{escape(size_line(one))}<dl>"
        f'<dt>Target (gauge)</dt><dd class="target">{show_limit(one.target_pa)}</dd>'
        f'<dt>Ceiling: never above</dt><dd class="ceiling">{show_limit(ceiling_of(one))}</dd></dl>'
        f'<div class="why">{escape(reason_line(one))}<br>{escape(window_line(one))}</div></section>'
    )


def html(preset: Preset, wheels: Sequence[Checked]) -> str:
    """Return the card as one self-contained page."""
    title = f"{escape(preset.name)} · {escape(preset.rider)}"
    cautions = "".join(f"<li>{escape(line)}</li>" for line in CAUTIONS)
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title><style>{STYLE}</style></head><body><main><h1>{title}</h1>"
        f"<p>{escape(ride_line(wheels))} Printed {time.strftime('%Y-%m-%d', time.gmtime())}.</p>"
        f'<div class="pair">{"".join(html_column(one) for one in wheels)}</div><ul>{cautions}</ul></main></body></html>\n'
    )


def write(path: Path, preset: Preset, wheels: Sequence[Checked], sheet: str | None = None) -> None:
    """Write the card in the format of the file name's suffix."""
    form = path.suffix.lower()
    if form not in FORMS:
        raise Refusal(f"'{path.name}' has no known format.", f"End the name in {', '.join(FORMS)}.")
    if form != ".html" or sheet is not None:
        drawing.write(card(preset, wheels), path, PIXEL_MM, sheet)
        return
    try:
        path.write_text(html(preset, wheels), encoding="utf-8")
    except OSError as failed:
        raise Refusal(
            f"{path} cannot be written: {failed.strerror}.", "Choose another place."
        ) from failed
