"""A virtual inflator on a pseudo-terminal, as for a user, and the command line. Shared by the link's tests."""

import io
import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from rimward.base import logs, output
from rimward.cli import main as cli
from rimward.device.link import Client, LockstepTransport, verbs
from rimward.device.link.ports import open_client
from rimward.simulation.person import PRESSES
from rimward.simulation.scenario import KEY, Scenario, profile_of
from rimward.simulation.virtual import VirtualInflator
from rimward.simulation.virtual.inflator import TICK_S
from rimward.wheels.keys import OPEN_FORM, Key

RIMWARD = (sys.executable, "-m", "rimward")
TOP = Path(__file__).parents[2]


def profile(label: str = "Larkspur front", revision: int = 1) -> bytes:
    """A profile of an invented wheel, tagged with the shop's key."""
    return profile_of(replace(Scenario(), label=label), revision)


def run_here(
    words: list[str], env: dict[str, str], folder: Path
) -> subprocess.CompletedProcess[str]:
    """Run one command line in this process, with the environment, folder, width and streams that it would have in one of its own."""
    out, err = (
        io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2)
    )
    with pytest.MonkeyPatch.context() as patch:
        for name in set(os.environ) - set(env):
            patch.delenv(name)
        for name, value in env.items():
            patch.setenv(name, value)
        patch.chdir(folder)
        for name, stream in (("stdin", io.StringIO()), ("stdout", out), ("stderr", err)):
            patch.setattr(sys, name, stream)
        for console in (output.console, output.progress_console):
            patch.setattr(console, "_width", int(env.get("COLUMNS", 80)))
        patch.setattr(cli, "_drop_output", lambda: None)  # it would close this process's own output
        code = cli.run(words)
        for handler in list(logs.ROOT.handlers):  # they write to streams that end here
            logs.ROOT.removeHandler(handler)
            handler.close()
        logs.ROOT.propagate = True
    texts = [stream.buffer.getvalue().decode() for stream in (out, err)]  # type: ignore[attr-defined]
    return subprocess.CompletedProcess(["rimward", *words], code, *texts)


class Shop:
    """A folder with its own register, keys and virtual inflators; nothing of the user's is touched.

    Commands run in this process, which saves a second each; with `own_process` in one of their own, as at a prompt.
    """

    def __init__(self, folder: Path, own_process: bool = False) -> None:
        self.folder = folder
        self.own_process = own_process
        (folder / "run").mkdir(parents=True, mode=0o700)
        self.env = dict(
            os.environ,
            RIMWARD_DATA=str(folder / "data"),
            RIMWARD_KEYSTORE="file",
            RIMWARD_PASSPHRASE="a long walk home",
            XDG_RUNTIME_DIR=str(folder / "run"),
            COLUMNS="100",
        )

    def take_key(self) -> None:
        """The key of the invented shop, taken over as from another computer of it."""
        key = Key(KEY, "2026-03-08")
        text = {
            "form": OPEN_FORM,
            "purpose": "workshop",
            "key": key.key.hex(),
            "made": key.made,
            "key_id": key.key_id,
        }
        (self.folder / "key.json").write_text(json.dumps(text))
        assert self.run("key", "import", "key.json").returncode == 0

    def run(self, *words: Any, limit_s: float = 120) -> subprocess.CompletedProcess[str]:
        """`rimward WORDS`."""
        if not self.own_process:
            return run_here([str(word) for word in words], self.env, self.folder)
        return subprocess.run(
            [*RIMWARD, *map(str, words)],
            capture_output=True,
            text=True,
            env=self.env,
            cwd=self.folder,
            timeout=limit_s,
        )

    def json(self, *words: Any) -> Any:
        """What `rimward WORDS --json` prints; it must succeed."""
        done = self.run(*words, "--json")
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    def refused(self, *words: Any) -> str:
        """The one line that a refused command prints, after checking its exit code and that there is nothing else."""
        done = self.run(*words)
        assert done.returncode == 1, (done.returncode, done.stdout, done.stderr)
        lines = done.stderr.splitlines()
        assert len(lines) == 1 and lines[0].startswith("rimward: "), done.stderr
        assert done.stdout == "", done.stdout
        return lines[0]


class Inflator:
    """`rimward virtual` in a process of its own, its time `speed` times as fast as the clock. `say` does what a person at it would do."""

    def __init__(self, shop: Shop, *words: Any, speed: float = 1.0) -> None:
        command = (
            [*RIMWARD, "virtual"]
            if speed == 1.0
            else [sys.executable, "-m", "tests.web.inflator", str(speed)]
        )
        self.process = subprocess.Popen(
            [*command, "--json", *map(str, words)], cwd=TOP,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=shop.env, bufsize=1,
        )  # fmt: skip
        assert self.process.stdout is not None
        line = self.process.stdout.readline()
        assert line, "the virtual inflator did not start"
        self.about = json.loads(line)
        self.port = self.about["port"]

    def say(self, word: str) -> str:
        """Give a person's word; return what is shown then."""
        assert self.process.stdin is not None and self.process.stdout is not None
        self.process.stdin.write(word + "\n")
        return self.process.stdout.readline()

    def enrol(self, shop: Shop, *more: str) -> Any:
        """`rimward key enrol`, confirmed with the workshop button: pressed every second until the command has ended."""
        with self.pressing("workshop"):
            done = shop.run("key", "enrol", *more, "--port", self.port, "--json")
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)

    @contextmanager
    def pressing(self, word: str) -> Iterator[None]:
        """Press a button every second in the meantime."""
        over = threading.Event()

        def press() -> None:
            while not over.wait(1.0):
                self.say(word)

        hand = threading.Thread(target=press)
        hand.start()
        try:
            yield
        finally:
            over.set()
            hand.join()

    def answer(self) -> None:
        """Answer what the inflator asks before a fill, as `Person` does."""
        for _ in range(8):
            words = PRESSES.get(self.status()["waiting"])
            if words is None:
                return
            for word in words:
                self.say(word)
                time.sleep(0.3)
            time.sleep(0.3)

    def status(self) -> dict[str, Any]:
        """Its own description."""
        with open_client(self.port) as client:
            return verbs.status(client)

    def choose(self, wheel_id: bytes) -> None:
        """Select a wheel."""
        with open_client(self.port) as client:
            verbs.choose_wheel(client, wheel_id)

    def wait(
        self, holds: Callable[[dict[str, Any]], bool], seconds: float = 60.0
    ) -> dict[str, Any]:
        """Wait until the status satisfies `holds`."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            seen = self.status()
            if holds(seen):
                return seen
            time.sleep(0.1)
        raise AssertionError(seen)

    def close(self) -> None:
        """End it as a service manager would."""
        self.process.terminate()
        try:
            self.process.wait(30)
        finally:
            self.process.kill()
            for pipe in (self.process.stdin, self.process.stdout):
                assert pipe is not None
                pipe.close()


class PacedLine(LockstepTransport):
    """A line that brings so many bytes a second, in plant time; unused capacity of idle times is lost."""

    def __init__(self, inflator: VirtualInflator, bytes_per_s: float) -> None:
        super().__init__(inflator)
        self.a_tick = bytes_per_s * TICK_S
        self._credit = 0.0
        self._waiting = b""

    def read(self) -> bytes:
        self.inflator.tick()
        self._credit += self.a_tick
        while len(self._waiting) < self._credit:
            more = self.inflator.read()
            if not more:
                break
            self._waiting += more
        count = min(len(self._waiting), int(self._credit))
        data, self._waiting = self._waiting[:count], self._waiting[count:]
        self._credit = min(self._credit - count, self.a_tick)
        return data


def pull_ratio(
    inflator: VirtualInflator, session: int, size: int, bytes_per_s: float
) -> tuple[float, bytes]:
    """(payload over what the line could have carried meanwhile, the payload) of pulling a whole stored session."""
    with Client(PacedLine(inflator, bytes_per_s)) as client:
        pieces: list[bytes] = []
        begun = inflator.now_s
        client.pull(session, 0, size, pieces.append)
        took = inflator.now_s - begun
    payload = b"".join(pieces)
    return len(payload) / (took * bytes_per_s), payload


def stocked(folder: Path) -> Shop:
    """A shop with the key and the profile of an invented wheel, good.rwp."""
    made = Shop(folder)
    made.take_key()
    (made.folder / "good.rwp").write_bytes(profile())
    return made


@contextmanager
def enrolled(shop: Shop) -> Iterator[Inflator]:
    """An inflator with the shop's key and good.rwp in it."""
    made = Inflator(shop)
    try:
        assert made.enrol(shop)["enrolled"]
        assert shop.json("profile", "send", "good.rwp", "--port", made.port)["revision"] == 1
        yield made
    finally:
        made.close()
