"""The record's list: damaged and foreign records marked, print views whole."""

import pytest
from playwright.sync_api import Browser, expect
from rimward.simulation.scenario import KEY
from rimward.web.serve import Server
from rimward.wheels import keys

from tests.web.conftest import base, open_page
from tests.web.record import recorded
from tests.web.shop import SOON_MS


@pytest.fixture
def other_key(data) -> None:
    """A computer whose workshop has another key than the inflator."""
    ring = keys.load()
    keys.save((keys.Key(bytes(range(32)), "2026-01-01"),), ring.kept_in, "workshop")
    yield
    keys.save((keys.Key(KEY, "2026-03-08"),), ring.kept_in, "workshop")


def test_damaged_and_foreign_records_are_marked(
    chromium: Browser, server: Server, other_key: None
) -> None:
    whole = recorded()
    foreign = server.archive.add(whole, "Maren Holt")
    changed = bytearray(whole)
    changed[len(whole) // 2] ^= 0x40
    damaged = server.archive.add(bytes(changed), "Tove")
    (server.archive.folder / "virtual0-000099-0badf11e.rws").write_bytes(b"not a record")
    page = open_page(chromium, server, "/log")
    for name, kind in ((foreign, "foreign"), (damaged, "damaged")):
        expect(page.locator(f'.check[data-name="{name}"]')).to_have_attribute(
            "data-check", kind, timeout=SOON_MS
        )
    expect(page.locator(f'.check[data-name="{foreign}"]')).to_contain_text("another workshop's key")
    expect(page.locator("main")).to_contain_text("virtual0-000099-0badf11e: damaged")
    page.context.close()


def test_print_views_are_whole(chromium: Browser, server: Server) -> None:
    name = server.archive.add(recorded(), "Maren Holt")
    page = open_page(chromium, server, f"/log/{name}", color_scheme="dark")
    expect(page.locator("#plot canvas")).to_be_visible(timeout=SOON_MS)
    page.emulate_media(media="print", color_scheme="dark")
    assert (
        page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    ), "paper is white, whatever the screen is"
    expect(page.locator(".top")).to_be_hidden()
    for words in ("Verification", "Events", "Maren Holt", "eye protection"):
        expect(page.locator("body")).to_contain_text(words)
    page.goto(base(server) + "/wheel")
    page.emulate_media(media="print")
    clipped = "() => [...document.querySelectorAll('main *')].filter((e) => e.checkVisibility() && ['auto', 'scroll', 'hidden'].includes(getComputedStyle(e).overflowY) && e.scrollHeight > e.clientHeight + 2 && e.clientHeight > 1).map((e) => e.className || e.id)"
    assert page.evaluate(clipped) == []
    page.context.close()


def test_the_time_of_a_record_is_the_local_one_as_in_the_list(
    chromium: Browser, server: Server
) -> None:
    name = server.archive.add(recorded(), "Maren Holt")
    page = open_page(chromium, server, "/log", timezone_id="Asia/Tokyo")
    listed = page.locator(f'tr:has(a[href="/log/{name}"]) time').inner_text()
    page.goto(base(server) + f"/log/{name}")
    when = page.locator('dd[data-key="when"] time')
    assert when.inner_text() == listed and "UTC" not in listed
    page.emulate_media(media="print")
    assert when.inner_text() == listed
    page.context.close()
