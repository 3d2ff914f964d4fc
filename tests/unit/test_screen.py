"""The display seen on a computer: over the link, as PNG, in a terminal; and what can be typed at a virtual inflator."""

import io
import json
import os
import pty
import signal
import subprocess
from pathlib import Path

import pytest
from PIL import Image
from rimward.base.errors import Refusal
from rimward.device.link import Client, LockstepTransport, tuning
from rimward.device.link import screen as screens
from rimward.simulation.plant import compressor
from rimward.simulation.scenario import Scenario, plant_of
from rimward.simulation.virtual import VirtualInflator
from rimward.simulation.virtual.face import Face
from rimward.simulation.virtual.orders import read_script
from rimward_protocol import codes

from tests.unit.linkbench import RIMWARD, Shop

WAIT_S = 240


@pytest.fixture(scope="module")
def shown():
    """The first screen of a fresh inflator, read over the link, and the frame that the board got."""
    with (
        VirtualInflator(plant_of(Scenario())) as inflator,
        Client(LockstepTransport(inflator)) as client,
    ):
        inflator.advance(1.0)
        read = screens.read_screen(client)
        assert inflator.firmware is not None
        yield read, inflator.firmware.display


def test_the_picture_over_the_link_is_the_one_on_the_display(shown):
    read, display = shown
    assert read.frame == display and len(read.frame) == 1024 and any(read.frame)
    assert (
        read.name == "choose"
        and read.lines[0] == "CHOOSE A WHEEL"
        and "not registered" in read.lines
    )


def test_parts_of_two_pictures_are_never_joined(shown):
    class Changing:
        asked = 0

        def request(self, kind, part):
            assert kind == codes.SCREEN
            self.asked += 1
            return {
                "drawn": 1 if self.asked <= 2 else 2,
                "name": b"ready",
                "data": bytes([self.asked]),
            }

    line = Changing()
    assert screens.read_screen(line).frame == bytes([6, 7, 8, 9]) and line.asked == 10
    line.request = lambda kind, part: {"drawn": next(counts), "name": b"x", "data": b""}
    counts = iter(range(1, 1000))
    with pytest.raises(Refusal, match="changes faster"):
        screens.read_screen(line)


def test_an_inflator_without_a_picture_says_so():
    class Blank:
        def request(self, kind, part):
            return {"drawn": 0, "name": b"", "data": b""}

    with pytest.raises(Refusal, match="no picture"):
        screens.read_screen(Blank())


def test_a_png_has_every_point(shown, tmp_path):
    frame = shown[0].frame
    screens.write_png(frame, tmp_path / "face.png", 2)
    image = Image.open(tmp_path / "face.png")
    rows = screens.points(frame)
    for x, y in ((0, 0), (5, 3), (64, 30), (127, 63)):
        lit = image.getpixel((2 * (x + screens.BORDER), 2 * (y + screens.BORDER))) > 128
        assert lit == bool(rows[y][x])
    with pytest.raises(Refusal, match="cannot be written"):
        screens.write_png(frame, tmp_path / "nowhere" / "face.png")


@pytest.mark.parametrize(
    "columns, unicode, lines", [(128, True, 32), (80, True, 16), (80, False, 32)]
)
def test_a_terminal_of_any_kind_gets_every_point(shown, columns, unicode, lines):
    frame = shown[0].frame
    text = screens.drawn(frame, columns, unicode)
    assert len(text) == lines and all(len(line) <= 128 for line in text)
    assert unicode or "".join(text).isascii()
    lit = sum(map(sum, screens.points(frame)))
    if lines == 16:
        assert all(len(line) == 64 for line in text)
        assert (
            sum((ord(sign) - screens.BRAILLE).bit_count() for line in text for sign in line) == lit
        )
    else:
        signs = screens.HALVES if unicode else screens.PLAIN_HALVES
        assert sum((0, 1, 1, 2)[signs.index(sign)] for line in text for sign in line) == lit


def test_a_face_on_a_terminal_stays_above_what_is_typed(shown, monkeypatch):
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setenv("LINES", "40")
    out = io.StringIO()
    out.isatty = lambda: True
    face = Face(out, True)
    face.show(shown[0].frame)
    face.tell("air off")
    face.close()
    text = out.getvalue()
    assert (
        "\x1b[18;40r" in text
        and text.count("\x1b[K") == 16
        and "\x1b[r" in text
        and "air off" in text
    )
    piped = io.StringIO()
    Face(piped, True).show(shown[0].frame)
    assert "\x1b" not in piped.getvalue() and len(piped.getvalue().splitlines()) == 17


def test_a_script_is_checked_before_anything_starts(tmp_path):
    path = tmp_path / "words"
    path.write_text("# a comment\nwait 2\nup long  # the service page\n\nenter\nwait 0.5\nend\n")
    assert [word for _after, word in read_script(path).rows] == ["up long", "enter", "end"]
    assert [round(after, 3) for after, _word in read_script(path).rows] == [2.0, 2.4, 1.1]
    for text, wrong in (
        ("hold\nfly\n", "line 2: `fly`"),
        ("wait long\n", "line 1: `wait long`"),
        ("wait -1", "line 1"),
        ("slip 3 bar", "line 1"),
    ):
        path.write_text(text)
        with pytest.raises(Refusal, match=wrong):
            read_script(path)
    path.write_text("slip 3 bar")
    assert read_script(path, lambda word: word.startswith("slip ")).rows
    with pytest.raises(Refusal, match="cannot be read"):
        read_script(tmp_path / "none")


def test_words_of_a_script_come_in_plant_time(tmp_path):
    path = tmp_path / "words"
    path.write_text("hold\nwait 2\nlet-go\n")
    script = read_script(path)
    assert [list(script.due(now)) for now in (0.0, 1.0, 2.5, 2.7, 9.0)] == [
        ["hold"],
        [],
        [],
        ["let-go"],
        [],
    ]


@pytest.fixture
def shop(tmp_path):
    return Shop(tmp_path)


def test_a_terminal_is_set_up_and_a_script_runs_to_its_end(shop: Shop):
    """Long presses reach the service page; `seen` shows the display, the plant's truth only when asked for; `end` ends it with 0."""
    (shop.folder / "words").write_text("wait 0.5\nup long\nwait 1\nseen\nhelp\nend\n")
    running = [*RIMWARD, "virtual", "--source", "line", "--script", "words", "--state", "flash"]
    done = subprocess.run(
        running,
        capture_output=True,
        text=True,
        env=shop.env,
        cwd=shop.folder,
        timeout=WAIT_S,
        stdin=subprocess.DEVNULL,
    )
    assert done.returncode == 0, done.stderr
    assert (
        "true tyre" not in done.stdout
        and "run open, key low, hose on" in done.stdout
        and "enter long" in done.stdout
    )
    assert (
        sum(
            len(line) == 64 and set(line) <= {chr(screens.BRAILLE + n) for n in range(256)}
            for line in done.stdout.splitlines()
        )
        == 16
    )
    with (
        VirtualInflator(compressor(), where=_flash(shop.folder / "flash")) as again,
        Client(LockstepTransport(again)) as client,
    ):
        assert tuning.read(client).source == "line"
    (shop.folder / "words").write_text("wait 0.2\nseen\nend\n")
    done = subprocess.run(
        [*RIMWARD, "virtual", "--face", "--truth", "--script", "words"],
        capture_output=True,
        text=True,
        env=shop.env,
        cwd=shop.folder,
        timeout=WAIT_S,
    )
    assert (
        done.returncode == 0
        and "true tyre 0.00 bar" in done.stdout
        and chr(screens.BRAILLE) in done.stdout
    )


def _flash(path: Path):
    from rimward.simulation.virtual import Where

    return Where(flash=path)


def test_an_interrupt_ends_it_with_0(shop: Shop):
    def listens() -> None:
        signal.signal(signal.SIGINT, signal.SIG_DFL)

    running = subprocess.Popen(
        [*RIMWARD, "virtual", "--json"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=shop.env,
        preexec_fn=listens,
    )
    assert running.stdout is not None
    port = json.loads(running.stdout.readline())["port"]
    assert port.startswith("/dev/")
    running.send_signal(signal.SIGINT)
    _out, errors = running.communicate(timeout=WAIT_S)
    assert running.returncode == 0 and errors == ""


def test_screen_and_face_in_use(shop: Shop):
    """`rimward screen` against a running virtual inflator whose face is drawn on a real terminal."""
    master, slave = pty.openpty()
    running = subprocess.Popen(
        [*RIMWARD, "virtual", "--face"],
        stdin=subprocess.PIPE,
        stdout=slave,
        stderr=subprocess.PIPE,
        text=True,
        env=shop.env | {"LINES": "40"},
    )
    os.close(slave)
    try:
        text = b""
        while b"help" not in text:
            text += os.read(master, 65536)
        told = shop.json("screen", "--png", "face.png")
        assert told["screen"] == "choose" and len(bytes.fromhex(told["frame"])) == 1024
        assert (shop.folder / "face.png").read_bytes().startswith(b"\x89PNG")
        assert len(shop.run("screen").stdout.splitlines()) == 16
        while b"\x1b[1;1H" not in text:
            text += os.read(master, 65536)
        assert b"\x1b[18;40r" in text
        running.stdin.write("end\n")
        running.stdin.close()
        assert running.wait(WAIT_S) == 0
    finally:
        running.kill()
        os.close(master)
    assert shop.run("virtual", "--face", "--json").returncode == 2
