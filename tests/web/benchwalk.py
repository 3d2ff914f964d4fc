"""One proof test from the empty page to its result, state by state, for whoever looks at the page meanwhile."""

from collections.abc import Iterator

from playwright.sync_api import Page, expect

from tests.web.conftest import Bench
from tests.web.shop import SOON_MS, enter

SPECIMEN = {
    "label": "Tern 23",
    "rim": "622x23TSS",
    "rim_max": "1.6 bar",
    "tyre": "28-622",
    "tyre_max": "3 bar",
}
BLOW_OFF_BAR = 2.05
SHOWN = {"filling": "rising", "seat-pause": "look-at-beads", "leak-watch": "holding"}
PAGE = ".bench-page"


def walk(page: Page, bench: Bench) -> Iterator[str]:
    """Return the name of each state once the page shows it; what is done next waits until the caller comes back."""
    expect(page.locator(PAGE)).to_have_attribute("data-line", "on", timeout=SOON_MS)
    yield "empty"
    enter(page, SPECIMEN)
    expect(page.locator("#plan .verdict")).to_contain_text("limit 1.60 bar", timeout=SOON_MS)
    yield "planned"
    page.fill("#who", "Maren Holt")
    page.click("#take")
    expect(page.locator("#hold-says")).to_have_text("This page holds the bench.")
    page.check("#read")
    page.click("#begin:enabled")
    expect(page.locator("#next")).to_contain_text("confirm it there", timeout=SOON_MS)
    yield "confirm"
    bench.press("enter")
    expect(page.locator("#next")).to_contain_text("hold the run control", timeout=SOON_MS)
    yield "hold"
    bench.order("hold")
    yield from _test(page, bench)
    bench.order("let-go")
    expect(page.locator("#result")).to_be_visible(timeout=SOON_MS)
    yield "result"


def _test(page: Page, bench: Bench) -> Iterator[str]:
    """The test itself: each state once, the beads looked at; ends once the bench has stopped."""
    seen: set[str] = set()
    for _ in range(3_000):
        phase = page.locator(PAGE).get_attribute("data-phase") or ""
        shown = SHOWN.get(page.locator(PAGE).get_attribute("data-state") or "", "")
        if phase in ("let-go", "ended", "refused"):
            yield "ended" if phase != "refused" else "refused"
            return
        if shown and shown not in seen:
            seen.add(shown)
            yield shown
        if shown == "look-at-beads":
            bench.press("enter")
        page.wait_for_timeout(80)
    raise AssertionError("the test did not end")
