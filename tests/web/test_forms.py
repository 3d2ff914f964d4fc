"""Wheel and limit: errors at their fields, saving and unsaved changes in view, and nothing made from what is not saved."""

import contextlib

from playwright.sync_api import Browser, expect
from rimward.simulation.scenario import Scenario
from rimward.web.serve import Server
from rimward.wheels.register import open_register

from tests.web.conftest import NARROW, base, open_page
from tests.web.shop import RIDE, SOON_MS, enter


def saved(label: str) -> str:
    """A wheel of the register, by its id."""
    with contextlib.closing(open_register(None)) as opened:
        return opened.add(Scenario(label=label).values(), "Maren Holt").wheel_id


def change(wheel_id: str, **values: str) -> None:
    with contextlib.closing(open_register(None)) as opened:
        opened.edit(wheel_id, values, "Tove")


def test_what_is_wrong_stands_at_its_field(chromium: Browser, server: Server) -> None:
    page = open_page(chromium, server, "/wheel")
    enter(page, {"rim": "622", "tyre": "28-622", "rim_max": "5"})
    expect(page.locator("#e-rim")).to_be_visible(timeout=SOON_MS)
    expect(page.locator("#e-rim_max")).to_contain_text("unit", timeout=SOON_MS)
    expect(page.locator("#f-rim")).to_have_attribute("aria-invalid", "true")
    expect(page.locator("#e-tyre")).to_be_hidden()
    page.click("#save")
    expect(page.locator("#saved")).to_contain_text("Not saved")
    expect(page.locator("#e-label")).to_have_text("Give the wheel a name.")
    assert page.evaluate("document.activeElement.id") == "f-rim"
    enter(page, {"rim": "622x23TSS", "rim_max": "5 bar"})
    expect(page.locator("#e-rim")).to_be_hidden(timeout=SOON_MS)
    expect(page.locator("#answer .verdict")).to_contain_text(
        "✕ Refused: no pressure is allowed", timeout=SOON_MS
    )  # not known to be approved: with its reason
    expect(page.locator("#answer")).to_contain_text("approve")
    page.context.close()


def test_what_is_printed_comes_first_and_the_rest_is_folded(
    chromium: Browser, server: Server
) -> None:
    page = open_page(chromium, server, "/wheel", NARROW)
    expect(page.locator("#f-owner")).to_be_hidden()
    first = page.locator("form#wheel input:visible, form#wheel select:visible").evaluate_all(
        "all => all.map((e) => e.name)"
    )
    assert first[:4] == ["rim", "rim_max", "tyre", "tyre_range"]
    enter(
        page,
        {
            "rim": "622x23TSS",
            "rim_max": "5 bar",
            "tyre": "28-622",
            "tyre_range": "3.5-6 bar",
            "approved": "yes",
        },
    )
    expect(page.locator("#strip")).to_contain_text("Ceiling 5.00 bar", timeout=SOON_MS)
    page.evaluate("scrollTo(0, 0)")
    box = page.locator("#strip").bounding_box()
    assert box and box["y"] + box["height"] <= NARROW["height"] + 1, "the ceiling stays in view"
    page.context.close()


def test_unsaved_changes_are_seen_and_never_used(chromium: Browser, server: Server) -> None:
    wheel = saved("Yarrow front")
    page = open_page(chromium, server, f"/wheel/{wheel}")
    expect(page.locator("#saved")).to_have_attribute("data-saved", "yes")
    enter(page, {"rim_max": "3 bar"})
    expect(page.locator("#saved")).to_contain_text(
        "1 change is not saved: limit, tag and fill use the saved wheel"
    )
    expect(page.locator("#to-limit")).to_be_hidden()
    expect(page.locator("[data-field=rim_max]")).to_have_class("field changed")
    page.goto(f"{base(server)}/limit/{wheel}")
    enter(page, {**RIDE, "target": "3.9 bar"})
    expect(page.locator("#answer .verdict")).to_contain_text(
        "Ceiling 4.47 bar (64.8 psi) gauge", timeout=SOON_MS
    )
    expect(page.locator("main")).to_contain_text("5 bar marked on the rim, as saved")
    page.goto(f"{base(server)}/wheel/{wheel}")
    expect(page.locator("#saved")).to_have_attribute(
        "data-saved", "changed"
    )  # what was typed is still there, and still not saved
    page.click("#undo")
    expect(page.locator("#f-rim_max")).to_have_value("5 bar")
    expect(page.locator("#to-limit")).to_be_visible()
    page.context.close()


def test_a_profile_is_refused_once_the_register_has_changed(
    chromium: Browser, server: Server
) -> None:
    wheel = saved("Comfrey rear")
    page = open_page(chromium, server, f"/limit/{wheel}")
    enter(page, {**RIDE, "target": "3.9 bar", "who": "Maren Holt"})
    change(wheel, rim_max="4.8 bar")
    page.click("#make")
    expect(page.locator("#refusal")).to_contain_text(
        "was changed in the register after this page was loaded", timeout=SOON_MS
    )
    expect(page.locator("#profile")).to_contain_text("No profile is made yet")
    page.reload()
    enter(page, {"target": "4.9 bar"})
    expect(page.locator("#e-target")).to_contain_text("above the ceiling", timeout=SOON_MS)
    page.click("#make")
    expect(page.locator("#profile")).to_contain_text("No profile is made yet")
    enter(page, {"target": "3.8 bar", "fill_temp": "warm"})
    expect(page.locator("#e-fill_temp")).to_be_visible(timeout=SOON_MS)
    enter(page, {"fill_temp": "18"})
    expect(page.locator("#e-fill_temp")).to_be_hidden(timeout=SOON_MS)
    page.click("#make")
    expect(page.locator("#profile")).to_contain_text(
        "This is the newest profile of this wheel.", timeout=SOON_MS
    )
    page.context.close()
