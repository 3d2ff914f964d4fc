"""README's three journeys, in their order, line by line as typed, with a person at a virtual inflator where README says one is."""

import os
import re
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.unit.linkbench import Inflator, Shop

README = (Path(__file__).parents[2] / "README.md").read_text()
LIMIT_S = 900
SHIM = f'#!/bin/sh\nexec {sys.executable} -m rimward "$@"\n'


def journeys() -> dict[str, list[str]]:
    """The command lines of each journey, by the word that README prints bold; those before the first are everyone's."""
    text = README[README.index("## Three journeys") : README.index("## How it holds the limit")]
    parts = re.split(r"^\*\*(.+?)\*\*", text, flags=re.M)
    found = {"": parts[0]} | dict(zip(parts[1::2], parts[2::2]))
    return {name: re.findall(r"^ {4}(rimward .*)$", part, re.M) for name, part in found.items()}


def listens() -> None:
    """An interrupt counts, even where this test was itself started in the background, without one."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


class Person:
    """Type the lines into a shell, and do the matching actions at the inflator."""

    def __init__(self, folder: Path) -> None:
        self.shop = Shop(folder, own_process=True)
        place = folder / "bin"
        place.mkdir()
        (place / "rimward").write_text(SHIM)
        (place / "rimward").chmod(0o755)
        self.shop.env["PATH"] = f"{place}{os.pathsep}{self.shop.env['PATH']}"
        self.inflator: Inflator | None = None

    def types(self, line: str) -> subprocess.CompletedProcess[str]:
        """One line in a shell."""
        return subprocess.run(
            ["bash", "-c", line],
            capture_output=True,
            text=True,
            env=self.shop.env,
            cwd=self.shop.folder,
            timeout=LIMIT_S,
        )

    def must(self, line: str) -> str:
        """Run a line that must succeed; return its output."""
        done = self.types(line)
        assert done.returncode == 0, (line, done.stdout[-500:], done.stderr)
        return done.stdout

    def until(self, line: str, text: str, most_s: float = 90.0) -> str:
        """Type a line that runs until it is interrupted; return its output up to `text`, or of `most_s` seconds."""
        running = subprocess.Popen(["bash", "-c", f"exec {line}"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.PIPE,
                                   env=self.shop.env, cwd=self.shop.folder, start_new_session=True, preexec_fn=listens)  # fmt: skip
        assert running.stdout is not None
        out, end = b"", time.monotonic() + most_s
        while text.encode() not in out and time.monotonic() < end and running.poll() is None:
            if select.select([running.stdout], [], [], 1.0)[0]:
                out += os.read(running.stdout.fileno(), 65536)
        os.killpg(running.pid, signal.SIGINT)
        rest, errors = running.communicate(timeout=60)
        assert b"Traceback" not in errors and running.returncode in (0, 1), (line, errors)
        return (out + rest).decode()

    def enrols(self, line: str) -> None:
        """`key enrol`, confirmed with the workshop button."""
        assert self.inflator is not None
        with self.inflator.pressing("workshop"):
            done = self.types(line)
        assert done.returncode == 0, done.stderr

    def chooses_and_holds(self) -> None:
        """At the inflator: the only wheel of the list, its questions answered, the run control held."""
        assert self.inflator is not None
        for _ in range(12):
            seen = self.inflator.status()
            if seen["ceiling_pa"] > 0:
                break
            self.inflator.say("enter")
            time.sleep(0.6)
        assert seen["ceiling_pa"] > 0, seen
        self.inflator.say("hold")

    def stays_until_it_is_done(self) -> dict:
        """Keep holding, confirm the bead when asked, release at the end and detach the hose."""
        assert self.inflator is not None
        until = time.monotonic() + LIMIT_S
        while time.monotonic() < until:
            seen = self.inflator.status()
            if seen["waiting"] == "bead-seated":
                for word in ("let-go", "enter", "hold"):
                    self.inflator.say(word)
                    time.sleep(0.5)
            elif seen["state"] in ("done", "stopped", "tripped"):
                break
            time.sleep(0.2)
        self.inflator.say("let-go")
        time.sleep(0.5)
        self.inflator.say("detach")
        time.sleep(1.5)
        return seen


@pytest.fixture
def person(tmp_path):
    made = Person(tmp_path)
    made.inflator = Inflator(
        made.shop,
        "--wheel",
        "28-622",
        "--rim-inner",
        "23",
        "--temp",
        "18",
        "--altitude",
        "200",
        speed=3.0,
    )
    yield made
    if made.inflator is not None:
        made.inflator.close()


def test_the_three_journeys_as_typed_in_their_order(person):
    told = journeys()
    assert list(told) == ["", "A mechanic", "A rider", "A developer"] and all(told.values())
    new, enrol = told[""]
    person.must(new)
    person.enrols(enrol)
    for line in told["A mechanic"]:
        if line.startswith("rimward watch"):
            person.chooses_and_holds()
            assert "at the hose" in person.until(line, "at the hose")
            assert person.stays_until_it_is_done()["state"] == "done"
        else:
            out = person.must(line)
            if "ceiling" in line.split():
                assert "limit 5.00 bar → ride −0.53 → ceiling 4.47" in out
    assert (person.shop.folder / "fill.pdf").read_bytes().startswith(b"%PDF")
    for line in told["A rider"]:
        person.must(line)
    assert (person.shop.folder / "sunday.pdf").read_bytes().startswith(b"%PDF")
    person.inflator.close()
    person.inflator = None
    for line in told["A developer"]:
        if line.startswith("rimward virtual"):
            running = subprocess.Popen(
                ["bash", "-c", f"exec {line}"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
                env=person.shop.env,
                cwd=person.shop.folder,
            )
            assert running.stdout is not None
            assert running.stdout.readline().startswith("Virtual inflator on /dev/")
        elif line.startswith("rimward inflators"):
            assert "/dev/" in person.must(line)
            running.communicate("end\n", timeout=60)
            assert running.returncode == 0
        else:
            person.must(line)
