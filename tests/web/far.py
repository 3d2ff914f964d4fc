"""What can be read at two metres: height of capital letters in minutes of arc, on a screen of a stated density.

ISO 9241-303 asks for 16 minutes of arc at least and recommends 20 to 22 (from memory); letters at least half as wide as high (from memory).
At 2 m 16 minutes are 9.3 mm, 20 minutes 11.6 mm. In CSS pixels: 58.6 and 73.3 on a phone or a tablet of 160 px an inch (the nominal density
of hand-held screens; most 360 px wide phones of today have 133 to 150, on which everything is larger), 33.7 and 42.1 on a monitor of 92 px an inch
(0.277 mm a pixel), a quarter of that at 400 % zoom.
"""

import math

from playwright.sync_api import Page

READ_FROM_MM = 2000
WORDS_MIN, PRESSURE_MIN = 16, 20  # minutes of arc
NARROWEST = 0.5  # width of an H over its height
HANDHELD_PX_IN, MONITOR_PX_IN = 160, 92
HANDHELD_BELOW_PX = 992  # where the page's layout changes
ZOOMED_BELOW_PX = 416  # height of a window at 400 % zoom
ZOOM = 4

MEASURED = """(selectors) => selectors.flatMap((s) => [...document.querySelectorAll(s)].filter((e) => e.checkVisibility() && e.textContent.trim()).map((e) => {
  const style = getComputedStyle(e);
  const pen = document.createElement('canvas').getContext('2d');
  pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  const h = pen.measureText('H');
  const fitted = e.closest('.fit');
  const share = fitted ? fitted.getBoundingClientRect().width / fitted.offsetWidth : 1;
  return [s, h.actualBoundingBoxAscent, (h.actualBoundingBoxRight + h.actualBoundingBoxLeft) * share / h.actualBoundingBoxAscent];
}))"""


def density(width: int, height: int) -> float:
    """CSS pixels an inch of the screen on which a window of this size is taken to be."""
    if width >= HANDHELD_BELOW_PX:
        return MONITOR_PX_IN
    return MONITOR_PX_IN / ZOOM if height < ZOOMED_BELOW_PX else HANDHELD_PX_IN


def capital_px(minutes: float, px_in: float) -> float:
    """Height of a capital letter of so many minutes of arc, CSS pixels."""
    return READ_FROM_MM * math.tan(math.radians(minutes / 60)) / 25.4 * px_in


def too_small(
    page: Page, size: tuple[int, int], words: tuple[str, ...], pressure: str
) -> list[tuple[str, float, float]]:
    """(selector, capitals px, width over height) of all that is shown and cannot be read at two metres."""
    px_in = density(*size)
    found = page.evaluate(MEASURED, [*words, pressure])
    assert {row[0] for row in found} == {*words, pressure}, "something is not shown"
    return [
        row
        for row in found
        if row[1] < capital_px(PRESSURE_MIN if row[0] == pressure else WORDS_MIN, px_in)
        or row[2] < NARROWEST
    ]
