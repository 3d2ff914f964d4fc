"""Watches the live page in several browsers: how many samples each got, and what memory does."""

import os
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, expect
from rimward.web.serve import Server

from tests.web.conftest import open_page

SIZE = {"width": 1024, "height": 720}
RATE_HZ = 50
SHARE = 0.97  # of 50 in a second of the inflator's own time, which falls behind the wall where the machine is overloaded
LATE_S = 4.0  # between counting what was made and reading the last page
TICK_S = 0.002
HEAP_GROWTH_MB, SERVER_GROWTH_MB = 12.0, 24.0


def watch(
    browser: Browser, server: Server, seconds: float, pages: int, looks: int
) -> list[dict[str, Any]]:
    """Open the pages and look at them `looks` times over `seconds`. Rows: time, samples by page, lost ones, heaps, the server's memory."""
    opened = [open_page(browser, server, "/fill", SIZE) for _ in range(pages)]
    for page in opened:
        expect(page.locator(".fill-page")).to_have_attribute("data-line", "on", timeout=60_000)
    sessions = [page.context.new_cdp_session(page) for page in opened]
    rows = []
    begin = time.monotonic()
    for k in range(looks + 1):
        while time.monotonic() < begin + seconds * k / looks:
            opened[0].wait_for_timeout(100)
        made = server.desk.ring.next
        counts = [
            page.evaluate("() => ({...document.querySelector('.fill-page').dataset})")
            for page in opened
        ]
        rows.append(
            {
                "at_s": round(time.monotonic() - begin, 2),
                **{
                    name: [int(count.get(key, 0)) for count in counts]
                    for name, key in (("samples", "samples"), ("lost", "gone"), ("next", "next"))
                },
                "made": made,
                "device_s": round((server.desk.ring.last() or {"tick": 0})["tick"] * TICK_S, 2),
                "heap_mb": [heap_mb(session) for session in sessions],
                "server_mb": resident_mb(os.getpid()),
            }
        )
    for page in opened:
        assert page.wrongs == []  # type: ignore[attr-defined]
        page.context.close()
    return rows


def heap_mb(session: Any) -> float:
    """A page's heap after a collection, megabytes."""
    session.send("HeapProfiler.collectGarbage")
    return round(session.send("Runtime.getHeapUsage")["usedSize"] / 1e6, 2)


def resident_mb(pid: int) -> float:
    """Memory of a process, megabytes."""
    return round(
        int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6, 1
    )


def judge(rows: list[dict[str, Any]], share: float = SHARE) -> list[str]:
    """What did not hold; nothing when all did. `share`: of 50 samples in a second of the inflator's time, so many must have come."""
    first, last = rows[0], rows[-1]
    seconds, made = last["device_s"] - first["device_s"], last["made"] - first["made"]
    wrong = (
        [f"{made / seconds:.1f} samples in a second of the inflator's time"]
        if made < share * RATE_HZ * seconds
        else []
    )
    for i, lost in enumerate(last["lost"]):
        got = last["next"][i] - first["next"][i]
        if lost:
            wrong.append(f"page {i} lost {lost} samples")
        if last["samples"][i] - first["samples"][i] != got:
            wrong.append(
                f"page {i} got {last['samples'][i] - first['samples'][i]} of {got} samples"
            )
        if made - got > LATE_S * RATE_HZ:
            wrong.append(f"page {i} is {made - got} samples behind")
        if last["heap_mb"][i] - rows[1]["heap_mb"][i] > HEAP_GROWTH_MB:
            wrong.append(
                f"page {i}'s memory grew from {rows[1]['heap_mb'][i]} to {last['heap_mb'][i]} MB"
            )
    if last["server_mb"] - rows[1]["server_mb"] > SERVER_GROWTH_MB:
        wrong.append(
            f"the server's memory grew from {rows[1]['server_mb']} to {last['server_mb']} MB"
        )
    return wrong
