"""The live trace: 50 samples a second to four browsers at once, each sample once, memory flat. `tests/bench/live.py` runs it for ten minutes."""

from playwright.sync_api import Browser

from tests.web.conftest import Bench, folder_of_its_own, serving
from tests.web.watch import judge, watch

SECONDS = 10.0
OVERLOADED = 0.8  # two tests and five browsers share two cores here; the rate itself is measured by the bench


def test_four_browsers_get_every_sample(chromium: Browser, tmp_path) -> None:
    bench = Bench("--tyre-pressure", "2 bar", speed=1.0)
    try:
        with folder_of_its_own(tmp_path), serving(bench.port) as server:
            rows = watch(chromium, server, SECONDS, pages=4, looks=4)
    finally:
        bench.close()
    assert judge(rows, OVERLOADED) == []
