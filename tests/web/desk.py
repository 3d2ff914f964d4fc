"""The page as a mechanic sees it, for looking at: `python -m tests.web.desk FOLDER` writes a picture of each page and each state of a fill at four
widths, light and dark. Nothing of it is kept in the repository; what was found is in the commit that fixed it."""

import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Browser, Page, expect, sync_playwright
from rimward.register import open_register

from tests.web.conftest import FLAGS, Bench, base, folder_of_its_own, open_page, serving
from tests.web.record import recorded
from tests.web.shop import SOON_MS
from tests.web.states import walk

SIZES = ((360, 640), (768, 1024), (1280, 800), (1920, 1080), (320, 256))
SCHEMES = ("light", "dark")
START_BAR = "1.2 bar"


def take(page: Page, folder: Path, name: str, whole: bool = False) -> None:
    """One picture for each size and scheme."""
    for width, height in SIZES:
        page.set_viewport_size({"width": width, "height": height})
        for scheme in SCHEMES:
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            page.wait_for_timeout(60)
            page.screenshot(path=folder / f"{name}-{width}-{scheme}.png", full_page=whole)
    page.set_viewport_size({"width": SIZES[3][0], "height": SIZES[3][1]})


def pages(chromium: Browser, server, folder: Path) -> None:
    """Every page that is no fill."""
    name = server.archive.add(recorded(), "Maren Holt")
    page = open_page(chromium, server)
    with_register = open_register(None)
    wheel = with_register.all()[0].wheel_id
    with_register.close()
    for path in ("wheel", f"wheel/{wheel}", f"limit/{wheel}", "log", f"log/{name}", "setup", "ride", "bench"):
        page.goto(f"{base(server)}/{path}")
        page.wait_for_timeout(1500)
        take(page, folder, "page-" + path.split("/")[0] + ("-one" if "/" in path else ""), whole=True)
    page.context.close()


def main() -> None:
    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    bench = Bench("--tyre-pressure", START_BAR, speed=0.6)
    with tempfile.TemporaryDirectory() as data, folder_of_its_own(Path(data)), sync_playwright() as play:
        chromium = play.chromium.launch(executable_path="/usr/bin/chromium", args=list(FLAGS))
        with serving(bench.port) as server:
            page = open_page(chromium, server)
            for n, state in enumerate(walk(page, bench)):
                print(state, flush=True)
                take(page, folder, f"fill-{n:02d}-{state}")
            pages(chromium, server, folder)
            page.bring_to_front()
        expect(page.locator(".fill-page")).to_have_attribute("data-old", "yes", timeout=SOON_MS)
        page.wait_for_timeout(1500)
        take(page, folder, "fill-20-server-ended")
        chromium.close()
    bench.close()


if __name__ == "__main__":
    main()
