"""One fill from sending to its result and beyond, state by state, for whoever looks at the page meanwhile."""

import time
from collections.abc import Iterator

from playwright.sync_api import Page, expect

from tests.web.conftest import Bench
from tests.web.shop import SOON_MS, enter_wheel, send

STATE = ".fill-page"
LOOKED_AT = ("filling", "seat-pause", "settling", "done")


def walk(page: Page, bench: Bench, label: str = "Teasel rear") -> Iterator[str]:
    """Return the name of each state once the page shows it; what is done next waits until the caller comes back."""
    enter_wheel(page, label)
    page.click("text=Next: fill it")
    expect(page.locator("#send")).to_be_enabled(timeout=SOON_MS)
    yield "prepare"
    page.goto(page.url.replace("/fill", "/limit").replace("?wheel=", "/"))
    send(page)
    expect(page.locator("#next")).to_contain_text("compare tyre size", timeout=SOON_MS)
    yield "new-wheel"
    bench.press("enter")
    expect(page.locator("#next")).to_contain_text("stood here for an hour", timeout=SOON_MS)
    yield "stood-an-hour"
    bench.press("enter")
    expect(page.locator("#next")).to_contain_text("hold the run control", timeout=SOON_MS)
    yield "hold-to-run"
    bench.order("hold")
    yield from _fill(page, bench)
    bench.order("let-go")
    expect(page.locator("#kept")).to_have_attribute("data-own", "yes", timeout=SOON_MS)
    yield "result"


def _fill(page: Page, bench: Bench) -> Iterator[str]:
    """The fill itself: each of LOOKED_AT once, the bead confirmed when it is asked for."""
    seen: set[str] = set()
    until = time.monotonic() + 240
    while time.monotonic() < until:
        state = page.locator(STATE).get_attribute("data-state") or ""
        if (
            state in LOOKED_AT
            and state not in seen
            and page.locator(STATE).get_attribute("data-old") == "no"
        ):
            seen.add(state)
            yield state
        if state == "seat-pause":
            bench.order("let-go")
            bench.press("enter")
            bench.order("hold")
            page.wait_for_timeout(600)
        elif state in ("done", "stopped", "tripped"):
            if state != "done":
                raise AssertionError(page.locator("main").inner_text())
            return
        page.wait_for_timeout(80)
    raise AssertionError("the fill did not end")
