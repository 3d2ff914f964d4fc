"""A virtual inflator in its own process, the workshop page in a thread, and Chromium."""

import contextlib
import json
import os
import pty
import select
import shutil
import subprocess
import sys
import threading
import time
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright
from rimward.device.link import Client, verbs
from rimward.device.link.ports import open_client
from rimward.simulation.scenario import KEY
from rimward.web.serve import Server
from rimward.wheels import keys
from rimward_protocol import codes

FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip
WIDE, NARROW = {"width": 1920, "height": 1080}, {"width": 360, "height": 740}
expect.set_options(
    timeout=60_000
)  # what is waited for comes at once where the machine has nothing else to do
REMEMBER = """
addEventListener('DOMContentLoaded', () => {
  window.everSaid = []; window.airSeen = Boolean(sessionStorage.getItem('test-air-seen'));
  new MutationObserver(() => {
    everSaid.push(document.getElementById('announce')?.textContent ?? '');
    if (document.querySelector('.air-on')) { airSeen = true; sessionStorage.setItem('test-air-seen', 'yes'); }
  }).observe(document.documentElement, { subtree: true, childList: true, characterData: true, attributes: true, attributeFilter: ['class'] });
});
"""  # a busy machine may look too late for what stood there for a moment, or reload the page over it
TOP = Path(__file__).parents[2]
READ_TICKS = 300  # of 1 ms; a press within 150 of the request confirms nothing


class Bench:
    """A virtual inflator as `rimward virtual` gives it; `order` is what a person does at it."""

    def __init__(
        self,
        *more: str,
        speed: float = 3.0,
        key: bytes | None = KEY,
        env: dict[str, str] | None = None,
    ) -> None:
        words = [
            sys.executable,
            "-m",
            "tests.web.inflator",
            str(speed),
            "--json",
            "--rim-inner",
            "23",
            "--temp",
            "18",
            "--altitude",
            "200",
            *more,
        ]
        self.process = subprocess.Popen(
            words,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=TOP,
            env=os.environ | (env or {}),
        )
        assert self.process.stdin and self.process.stdout
        text = ""
        while not text.rstrip().endswith("}"):
            line = self.process.stdout.readline()
            assert line, "the virtual inflator ended while starting"
            text += line
        self.port = json.loads(text)["port"]
        if key is None:
            return
        with open_client(self.port) as client:
            verbs.enrol_key(client, key, lambda _text: self.confirm(client))

    def confirm(self, client: Client) -> None:
        """The workshop button, once the display has stood READ_TICKS of the inflator's own time: on a busy machine that runs slower."""
        shown = client.request(codes.STATUS)["tick"]
        while client.request(codes.STATUS)["tick"] < shown + READ_TICKS:
            time.sleep(0.02)
        self.order("workshop")

    def order(self, word: str) -> str:
        """Return what a person would see."""
        assert self.process.stdin and self.process.stdout
        self.process.stdin.write(f"{word}\n")
        self.process.stdin.flush()
        return self.process.stdout.readline().strip()

    def press(self, word: str) -> None:
        """A press, and the pause a person makes after it."""
        self.order(word)
        time.sleep(0.4)

    def close(self) -> None:
        self.process.terminate()
        try:
            self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()


class Cable:
    """A cable between the inflator's port and a port of its own, which can be pulled and plugged. `port` stays the same name."""

    def __init__(self, far: str, folder: Path) -> None:
        self.port = str(folder / "cable")
        self._far = os.open(far, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        tty.setraw(self._far)
        self._near = self._slave = -1
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self.plug()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def plug(self) -> None:
        near, slave = pty.openpty()
        tty.setraw(slave)
        os.set_blocking(near, False)
        with contextlib.suppress(FileNotFoundError):
            os.unlink(self.port)
        os.symlink(os.ttyname(slave), self.port)
        with self._lock:
            self._near, self._slave = near, slave

    def pull(self) -> None:
        with self._lock:
            near, slave, self._near = self._near, self._slave, -1
        os.unlink(self.port)
        os.close(near)
        os.close(slave)

    def _run(self) -> None:
        while not self._stop.is_set():
            with self._lock:
                ends = [self._far] + ([self._near] if self._near >= 0 else [])
                ready, _, _ = select.select(ends, [], [], 0.005)
                for end in ready:
                    self._carry(end)
            time.sleep(0.001)

    def _carry(self, end: int) -> None:
        try:
            data = os.read(end, 4096)
            to = self._near if end == self._far else self._far
            if to >= 0:
                os.write(to, data)  # bytes for a pulled cable fall on the floor
        except (BlockingIOError, OSError):
            pass

    def close(self) -> None:
        self._stop.set()
        self._thread.join(2)


@contextlib.contextmanager
def serving(port: str | None, listen: int = 0, token: str = "") -> Iterator[Server]:
    """The page's server in a thread; `token`: the one of a run before, as if it had only slept."""
    server = Server(port, listen=listen)
    if token:
        server.app.token = server.shop.token = token
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + 60
    while not server._server.started and time.monotonic() < until:
        time.sleep(0.02)
    assert server._server.started
    try:
        yield server
    finally:
        server.stop()
        thread.join(15)
        assert not thread.is_alive()


@contextlib.contextmanager
def folder_of_its_own(folder: Path, key: bool = True) -> Iterator[Path]:
    """Data and keys in `folder`; without `key` as on a computer where nothing was ever set up."""
    wanted = {"RIMWARD_DATA": str(folder), "RIMWARD_KEYSTORE": "file", "RIMWARD_USER": "Maren Holt"}
    before = {name: os.environ.get(name) for name in wanted}
    os.environ.update(wanted)
    if key:
        keys.save((keys.Key(KEY, "2026-03-08"),), keys.load().kept_in, "workshop")
    try:
        yield folder
    finally:
        for name, value in before.items():
            os.environ.pop(name) if value is None else os.environ.update({name: value})


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Debian's Chromium."""
    found = shutil.which("chromium")
    assert found, "Chromium is missing: apt-get install chromium"
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=found, args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture(autouse=True)
def closed(chromium: Browser) -> Iterator[None]:
    """No page of one test holds the inflator against the next one."""
    yield
    for context in chromium.contexts:
        context.close()


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A data folder for one file of tests."""
    with folder_of_its_own(tmp_path_factory.mktemp("data")) as folder:
        yield folder


@pytest.fixture(scope="module")
def bench() -> Iterator[Bench]:
    """An inflator of one file of tests, with a tyre at 3 bar on its hose that nothing has filled yet."""
    made = Bench("--tyre-pressure", "3 bar")
    yield made
    made.close()


@pytest.fixture(scope="module")
def server(data: Path, bench: Bench) -> Iterator[Server]:
    """The workshop page, joined to the inflator."""
    with serving(bench.port) as made:
        yield made


def open_page(
    browser: Browser,
    server: Server,
    path: str = "",
    size: dict[str, int] | None = None,
    **more: object,
) -> Page:
    """A page of a new browser context, with everything that goes wrong in it collected in `page.wrongs`."""
    context = browser.new_context(viewport=size or WIDE, **more)  # type: ignore[arg-type]
    context.add_init_script(REMEMBER)
    page = context.new_page()
    wrongs: list[str] = []
    page.on("pageerror", lambda wrong: wrongs.append(str(wrong)))
    page.on("console", lambda said: wrongs.append(said.text) if said.type == "error" else None)
    page.wrongs = wrongs  # type: ignore[attr-defined]
    page.goto(server.address)
    if path:
        page.goto(base(server) + path)
    return page


def base(server: Server) -> str:
    """The address without its token."""
    return server.address.split("/?")[0]
