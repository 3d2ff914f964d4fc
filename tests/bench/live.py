"""The live trace for ten minutes: 50 samples a second, four browsers. `python -m tests.bench.live [SECONDS]` prints one JSON document."""

import json
import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.web.conftest import FLAGS, Bench, folder_of_its_own, serving
from tests.web.watch import judge, watch

SECONDS = 600.0
LOOK_S = 60.0


def main(seconds: float) -> int:
    """Run it; 0 when all held."""
    bench = Bench("--tyre-pressure", "2 bar", speed=1.0)
    try:
        with (
            tempfile.TemporaryDirectory() as folder,
            folder_of_its_own(Path(folder)),
            serving(bench.port) as server,
            sync_playwright() as play,
        ):
            browser = play.chromium.launch(
                executable_path=shutil.which("chromium"), args=list(FLAGS)
            )
            rows = watch(browser, server, seconds, pages=4, looks=max(4, round(seconds / LOOK_S)))
            browser.close()
    finally:
        bench.close()
    wrong = judge(rows)
    span = rows[-1]["at_s"] - rows[0]["at_s"]
    rate = [round((b - a) / span, 2) for a, b in zip(rows[0]["next"], rows[-1]["next"])]
    device_s = rows[-1]["device_s"] - rows[0]["device_s"]
    print(
        json.dumps(
            {
                "seconds": span,
                "inflator_seconds": round(device_s, 1),
                "samples_a_second": rate,
                "lost": rows[-1]["lost"],
                "wrong": wrong,
                "looks": rows,
            },
            indent=1,
        )
    )
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main(float(sys.argv[1]) if len(sys.argv) > 1 else SECONDS))
