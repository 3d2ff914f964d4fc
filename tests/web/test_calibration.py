"""Age, due date and guard band of the inflator's calibration on the fill page, before a fill: due, wider after a year, locked after two."""

import struct
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect
from rimward.device.calibration.run import GUARD_SETTING
from rimward.device.link import verbs
from rimward.device.link.ports import open_client
from rimward_protocol import codes

from tests.web.conftest import Bench, folder_of_its_own, open_page, serving
from tests.web.shop import SOON_MS

STORED_PA = 12_000
SPEED = 3.0


@pytest.fixture(scope="module")
def aged(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """An inflator of its own, whose calibration is as old as a test makes it."""
    with folder_of_its_own(tmp_path_factory.mktemp("aged")):
        made = Bench(speed=SPEED)
        yield made
        made.close()


def calibrated(bench: Bench, days_ago: int) -> None:
    """Store the guard band with a day so long ago, confirmed at the inflator."""
    day = int(time.time() - codes.EPOCH_DAY_UNIX_S) // 86_400 - days_ago

    with open_client(bench.port) as client:
        verbs.put_setting(
            client,
            GUARD_SETTING,
            struct.pack("<iI", STORED_PA, day),
            lambda _text: bench.confirm(client),
        )


@pytest.mark.parametrize(
    ("days_ago", "words", "band", "warns"),
    [
        (10, "10 days ago; due ", "0.12 bar", False),
        (350, "DUE SOON", "0.12 bar", False),
        (400, "OVERDUE since", "0.18 bar", True),
        (800, "calibrate it before the next fill", "0.18 bar", True),
    ],
)
def test_the_page_shows_the_calibration_before_a_fill(
    chromium: Browser,
    aged: Bench,
    days_ago: int,
    words: str,
    band: str,
    warns: bool,
    tmp_path: Path,
) -> None:
    calibrated(aged, days_ago)
    with folder_of_its_own(tmp_path), serving(aged.port) as server:
        page = open_page(chromium, server, "/fill")
        shown = page.locator("#calibration")
        expect(shown).to_contain_text(words, timeout=SOON_MS)
        expect(shown).to_contain_text(f"Guard band {band}")
        assert ("warn" in (shown.get_attribute("class") or "")) == warns
        assert page.wrongs == []  # type: ignore[attr-defined]
        page.context.close()
