"""What goes wrong around the page: connections that only wait, a server that ends or starts again, samples that stop, a line that is slow."""

import re
import signal
import socket
import time

import httpx
import pytest
from playwright.sync_api import Browser, Page, expect
from rimward.web import connections
from rimward.web.serve import Server

from tests.web.conftest import Bench, base, folder_of_its_own, open_page, serving
from tests.web.shop import SOON_MS, heard
from tests.web.test_looks import axe

MANY = 300


def test_connections_that_wait_do_not_block_others(server: Server) -> None:
    idle = [socket.create_connection(("127.0.0.1", server.listen), timeout=10) for _ in range(MANY)]
    try:
        answer = httpx.get(server.address, timeout=30)
        assert answer.status_code == 303, (
            "a person comes in beside hundreds of connections that say nothing"
        )
        assert len(connections.BoundedConnection.open_by["127.0.0.1"]) <= connections.EACH_CLIENT
    finally:
        for each in idle:
            each.close()


def test_a_header_must_end_in_time(server: Server, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "HEADER_S", 0.3)
    with socket.create_connection(("127.0.0.1", server.listen), timeout=30) as line:
        for _ in range(3):
            line.sendall(b"GET / HTTP/1.1\r\nX-Drip: ")  # bytes come, the header does not end
        with pytest.raises((ConnectionError, AssertionError)):
            assert line.recv(100) != b"", "the server closed it"
    with socket.create_connection(("127.0.0.1", server.listen), timeout=30) as line:
        ask = f"GET /alive HTTP/1.1\r\nHost: 127.0.0.1:{server.listen}\r\n\r\n".encode()
        line.sendall(ask)
        assert b"403" in line.recv(4000)
        line.sendall(b"GET / HT")  # the next one on the same connection too
        until = time.monotonic() + 30
        with pytest.raises((ConnectionError, StopIteration)):
            while time.monotonic() < until:
                if line.recv(4000) == b"":
                    raise StopIteration


def shown(page: Page) -> str:
    return page.locator(".instrument").inner_text()


def samples_that_stop(page: Page, bench: Bench) -> None:
    """The server lives, the inflator says nothing: after a second nothing is shown as present."""
    bench.process.send_signal(signal.SIGSTOP)
    try:
        expect(page.locator("#stale")).to_be_visible(timeout=SOON_MS)
        expect(page.locator("#state")).to_have_text(re.compile(r"no news|line lost"))
        expect(page.locator("#next")).to_contain_text("Let go of the run control")
        expect(page.locator("#big-bar .figure")).to_have_text("–.––")
    finally:
        bench.process.send_signal(signal.SIGCONT)
    expect(page.locator(".fill-page")).to_have_attribute("data-old", "no", timeout=SOON_MS)


def test_a_server_that_ended_leaves_no_instruction_behind(chromium: Browser, tmp_path) -> None:
    """The page marks everything as old at once, gives the next step, and continues by itself when its server is back."""
    bench = Bench("--tyre-pressure", "2 bar", speed=1.0)
    try:
        with folder_of_its_own(tmp_path):
            with serving(bench.port) as server:
                page = open_page(
                    chromium, server, "/fill", bypass_csp=True
                )  # axe is put in from outside
                expect(page.locator(".fill-page")).to_have_attribute(
                    "data-old", "no", timeout=SOON_MS
                )
                expect(page.locator("#age")).to_contain_text("s old")
                samples_that_stop(page, bench)
            expect(page.locator("#state")).to_have_text("page cut off", timeout=SOON_MS)
            expect(page.locator("#next")).to_contain_text("Start it again on its computer")
            expect(page.locator("#next")).to_contain_text("inflator’s own display")
            expect(page.locator("#stale")).to_contain_text("Do not rely on it")
            assert page.locator(".fill-page").get_attribute("data-old") == "yes"
            expect(page.locator("#big-bar .figure")).to_have_text("–.––")
            assert axe(page) == []
            assert "hold the run control" not in shown(page) and "keep holding" not in shown(page)
            heard(page, "page cut off")
            with serving(bench.port, server.listen, server.shop.token):
                expect(page.locator(".fill-page")).to_have_attribute(
                    "data-old", "no", timeout=SOON_MS
                )
                expect(page.locator("#stale")).to_be_hidden()
            with serving(bench.port, server.listen):
                expect(page.locator("#next")).to_contain_text(
                    "Open the new address", timeout=SOON_MS
                )
            page.context.close()
    finally:
        bench.close()


SLOW = """
window.late = 0;
window.WebSocket = class extends WebSocket {
  set onmessage(take) {
    const waiting = [];  // timers of one due time fire in any order, a line's messages do not
    super.onmessage = (event) => {
      this.due = Math.max(this.due || 0, performance.now() + window.late);
      if (this.deaf) return;
      waiting.push(event);
      setTimeout(() => take(waiting.shift()), this.due - performance.now());
    };
  }
  constructor(...all) { super(...all); (window.lines ??= []).push(this); }
};
"""  # a line whose messages come late, or not at all though it stays open


def test_a_slow_line_makes_its_values_old_and_a_dead_one_is_opened_again(
    chromium: Browser, server: Server
) -> None:
    """What the page's own hop takes counts; after a sleep the old line is open but dead (the page waits some seconds before it gives it up)."""
    page = open_page(chromium, server)
    page.add_init_script(SLOW)
    page.goto(base(server) + "/fill")
    expect(page.locator(".fill-page")).to_have_attribute("data-old", "no", timeout=SOON_MS)
    page.evaluate("() => { late = 1400; }")
    expect(page.locator("#stale")).to_be_visible(timeout=SOON_MS)
    page.wait_for_timeout(3000)  # samples come all the time, each of them late
    expect(page.locator("#stale")).to_be_visible()
    page.evaluate("() => { late = 0; }")
    expect(page.locator(".fill-page")).to_have_attribute("data-old", "no", timeout=SOON_MS)
    page.evaluate("() => { for (const each of lines) each.deaf = true; }")
    expect(page.locator(".fill-page")).to_have_attribute("data-old", "yes", timeout=SOON_MS)
    page.wait_for_function("() => lines.length > 1", timeout=SOON_MS)
    expect(page.locator(".fill-page")).to_have_attribute("data-old", "no", timeout=SOON_MS)
    assert page.locator(".fill-page").get_attribute("data-gone") == "0", (
        "what was made meanwhile came afterwards"
    )
    page.context.close()


def test_words_of_a_refusal_are_the_pages_own(chromium: Browser, server: Server) -> None:
    page = open_page(chromium, server, "/log/no-such-record")
    words = page.locator("main").inner_text()
    assert "Refused" in words and "rimward " not in words
    page.goto(base(server) + "/wheel")
    page.fill("#f-rim", "622x23?")
    page.fill("#f-tyre", "28-622")
    expect(page.locator("#answer .refusals").first).to_be_visible(timeout=SOON_MS)
    words = page.locator("#answer").inner_text()
    assert "rimward" not in words and "--" not in words and "Wheel page" in words
    page.context.close()
