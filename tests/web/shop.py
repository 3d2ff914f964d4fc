"""What people do on the page, and the invented wheel they do it with."""

import re
import time
from collections.abc import Callable

from playwright.sync_api import Page, expect
from rimward.simulation.scenario import Scenario

from tests.web.conftest import Bench

SOON_MS = 60_000
UNDER_WAY = re.compile("self-test|purge|measuring|probing|filling|topping-up|seat-pause|settling")
RIDE = {
    "fill_temp": "18",
    "fill_altitude": "200",
    "ride_altitude_max": "1200",
    "ride_temp_max": "40",
}


def enter(page: Page, values: dict[str, str]) -> None:
    """Types into the fields of a form, chooses where there is a choice."""
    for name, value in values.items():
        field = page.locator(f"#f-{name}")
        field.evaluate(
            "e => { const folded = e.closest('details'); if (folded) folded.open = true; }"
        )
        if field.evaluate("e => e.tagName") == "SELECT":
            field.select_option(value)
        else:
            field.fill(value)


def enter_wheel(page: Page, label: str) -> None:
    """Enter the wheel and save it; states fill and ride, and make its profile."""
    enter(
        page,
        {
            **Scenario(label=label).values(),
            "who": "Maren Holt",
            "rim_read_from": "laser mark by the valve hole",
        },
    )
    expect(page.locator("#answer .verdict")).to_contain_text(
        "Ceiling 5.00 bar (72.5 psi) gauge", timeout=SOON_MS
    )
    page.click("#save")
    page.wait_for_url("**/wheel/*")
    expect(page.locator("#saved")).to_contain_text("Saved at")
    page.click("#to-limit")
    enter(page, {**RIDE, "target": "3.9 bar"})
    expect(page.locator("#answer .verdict")).to_contain_text(
        "Ceiling 4.47 bar (64.8 psi) gauge", timeout=SOON_MS
    )
    page.click("#make")
    expect(page.locator("#profile")).to_contain_text(
        "This is the newest profile of this wheel.", timeout=SOON_MS
    )


def send(page: Page) -> None:
    """From the limit page to the fill page: one button takes the inflator and sends the wheel."""
    page.click("text=Next: fill it")
    expect(page.locator(".fill-page")).to_have_attribute("data-line", "on", timeout=SOON_MS)
    page.fill("#who", "Maren Holt")
    page.click("#send:enabled", timeout=SOON_MS)
    expect(page.locator("#hold-says")).to_have_text(
        "This page holds the inflator.", timeout=SOON_MS
    )


def confirm(page: Page, bench: Bench) -> None:
    """Confirm at the inflator: this is the wheel, and it has been at rest here for an hour."""
    expect(page.locator("#next")).to_contain_text("compare tyre size", timeout=SOON_MS)
    bench.press("enter")
    expect(page.locator("#next")).to_contain_text("stood here for an hour", timeout=SOON_MS)
    bench.press("enter")
    expect(page.locator("#next")).to_have_text(
        "At the inflator: hold the run control", timeout=SOON_MS
    )


def under_way(page: Page) -> None:
    """Wait until the fill has begun, whatever it does now."""
    expect(page.locator(".fill-page")).to_have_attribute("data-state", UNDER_WAY, timeout=SOON_MS)


def heard(page: Page, words: str) -> None:
    """Wait until the page has announced `words` since it was loaded."""
    until(
        page,
        lambda: any(words in text for text in page.evaluate("everSaid")),
        f"never announced: {words}",
    )


def until(page: Page, holds: Callable[[], bool], wrong: str) -> None:
    """Wait until it holds."""
    end = time.monotonic() + SOON_MS / 1000
    while not holds():
        assert time.monotonic() < end, wrong
        page.wait_for_timeout(100)


def hold_until_done(page: Page, bench: Bench, seconds: float = 240) -> str:
    """Hold the run control, look at the bead when asked, release it at the end. Return the state it ended in."""
    bench.order("hold")
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        page.wait_for_timeout(150)
        state = page.locator(".fill-page").get_attribute("data-state") or ""
        if state == "seat-pause":
            bench.order("let-go")
            bench.press("enter")
            bench.order("hold")
            page.wait_for_timeout(600)
        elif state in ("done", "stopped", "tripped"):
            bench.order("let-go")
            return state
    bench.order("let-go")
    return "not done in time"
