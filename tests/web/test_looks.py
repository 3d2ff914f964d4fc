"""Every page at both widths, light and dark: axe without findings, no sideways scroll, targets large enough, nothing cut off, readable at two metres, motion held back."""

import contextlib
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect
from rimward.proof import show
from rimward.simulation.scenario import Scenario
from rimward.web.serve import Server
from rimward.wheels.register import open_register

from tests.web.conftest import NARROW, WIDE, base, open_page
from tests.web.record import recorded
from tests.web.shop import RIDE, SOON_MS, enter

AXE = Path(__file__).parent / "vendor" / "axe.min.js"
WIDTHS = (320, 360, 480, 768, 992, 1100, 1204, 1280)
TARGET_PX = 44
PHASES = {"confirm": "confirm at the bench", "hold": "ready", "let-go": "ended, vented"}
PAIR = {
    "rim": "622x23TSS",
    "rim_max": "5 bar",
    "tyre": "28-622",
    "tyre_range": "3.5-6 bar",
    "approved": "yes",
    "bead": "folding",
    "air": "tubeless",
}
SPECIMEN = {
    "label": "Tern 23",
    "rim": "622x23TSS",
    "rim_max": "5 bar",
    "tyre": "28-622",
    "tyre_max": "6 bar",
}

# capital letters of 11.6 mm are 20 minutes of arc at 2 m (ISO 9241-303's comfortable size, from memory); 0.277 mm a pixel, capitals 0.72 of the size
FAR_PX = 11.6 / 0.277 / 0.72
LEAST_PX = FAR_PX * 16 / 20  # the same standard's least size, 16 minutes of arc, from memory

TARGETS = """() => [...document.querySelectorAll('a[href], button, input:not([type=hidden]), select')]
  .filter((e) => e.checkVisibility() && !e.classList.contains('skip') && !(e.closest('p') && e.tagName === 'A' && !e.classList.contains('button') && !e.closest('.kept')))
  .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
  .filter(([, box]) => Math.min(box.width, box.height) < %d).map(([html, box]) => `${html} ${box.width}x${box.height}`)"""


@pytest.fixture(scope="module")
def name(server: Server) -> str:
    """A kept fill."""
    return server.archive.add(recorded(), "Maren Holt")


def filled(page: Page, server: Server, path: str) -> None:
    """The page in normal use."""
    page.goto(base(server) + path)
    if path in ("/wheel", "/ride"):
        enter(page, {**PAIR, **(RIDE if path == "/ride" else {})})
        expect(page.locator("#answer .verdict").first).to_be_visible(timeout=SOON_MS)
    if path == "/ride":
        enter(page, {"grams": "16"})
        page.click("#cartridge button")
        expect(page.locator("#cartridge-answer .verdict")).to_be_visible(timeout=SOON_MS)
    if path == "/fill":
        expect(page.locator(".fill-page")).to_have_attribute("data-line", "on", timeout=SOON_MS)
    if path == "/bench":
        enter(page, SPECIMEN)
        expect(page.locator("#plan .verdict")).to_be_visible(timeout=SOON_MS)
    if path in ("/fill", "/ride", "/bench") or path.startswith("/log/virtual"):
        expect(page.locator("#plot canvas")).to_be_visible(timeout=SOON_MS)


@pytest.fixture(scope="module")
def wheel(server: Server) -> str:
    """A wheel of the register."""
    with contextlib.closing(open_register(None)) as opened:
        return opened.add(Scenario(label="Sorrel rear").values(), "Maren Holt").wheel_id


def axe(page: Page, rules: str = "") -> list[tuple[str, str, list[str]]]:
    """What axe finds wrong, of any weight; `rules`: these alone."""
    if not page.evaluate("() => Boolean(window.axe)"):
        page.add_script_tag(path=str(AXE))
    only = f", runOnly: ['{rules}']" if rules else ""
    found = page.evaluate(
        f"async () => (await axe.run(document, {{resultTypes: ['violations']{only}}})).violations"
    )
    return [(v["id"], v["impact"], [n["html"][:120] for n in v["nodes"]][:3]) for v in found]


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])
def test_each_page(
    chromium: Browser, server: Server, name: str, wheel: str, size: dict[str, int]
) -> None:
    page = open_page(
        chromium, server, size=size, bypass_csp=True, reduced_motion="reduce"
    )  # axe is put in from outside, colours change at once
    for path in (
        "/wheel",
        f"/wheel/{wheel}",
        "/limit",
        f"/limit/{wheel}",
        "/fill",
        "/log",
        f"/log/{name}",
        "/ride",
        "/bench",
        "/setup",
        "/log/none",
    ):
        filled(page, server, path)
        assert axe(page) == [], path
        page.emulate_media(color_scheme="dark")
        assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(16, 20, 24)"
        assert axe(page, "color-contrast") == [], path
        page.emulate_media(color_scheme="light")
        assert page.evaluate(TARGETS % TARGET_PX) == [], path
        for width in WIDTHS if size is NARROW else (size["width"],):
            page.set_viewport_size({"width": width, "height": size["height"]})
            assert page.evaluate("() => document.documentElement.scrollWidth - innerWidth") <= 0, (
                f"{path} is wider than {width} px"
            )
        assert "eye protection" in page.locator(".care").first.inner_text()
        assert "plane of the wheel" in page.locator(".care").first.inner_text()
        page.set_viewport_size(size)
    page.context.close()


def test_axe_finds_what_is_wrong(chromium: Browser, server: Server) -> None:
    page = open_page(chromium, server, "/log", bypass_csp=True)
    page.evaluate(
        "() => { document.querySelector('h1').style.color = '#e0e0e0'; document.querySelector('input').labels[0].remove(); }"
    )
    page.add_script_tag(path=str(AXE))
    found = page.evaluate(
        "async () => (await axe.run()).violations.filter((v) => ['serious', 'critical'].includes(v.impact)).map((v) => v.id)"
    )
    assert {"color-contrast", "label"} <= set(found)


def test_important_values_are_readable_at_two_metres(chromium: Browser, server: Server) -> None:
    page = open_page(chromium, server, "/fill", WIDE)
    size = "(s) => parseFloat(getComputedStyle(document.querySelector(s)).fontSize)"
    sizes = {s: page.evaluate(size, s) for s in ("#big-bar .figure", "#big-psi .figure", "#state")}
    assert all(px >= FAR_PX for px in sizes.values()), sizes
    lesser = {
        s: page.evaluate(size, s)
        for s in ("#cause", "#next", "#ceiling", "#stop", "#target", "#tyre")
    }
    assert all(px >= LEAST_PX for px in lesser.values()), lesser
    expect(page.locator(".fill-page")).to_have_attribute("data-line", "on", timeout=SOON_MS)
    for part in (".now", ".says", ".marks"):
        box = page.locator(part).bounding_box()
        assert box and box["y"] >= 0 and box["y"] + box["height"] <= 1080, (
            f"{part} is on the first screen"
        )
    page.goto(base(server) + "/bench")
    far, near = (
        ("#big-bar .figure", "#big-psi .figure", "#state"),
        ("#next", "#lower", "#level", "#held", "#highest"),
    )
    sizes = {s: page.evaluate(size, s) for s in (*far, *near)}
    assert all(sizes[s] >= FAR_PX for s in far) and all(sizes[s] >= LEAST_PX for s in near), sizes
    page.context.close()


@pytest.mark.parametrize(
    "size", [(360, 640), (320, 256), (1280, 800)], ids=["phone", "400 % zoom", "laptop"]
)
def test_a_running_test_is_on_the_first_screen(
    chromium: Browser, server: Server, size: tuple[int, int]
) -> None:
    """Pressure, state, instruction or question, and the stop, with the longest words of a test; without a bench the stop is shown for the measurement."""
    page = open_page(
        chromium, server, "/bench", {"width": size[0], "height": size[1]}, bypass_csp=True
    )
    page.add_style_tag(content="#call-off { display: inline-flex !important; }")
    # on a busy machine the server's first word, after which the page has its shape, comes some seconds after it was loaded
    page.wait_for_function(
        "document.getElementById('state').getBoundingClientRect().bottom <= innerHeight"
    )
    for state, says in (
        ("holding", "Keep holding the run control behind the screen; release it to stop and vent."),
        ("look at both beads", f"{show.STATES['seat-pause'].capitalize()}. Keep holding."),
        *((state, show.SAID[kind]) for kind, state in PHASES.items()),
        ("The tyre blew off", "The specimen is scrap: mark rim and tyre as tested."),
    ):
        page.evaluate(
            "([state, says]) => { document.getElementById('state').textContent = state; document.getElementById('next').textContent = says; }",
            [state, says],
        )
        for part in ("#big-bar", "#state", "#next", "#call-off"):
            box = page.locator(part).bounding_box()
            assert box and box["y"] >= 0 and box["y"] + box["height"] <= size[1], (part, box)
            assert box["x"] >= 0 and box["x"] + box["width"] <= size[0], (part, box)
        card, words = (page.locator(part).bounding_box() for part in (".says", "#state"))
        assert card and words and words["x"] + words["width"] <= card["x"] + card["width"], state
    page.context.close()


def test_states_are_announced_and_the_running_number_is_not(
    chromium: Browser, server: Server
) -> None:
    page = open_page(chromium, server, "/fill")
    expect(page.locator("#announce[role=status]")).to_contain_text("Next:", timeout=SOON_MS)
    assert (
        page.locator("#big-bar").evaluate(
            "e => e.closest('[aria-live], [role=status], [role=alert], [role=log]')"
        )
        is None
    )
    page.evaluate(
        "() => { window.said = []; new MutationObserver(() => said.push(document.getElementById('announce').textContent)).observe(document.getElementById('announce'), {childList: true, characterData: true, subtree: true}); }"
    )
    page.wait_for_timeout(1500)
    assert page.evaluate("said.length") <= 1, "nothing is announced while only the number runs"


def test_reduced_motion_is_honoured(chromium: Browser, server: Server) -> None:
    page = open_page(chromium, server, "/fill", reduced_motion="reduce")
    expect(page.locator(".fill-page")).to_have_attribute("data-line", "on", timeout=SOON_MS)
    moving = "() => [...document.querySelectorAll('*')].filter((e) => { const s = getComputedStyle(e); return s.animationName !== 'none' || s.transitionDuration.split(',').some((d) => parseFloat(d) > 0); }).length"
    assert page.evaluate(moving) == 0


def test_all_of_it_works_from_the_keyboard(chromium: Browser, server: Server) -> None:
    page = open_page(chromium, server, "/fill")
    expect(page.locator("#enrol")).to_be_enabled(timeout=SOON_MS)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    reached = set()
    for _ in range(30):
        page.keyboard.press("Tab")
        reached.add(
            page.evaluate("document.activeElement.id || document.activeElement.textContent.trim()")
        )
    assert {
        "Wheel",
        "Limit",
        "Fill",
        "Record",
        "Ride",
        "Bench",
        "Set-up",
        "look",
        "who",
        "take",
        "wheel",
        "enrol",
    } <= reached
    page.set_viewport_size(NARROW)
    expect(page.locator("summary").first).to_be_visible()
    page.focus("summary")
    page.keyboard.press("Enter")
    expect(page.locator("nav >> text=Set-up")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator("nav >> text=Set-up")).to_be_hidden()
