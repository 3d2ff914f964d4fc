"""The page as a mechanic sees it, for looking at: `python -m tests.web.desk FOLDER` writes a picture of each page and each state of a fill and of a
proof test at five sizes, light and dark; `--only fill` or `--only bench` one of the two. Nothing of it is kept in the repository; what was found is in the commit that fixed it."""

import sys
import tempfile
from pathlib import Path

from playwright.sync_api import Browser, Page, expect, sync_playwright
from rimward.wheels import keys
from rimward.wheels.register import open_register

from tests.web import benchwalk
from tests.web.conftest import FLAGS, Bench, base, folder_of_its_own, open_page, serving
from tests.web.record import recorded
from tests.web.shop import SOON_MS
from tests.web.states import walk

SIZES = ((360, 640), (768, 1024), (1280, 800), (1920, 1080), (320, 256))
SCHEMES = ("light", "dark")
START_BAR = "1.2 bar"
BENCH_SPEED = 0.12


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
    """Every page except a fill."""
    name = server.archive.add(recorded(), "Maren Holt")
    page = open_page(chromium, server)
    with_register = open_register(None)
    wheel = with_register.all()[0].wheel_id
    with_register.close()
    for path in (
        "wheel",
        f"wheel/{wheel}",
        f"limit/{wheel}",
        "log",
        f"log/{name}",
        "setup",
        "ride",
    ):
        page.goto(f"{base(server)}/{path}")
        page.wait_for_timeout(1500)
        take(
            page, folder, "page-" + path.split("/")[0] + ("-one" if "/" in path else ""), whole=True
        )
    page.context.close()


def look_at_a_fill(chromium: Browser, folder: Path) -> None:
    """A fill, and every page except the bench's."""
    bench = Bench("--tyre-pressure", START_BAR, speed=0.6)
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
    page.context.close()
    bench.close()


def look_at_a_test(chromium: Browser, folder: Path) -> None:
    """A proof test up to the blow-off. Slow time: the page must give its beat while its picture is taken."""
    bench = Bench("--bench", "--truth", speed=BENCH_SPEED, key=keys.new("bench").current.key)
    bench.order(f"blow-off {benchwalk.BLOW_OFF_BAR} bar")
    with serving(bench.port) as server:
        page = open_page(chromium, server, "/bench")
        for n, state in enumerate(benchwalk.walk(page, bench)):
            print(state, flush=True)
            take(page, folder, f"bench-{n:02d}-{state}")
            if state in ("empty", "planned", "result"):
                take(page, folder, f"bench-{n:02d}-{state}-whole", whole=True)
    page.wait_for_timeout(3000)
    take(page, folder, "bench-20-server-ended")
    page.context.close()
    bench.close()


PARTS = {"fill": look_at_a_fill, "bench": look_at_a_test}


def main() -> None:
    folder = Path(sys.argv[1])
    only = sys.argv[3] if sys.argv[2:3] == ["--only"] else ""
    folder.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as play:
        chromium = play.chromium.launch(executable_path="/usr/bin/chromium", args=list(FLAGS))
        for name, look in PARTS.items():
            if name == (only or name):
                with tempfile.TemporaryDirectory() as data, folder_of_its_own(Path(data)):
                    look(chromium, folder)
        chromium.close()


if __name__ == "__main__":
    main()
