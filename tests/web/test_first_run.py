"""The first run, guided once: from nothing to an inflator that has key, name, unit and source, without a command and without a refusal."""

from playwright.sync_api import Browser, Page, expect
from rimward.wheels import keys

from tests.web.conftest import Bench, folder_of_its_own, open_page, serving
from tests.web.shop import SOON_MS, enter_wheel


def with_button(page: Page, bench: Bench, press: str, answer: str) -> None:
    """Presses a button of the page, then the inflator's workshop button once its display has named the request."""
    with page.expect_response(answer) as got:
        page.click(press)
        for _ in range(10):
            page.wait_for_timeout(300)
            bench.order("workshop")
    assert got.value.ok, got.value.text()


def test_from_nothing_to_a_wheel_that_can_be_sent(chromium: Browser, tmp_path) -> None:
    bench = Bench("--tyre-pressure", "2 bar", key=None)
    try:
        with folder_of_its_own(tmp_path, key=False), serving(bench.port) as server:
            page = open_page(chromium, server)
            page.wait_for_url("**/setup")
            expect(page.locator("#step-key")).to_have_class("card now-step", timeout=SOON_MS)
            expect(page.locator("#key-workshop")).to_contain_text("None yet")
            page.click("#make-key")
            expect(page.locator("#key-workshop")).to_contain_text(
                f"Key {keys.load().current.key_id}" if keys.load().keys else "Key ", timeout=SOON_MS
            )
            expect(page.locator("#step-enrol")).to_have_class("card now-step", timeout=SOON_MS)
            expect(page.locator("#step-inflator .mark-done")).to_be_visible()
            with_button(page, bench, "#enrol:enabled", "**/fill/enrol")
            expect(page.locator("#step-name")).to_have_class("card now-step", timeout=SOON_MS)
            page.fill("#f-label", "")
            page.click("#put")
            expect(page.locator("#e-label")).to_contain_text("Give a name")
            assert page.evaluate("document.activeElement.id") == "f-label", (
                "the cursor goes to the field that is wrong"
            )
            page.fill("#f-label", "Bay 2")
            page.select_option("#f-unit", "psi")
            page.select_option("#f-buzzer", "off")
            page.click("#put")
            expect(page.locator("#put-says")).to_have_text("Set.", timeout=SOON_MS)
            expect(page.locator("#e-label")).to_be_hidden()
            for name, value in (("flow_0", "38"),):
                page.fill(f"#f-{name}", value)
            with_button(page, bench, "#put-source:enabled", "**/setup/source")
            page.reload()
            expect(page.locator("#f-label")).to_have_value(
                "Bay 2", timeout=SOON_MS
            )  # as the inflator itself says it
            expect(page.locator("#f-unit")).to_have_value("psi")
            expect(page.locator("#f-buzzer")).to_have_value("off")
            expect(page.locator("#f-flow_0")).to_have_value("38")
            page.click("#finish")
            enter_wheel(page, "First wheel")
            page.click("text=Next: fill it")
            page.click("#send:enabled", timeout=SOON_MS)
            expect(page.locator("#next")).to_contain_text("compare tyre size", timeout=SOON_MS)
            assert "rimward " not in page.locator("main").inner_text().lower()
            page.goto(server.address)
            page.wait_for_url("**/wheel")
            page.context.close()
    finally:
        bench.close()
