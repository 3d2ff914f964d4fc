"""The rider: a route and a hot day as a curve against the limit, a pair that is refused, a gas cartridge."""

from playwright.sync_api import Browser, expect
from rimward.web.serve import Server

from tests.web.conftest import WIDE, open_page
from tests.web.shop import RIDE, SOON_MS, enter

PAIR = {
    "rim": "622x23TSS",
    "rim_max": "5 bar",
    "tyre": "28-622",
    "tyre_range": "3.5-6 bar",
    "approved": "yes",
    "bead": "folding",
    "air": "tubeless",
}
HEIGHTS = (200, 640, 1150, 980, 310)


def gpx() -> bytes:
    """An invented route of about 44 km over a pass of 1150 m."""
    points = "".join(
        f'<trkpt lat="{47 + i / 10}" lon="9.1"><ele>{m}</ele></trkpt>'
        for i, m in enumerate(HEIGHTS)
    )
    return f'<?xml version="1.0" encoding="UTF-8"?><gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{points}</trkseg></trk></gpx>'.encode()


def test_a_route_its_ceiling_and_a_cartridge(chromium: Browser, server: Server) -> None:
    page = open_page(chromium, server, "/ride", WIDE)
    enter(
        page,
        {
            **PAIR,
            "fill_temp": RIDE["fill_temp"],
            "fill_altitude": RIDE["fill_altitude"],
            "ride_temp_max": RIDE["ride_temp_max"],
        },
    )
    expect(page.locator("#answer .verdict").first).to_contain_text(
        "not over the limit 5.00 bar (72.5 psi)", timeout=SOON_MS
    )
    before = page.locator("#answer .chain").inner_text()
    page.set_input_files(
        "#route", {"name": "pass.gpx", "mimeType": "application/gpx+xml", "buffer": gpx()}
    )
    expect(page.locator("#answer")).to_contain_text(
        "counts as 1200 m, with the margin", timeout=SOON_MS
    )
    expect(page.locator("#answer .verdict").last).to_contain_text(
        "Ceiling 4.47 bar (64.8 psi) gauge"
    )
    assert page.locator("#answer .chain").inner_text() != before, (
        "the route takes its share of the limit"
    )
    assert page.locator("#plot").get_attribute("data-points") == str(len(HEIGHTS))
    enter(page, {"fill": "4.8 bar"})
    expect(page.locator("#answer .verdict").first).to_contain_text(
        "over the limit", timeout=SOON_MS
    )
    expect(page.locator("#answer .verdict.no").first).to_contain_text("5.3", timeout=SOON_MS)
    enter(page, {"grams": "16"})
    page.click("#cartridge button")
    expect(page.locator("#cartridge-answer .verdict")).to_contain_text(
        "do not use this cartridge on this wheel", timeout=SOON_MS
    )
    enter(page, {"grams": "4"})
    page.click("#cartridge button")
    expect(page.locator("#cartridge-answer .verdict")).to_contain_text(
        "Within the ceiling", timeout=SOON_MS
    )
    page.reload()
    expect(page.locator("#f-fill")).to_have_value(
        "4.8 bar"
    )  # a reload loses nothing that was typed
    assert page.wrongs == []  # type: ignore[attr-defined]


def test_a_pair_with_no_safe_pressure_is_refused_and_says_why(
    chromium: Browser, server: Server
) -> None:
    page = open_page(chromium, server, "/ride", WIDE)
    enter(page, {**PAIR, "tyre_range": "5.5-8 bar", **RIDE})
    verdict = page.locator("#answer .verdict")
    expect(verdict).to_have_text("✕ Refused: no pressure is allowed", timeout=SOON_MS)
    expect(page.locator("#answer [data-id=tyre-minimum-above-ceiling]")).to_contain_text(
        "this tyre does not belong on this rim"
    )
    assert page.locator("#plot canvas").count() == 0
    expect(page.locator("#announce")).to_contain_text("Refused")
    words = page.locator("main").inner_text().lower()
    assert "recommend" not in words.replace("recommends for", "") and "suggest " not in words


def test_a_route_that_is_none_is_refused_in_one_line(chromium: Browser, server: Server) -> None:
    page = open_page(chromium, server, "/ride", WIDE)
    enter(page, {**PAIR, **RIDE})
    page.set_input_files(
        "#route",
        {
            "name": "x.gpx",
            "mimeType": "text/xml",
            "buffer": b'<!DOCTYPE a [<!ENTITY x "y">]><gpx/>',
        },
    )
    expect(page.locator("#refusal")).to_contain_text("declares a document type", timeout=SOON_MS)
