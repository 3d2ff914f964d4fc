"""The fill page as an instrument: in every state of a fill what counts is in view without scrolling, at every size, and says whose pressure it is."""

import re

from playwright.sync_api import Browser, Page, expect
from rimward.web.serve import Server

from tests.web.conftest import Bench, open_page
from tests.web.shop import SOON_MS
from tests.web.states import walk
from tests.web.test_looks import axe

ALL = ("#now-name", "#age", "#big-bar .figure", "#state", "#next", "#target", "#ceiling")
FEW = ("#now-name", "#big-bar .figure", "#state", "#next")  # at 400 % zoom
SIZES = {(360, 640): ALL, (768, 1024): ALL, (1280, 720): ALL, (1920, 1080): ALL, (320, 256): FEW}
IN_VIEW = """(selectors) => selectors.filter((s) => {
  const e = document.querySelector(s);
  const box = e.getBoundingClientRect();
  const inner = document.createRange();
  inner.selectNodeContents(e);
  const words = inner.getBoundingClientRect();
  return !e.checkVisibility() || !e.textContent.trim() || box.top < 0 || Math.max(box.bottom, words.bottom) > innerHeight + 1 || words.right > innerWidth || box.left < 0;
})"""
LARGEST = "() => { const px = (e) => parseFloat(getComputedStyle(e).fontSize); const all = [...document.querySelectorAll('main *')].filter((e) => e.checkVisibility() && e.childElementCount === 0 && e.textContent.trim()); return all.sort((a, b) => px(b) - px(a))[0].closest('p').id; }"
WHOSE = {
    "hold-to-run": "At the hose",
    "filling": "At the hose",
    "result": "Result: in the tyre",
    "done": re.compile("Result: in the tyre|Result: at the hose"),
}


def look(page: Page, state: str) -> None:
    """At every size: all of it is in view, nothing runs out at the side."""
    page.evaluate("scrollTo(0, 0)")
    for (width, height), wanted in SIZES.items():
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate(IN_VIEW, list(wanted)) == [], (state, width, height)
        assert page.evaluate("() => document.documentElement.scrollWidth - innerWidth") <= 0, (
            state,
            width,
        )
        assert page.evaluate(LARGEST) == "big-bar", (state, width)


def test_in_every_state_of_a_fill(chromium: Browser, server: Server, bench: Bench) -> None:
    page = open_page(chromium, server, bypass_csp=True)  # axe is put in from outside
    seen = []
    for state in walk(page, bench, "Bramble front"):
        seen.append(state)
        if state != "prepare":
            look(page, state)
            if state in WHOSE:
                expect(page.locator("#now-name")).to_have_text(WHOSE[state])
            expect(page.locator("#target")).to_have_text("3.90 bar (56.5 psi)")
        else:
            assert axe(page) == []
        if state == "result":
            expect(page.locator("#other-name")).to_have_text("Once cold, about")
            expect(page.locator("#tyre")).to_have_text(re.compile(r"[34]\.\d\d bar"))
        if state == "seat-pause":
            expect(page.locator("#next-word")).to_have_text("Question")
            expect(page.locator("#next")).to_contain_text("Is the bead seated")
    assert {
        "prepare",
        "new-wheel",
        "stood-an-hour",
        "hold-to-run",
        "filling",
        "done",
        "result",
    } <= set(seen)
    seconds = int(page.locator("#plot").get_attribute("data-seconds") or 0)
    points = int(page.locator("#plot").get_attribute("data-points") or 0)
    assert points > 100 and 3 < seconds < 110, "the trace is that of the fill, not a fixed time"
    page.set_viewport_size({"width": 1280, "height": 900})
    page.locator("#plot .u-over").hover()
    expect(page.locator("#hover")).to_contain_text(
        re.compile(r"at the hose \d\.\d\d bar \(\d+\.\d psi\)")
    )
    expect(page.locator("#age")).to_contain_text(re.compile("record|s old"))
    expect(page.locator("#kept-link")).to_contain_text("See record", timeout=SOON_MS)
    assert page.wrongs == []  # type: ignore[attr-defined]
    page.context.close()
