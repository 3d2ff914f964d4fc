"""A pulled cable: the page reports it at once, shows no old pressure, and afterwards no sample is missing."""

from playwright.sync_api import Browser, expect
from rimward.sessions import read_session, replay
from rimward.sessions.report.archive import Archive

from tests.web.conftest import Bench, Cable, base, folder_of_its_own, open_page, serving
from tests.web.shop import SOON_MS, confirm, enter_wheel, heard, hold_until_done, send, under_way


def test_a_cable_pulled_in_mid_fill_loses_nothing(chromium: Browser, tmp_path) -> None:
    aside = (
        tmp_path / "aside"
    )  # a real inflator is not there under a second name while its cable is out
    aside.mkdir(mode=0o700)
    bench = Bench("--tyre-pressure", "3.3 bar", env={"XDG_RUNTIME_DIR": str(aside)})
    cable = Cable(bench.port, tmp_path)
    try:
        with folder_of_its_own(tmp_path / "data"), serving(cable.port) as server:
            page = open_page(chromium, server)
            enter_wheel(page, "Foxglove rear")
            send(page)
            confirm(page, bench)
            bench.order("hold")
            under_way(page)
            cable.pull()
            expect(page.locator("#state")).to_have_text("line lost", timeout=SOON_MS)
            expect(page.locator("#big-bar .figure")).to_have_text("–.––")
            expect(page.locator("#stale")).to_be_visible()
            heard(page, "line lost")
            cable.plug()
            expect(page.locator(".fill-page")).to_have_attribute("data-line", "on", timeout=SOON_MS)
            expect(page.locator("#stale")).to_be_hidden()
            expect(page.locator("#hold-says")).to_have_text("This page holds the inflator.")
            assert hold_until_done(page, bench) in ("done", "stopped")
            expect(page.locator("#kept")).to_be_visible(timeout=SOON_MS)
            name = str(page.locator("#kept").get_attribute("data-name"))
            log = read_session(Archive().read(name))
            assert log.damage == "" and replay(log).identical
            steps = log.trace["tick"][1:] - log.trace["tick"][:-1]
            assert steps.max() <= 50, "the inflator recorded on while the cable was out"
            page.goto(f"{base(server)}/log/{name}")
            expect(page.locator("[data-key=verified]")).to_contain_text(
                "of it replayed to the same decisions"
            )
            page.context.close()
    finally:
        bench.order("let-go")
        cable.close()
        bench.close()
