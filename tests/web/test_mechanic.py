"""The mechanic: from the marks on rim and tyre to a recorded, verified and reported fill. The figures are the same everywhere."""

import csv
import json
from pathlib import Path

import pypdfium2
from click.testing import CliRunner
from playwright.sync_api import Browser, Page, expect
from rimward.cli.main import cli
from rimward.web.serve import Server
from rimward.wheels import keys

from tests.web.conftest import Bench, base, open_page
from tests.web.shop import (
    SOON_MS,
    confirm,
    enter_wheel,
    heard,
    hold_until_done,
    send,
    under_way,
    until,
)

BETWEEN_PA = 2_000  # the inflator notes its own peak; where the record is thinned (50 a second) a burst rises so much between two samples
SHOWN_ON_EACH = (
    "tyre",
    "highest",
    "target",
    "ceiling",
    "stop",
    "limit",
    "ended",
    "who",
    "replay",
    "verified",
)


def test_a_fill_from_the_marks_to_the_report(
    chromium: Browser, server: Server, bench: Bench, tmp_path
) -> None:
    page = open_page(chromium, server)
    enter_wheel(page, "Larkspur front")
    with page.expect_download() as tag:
        page.click("text=Tag to print (PDF)")
    assert "LARKSPUR" in text_of(tag.value.path()).upper()
    send(page)
    confirm(page, bench)
    two_pages_cannot_both_hold(chromium, server, page)
    bench.order("hold")
    under_way(page)
    a_reload_loses_nothing(page)
    assert hold_until_done(page, bench) == "done"
    assert page.evaluate("airSeen"), "the page said that air is on while it was"
    kept = page.locator("#kept")
    expect(kept).to_be_visible(timeout=SOON_MS)
    assert "target reached" in page.locator("#kept-link").inner_text()
    assert page.locator(".fill-page").get_attribute("data-gone") == "0"
    name = kept.get_attribute("data-name")
    page.click("#kept-link")
    same_figures_everywhere(page, server, str(name), tmp_path)
    assert page.wrongs == []  # type: ignore[attr-defined]


def test_the_key_is_given_once_the_button_confirms_it(
    chromium: Browser, server: Server, bench: Bench
) -> None:
    page = open_page(chromium, server, "/fill")
    page.click("#enrol:enabled", timeout=SOON_MS)  # takes the hold too
    expect(page.locator("#hold-says")).to_have_text(
        "This page holds the inflator.", timeout=SOON_MS
    )
    with page.expect_response("**/fill/enrol", timeout=SOON_MS) as answer:
        page.click("#enrol:enabled")
        for _ in range(10):  # the display names the key; the button confirms it
            page.wait_for_timeout(300)
            bench.order("workshop")
    assert answer.value.ok and answer.value.json()["key_id"] == keys.load().current.key_id
    heard(page, "has this workshop's key")
    page.click("#give")
    page.context.close()


def test_an_ordinary_inflator_takes_no_test(chromium: Browser, server: Server) -> None:
    page = open_page(chromium, server, "/bench")
    expect(page.locator("#state")).to_have_text("no proof bench", timeout=SOON_MS)
    page.click("#take")
    page.check("#read")
    expect(page.locator("#begin")).to_be_disabled()
    page.click("#give")
    page.context.close()


def two_pages_cannot_both_hold(chromium: Browser, server: Server, first: Page) -> None:
    other = open_page(chromium, server, "/fill")
    expect(other.locator("#hold-says")).to_contain_text(
        "Another page holds the inflator (Maren Holt)"
    )
    for order in ("#take", "#send", "#enrol"):
        expect(other.locator(order)).to_be_disabled()
    stolen = first.evaluate("sessionStorage.getItem('rimward-hold')")
    other.evaluate("token => sessionStorage.setItem('rimward-hold', token)", stolen)
    other.reload()  # a copied tab brings the token along
    expect(other.locator("#hold-says")).to_contain_text("Another page holds")
    expect(first.locator("#hold-says")).to_have_text("This page holds the inflator.")
    other.context.close()


def a_reload_loses_nothing(page: Page) -> None:
    """Hold, trace and state are restored, and samples continue without a gap."""
    page.wait_for_timeout(500)
    before, shown = (
        int(page.locator(".fill-page").get_attribute(name) or 0)
        for name in ("data-next", "data-samples")
    )
    page.reload()
    expect(page.locator("#hold-says")).to_have_text("This page holds the inflator.")
    expect(page.locator("#take")).to_be_hidden()
    until(
        page,
        lambda: int(page.locator(".fill-page").get_attribute("data-next") or 0) > before,
        "no sample came after the reload",
    )
    until(
        page,
        lambda: int(page.locator(".fill-page").get_attribute("data-samples") or 0) >= shown,
        "the page has not again what came before the reload",
    )
    assert page.locator(".fill-page").get_attribute("data-gone") == "0"


def same_figures_everywhere(page: Page, server: Server, name: str, tmp_path) -> None:
    """Page, HTML, PDF, `rimward report` and `rimward replay` on the downloaded session file."""
    expect(page.locator("#plot canvas")).to_be_visible()
    on_page = {key: page.locator(f"[data-key={key}]").inner_text() for key in SHOWN_ON_EACH}
    assert on_page["verified"].startswith("verified: complete, and ")
    assert on_page["who"] == "Maren Holt"
    files = {
        form: download(page, form, tmp_path)
        for form in (
            "Report (PDF)",
            "Report (HTML)",
            "Session file",
            "Figures (JSON)",
            "Trace (CSV)",
        )
    }
    in_pdf = " ".join(text_of(files["Report (PDF)"]).split())
    report = page.context.new_page()
    report.goto(f"file://{files['Report (HTML)']}")
    figures = json.loads(files["Figures (JSON)"].read_text())
    told = json.loads(rimward("report", name, "--json"))
    again = json.loads(rimward("replay", str(files["Session file"]), "--json"))
    for key, text in on_page.items():
        assert text in in_pdf, key
        assert report.locator(f"[data-key={key}]").inner_text() == text
        assert told["shown"][key] == figures["shown"][key] == text
    assert again["identical"] and f"{again['ticks']} ticks" in on_page["replay"]
    rows = list(csv.DictReader(files["Trace (CSV)"].open()))
    assert (
        told["highest_pa"] - BETWEEN_PA
        <= max(int(row[side]) for row in rows for side in ("a_pa", "b_pa"))
        <= told["highest_pa"]
    )
    assert (
        rimward("session", "export", str(files["Session file"]), "--every-tick", "--format", "csv")
        == files["Trace (CSV)"].read_text()
    )
    pdf = tmp_path / "same.pdf"
    rimward("report", name, "-o", str(pdf))
    assert all(text in " ".join(text_of(pdf).split()) for text in on_page.values())
    report.close()
    history(told["wheel_id"], on_page, tmp_path)
    page.goto(f"{base(server)}/log?find=larkspur")
    row = page.locator(f'.fills tr:has(a[href="/log/{name}"])')
    for words in (on_page["tyre"], "Maren Holt", "target-reached"):
        expect(row).to_contain_text(words)
    expect(row.locator(".check")).to_have_text("verified", timeout=SOON_MS)
    here = row.locator("time").evaluate(
        "e => new Intl.DateTimeFormat([], {dateStyle: 'medium', timeStyle: 'short'}).format(new Date(e.dataset.unix * 1000)) === e.textContent"
    )
    assert here, "times are those of this place"
    page.goto(f"{base(server)}/log?find=nothing-like-it")
    expect(page.locator(".none")).to_contain_text("No fill fits")


def history(wheel_id: str, on_page: dict[str, str], tmp_path) -> None:
    """The wheel's history holds the fill with the same figures."""
    out = tmp_path / "history.html"
    rimward("report", "--wheel", wheel_id, "-o", str(out))
    assert on_page["tyre"] in out.read_text() and on_page["highest"] in out.read_text()
    pdf = tmp_path / "history.pdf"
    rimward("report", "--wheel", wheel_id, "-o", str(pdf))
    assert "History of Larkspur front" in text_of(pdf)


def download(page: Page, words: str, folder: Path) -> Path:
    """The file behind a button, under the name it was given."""
    with page.expect_download() as got:
        page.click(f"text={words}")
    got.value.save_as(folder / got.value.suggested_filename)
    return folder / got.value.suggested_filename


def text_of(path) -> str:
    """All text of a PDF."""
    document = pypdfium2.PdfDocument(str(path))
    return "\n".join(document[i].get_textpage().get_text_range() for i in range(len(document)))


def rimward(*words: str) -> str:
    """The command line, as `rimward WORDS`."""
    done = CliRunner().invoke(cli, list(words), catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.stdout
