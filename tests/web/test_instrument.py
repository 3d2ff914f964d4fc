"""The fill page as an instrument: in every state of a fill what counts is in view without scrolling, at every size, and says whose pressure it is."""

import contextlib
import re
from collections.abc import Iterable, Iterator

import pytest
from playwright.sync_api import Browser, Page, TimeoutError, expect
from rimward.web.serve import Server

from tests.web.conftest import Bench, open_page
from tests.web.far import too_small
from tests.web.shop import SOON_MS
from tests.web.states import walk
from tests.web.test_looks import axe

FIGURE = "#big-bar .figure"
FAR = ("#far-whose", ".m-target .name", "#target", ".m-ceiling .name", "#ceiling", "#state", "#act span")  # fmt: skip
NEAR = ("#now-name", "#age", "#next")
PHONE = (
    "#next",
    "#far-psi",
)  # whose pressure and its age once more in full come below the first screen
ZOOMED = ("#now-name", "#state", "#next")  # at 400 % zoom
LAID_OUT_MS = 5_000
WIDER = "document.documentElement.scrollWidth - innerWidth"
# size of the window -> (read at two metres, in view as well)
SIZES = {
    (360, 640): (FAR, PHONE), (412, 800): (FAR, PHONE), (768, 1024): (FAR, (*PHONE, "#now-name", "#age")), (1280, 720): (FAR, NEAR),
    (1920, 1080): (FAR, NEAR), (320, 256): (ZOOMED[1:], ZOOMED),
}  # fmt: skip
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


@pytest.fixture(scope="module")
def bench() -> Iterator[Bench]:
    """An inflator whose time is slow enough for a look at every size while air flows."""
    made = Bench("--tyre-pressure", "3 bar", speed=0.7)
    yield made
    made.close()


def sideways(page: Page) -> int:
    """By how many points the page is wider than its window, once it has laid itself out after a resize."""
    with contextlib.suppress(TimeoutError):
        page.wait_for_function(f"() => {WIDER} <= 0", timeout=LAID_OUT_MS)
    return int(page.evaluate(f"() => {WIDER}"))


def look(page: Page, state: str, sizes: Iterable[tuple[int, int]] = tuple(SIZES)) -> None:
    """At every size: all of it is in view and large enough, nothing runs out at the side."""
    page.evaluate("scrollTo(0, 0)")
    for width, height in sizes:
        far, near = SIZES[width, height]
        page.set_viewport_size({"width": width, "height": height})
        wanted = [FIGURE, *far, *near]
        with contextlib.suppress(TimeoutError):  # the page lays itself out after a resize
            page.wait_for_function(
                f"(selectors) => ({IN_VIEW})(selectors).length === 0",
                arg=wanted,
                timeout=LAID_OUT_MS,
            )
        assert page.evaluate(IN_VIEW, wanted) == [], (state, width, height)
        assert sideways(page) <= 0, (state, width)
        assert too_small(page, (width, height), far, FIGURE) == [], (state, width, height)
        assert page.evaluate(LARGEST) == "big-bar", (state, width)


def test_in_every_state_of_a_fill(chromium: Browser, server: Server, bench: Bench) -> None:
    page = open_page(chromium, server, bypass_csp=True)  # axe is put in from outside
    seen = []
    for state in walk(page, bench, "Bramble front"):
        seen.append(state)
        if state != "prepare":
            if state in WHOSE:
                expect(page.locator("#now-name")).to_have_text(WHOSE[state])
            look(page, state)
            expect(page.locator("#target")).to_have_text("3.90 bar (56.5 psi)")
        else:
            assert axe(page) == []
        if state == "result":
            expect(page.locator("#other-name")).to_have_text("Once cold, between")
            page.set_viewport_size({"width": 360, "height": 640})
            expect(page.locator("#far-cold")).to_contain_text("once cold 3.")
            page.wait_for_function(
                f"(selectors) => ({IN_VIEW})(selectors).length === 0",
                arg=["#far-cold"],
                timeout=LAID_OUT_MS,
            )
            expect(page.locator("#tyre")).to_have_text(re.compile(r"[34]\.\d\d bar"))
        if state == "done":  # its record may have come meanwhile
            expect(page.locator("#other-name")).to_have_text(
                re.compile("(In the tyre|Once cold), between")
            )
            expect(page.locator("#tyre")).to_have_text(re.compile(r"[34]\.\d\d and [34]\.\d\d bar"))
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
