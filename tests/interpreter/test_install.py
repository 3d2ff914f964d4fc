"""`rimward install` onto a prompt that a real MicroPython serves over a real littlefs, through a pseudo-terminal and mpremote."""

import contextlib
import json
import os
import pty
import subprocess
import sys
import time
import tty
from pathlib import Path

import pytest
from click.testing import CliRunner
from rimward.base.errors import Refusal
from rimward.device.install import plan, put
from rimward.device.install.device import Device

from tests import made
from tests.interpreter.conftest import unix_micropython

FIRMWARE = Path(__file__).parents[2] / "firmware"
SCRIPT = Path(__file__).parent / "prompt_board.py"
TOLD: list[str] = []
ARMV6M = 4  # architecture number in the third byte of a .mpy file (MicroPython's documentation of the format; from memory)


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """mpremote looks for an answer a hundred times a second; here a thousand times."""
    from types import SimpleNamespace

    from mpremote import transport_serial

    short = SimpleNamespace(monotonic=time.monotonic, sleep=lambda s: time.sleep(min(s, 0.001)))
    monkeypatch.setattr(transport_serial, "time", short)


class Board:
    """A board on a pseudo-terminal; `cut` takes its power away."""

    def __init__(self, image: Path) -> None:
        self.image = image
        self.on()

    def on(self) -> None:
        self.master, self.slave = pty.openpty()
        tty.setraw(self.slave)
        tty.setraw(self.master)
        self.port = os.ttyname(self.slave)
        command = [unix_micropython(), "-X", "heapsize=16m", str(SCRIPT), str(self.image)]
        self.process = subprocess.Popen(
            command, stdin=self.master, stdout=self.master, stderr=subprocess.DEVNULL
        )

    def cut(self) -> None:
        self.process.kill()
        self.process.wait()
        with contextlib.suppress(OSError):
            os.close(self.master)
            os.close(self.slave)


@pytest.fixture
def board(tmp_path):
    made = Board(tmp_path / "flash.img")
    yield made
    made.cut()


def small(compiled=False):
    """A firmware of a few files, so that every case runs quickly."""
    rows = [
        ("/lib/rimward_protocol/__init__.py", b""),
        ("/lib/rimward_fw/__init__.py", b""),
        ("/lib/rimward_fw/version.py", b'FIRMWARE = "0.0.9"\n'),
    ]
    return [plan.Item(path, data) for path, data in rows] + [
        plan.Item("/main.py", b"import rimward_fw\n")
    ]


def put_on(board, items, compiled=False):
    with Device(board.port) as device:
        return put.install(device, items, TOLD.append, compiled)


def files_on(board):
    with Device(board.port) as device:
        return device.digests(device.files(""))


def test_everything_goes_on_and_reads_back(board):
    items = plan.items(False)
    outcome = put_on(board, items)
    assert (outcome.written, outcome.unchanged, outcome.before) == (len(items), 0, "")
    assert files_on(board) == {item.path: item.digest for item in items}
    again = put_on(board, items)
    assert (again.written, again.unchanged, again.before) == (0, len(items), again.after)
    with Device(board.port) as device:
        assert (
            device.run(
                "import sys\nfrom rimward_fw.control import arming\nfrom rimward_fw.ui import screens\nprint(len(screens.SCREENS) > 20, arming.root(144))"
            )
            == "True 12"
        )


def test_compiled_takes_the_place_of_source(board):
    put_on(board, small())
    items = [
        plan.Item("/lib/rimward_fw/version.mpy", b"M\x06"),
        *[i for i in small() if "version" not in i.path],
    ]
    outcome = put_on(board, items)
    assert outcome.removed == 1 and "/lib/rimward_fw/version.py" not in files_on(board)


def test_the_compiled_plan_holds_machine_code_of_tick_and_kernels():
    plan_kernels = {f"{plan.KERNELS}{name}.mpy" for name in ("guard", "fill", "tick")}
    items = {item.path: item for item in made.items()}
    assert {*plan_kernels, "/lib/rimward_fw/board/pico.mpy", "/main.py"} <= set(items)
    assert {path for path in items if path.startswith(plan.KERNELS)} == plan_kernels
    assert not [p for p in items if "simulated" in p or (p.endswith(".py") and p != "/main.py")]
    assert all(items[path].data[2] >> 2 & 15 == ARMV6M for path in plan_kernels), (
        "native code of that processor"
    )
    assert all(item.data[:2] == b"M\x06" for path, item in items.items() if path.endswith(".mpy"))


def test_a_cut_at_any_step_leaves_the_old_firmware_or_nothing_that_starts(tmp_path):
    """Power goes after each step of the install in turn; then the board holds the old files whole, or no main.py, or the new ones whole."""
    old, new = small(), [plan.Item(i.path, i.data + b"# newer\n") for i in small()]
    old_set, new_set = ({i.path: i.digest for i in rows} for rows in (old, new))
    seen = set()
    for step in range(200):
        board = Board(tmp_path / f"cut{step}.img")
        put_on(board, old)
        ended = _cut_after(board, new, step)
        board.cut()
        board.on()
        held = {p: d for p, d in files_on(board).items() if not p.endswith((put.ASIDE, put.AWAY))}
        whole = (
            "old"
            if held == old_set
            else "new"
            if held == new_set
            else "nothing starts"
            if put.MAIN not in held
            else "mixed"
        )
        seen.add(whole)
        assert whole != "mixed", (step, held)
        if whole != "new":
            put_on(board, new)
            assert files_on(board) == new_set
        board.cut()
        if ended:
            break
    assert seen == {"old", "nothing starts", "new"}


def _cut_after(board, items, steps):
    """Installs, but the line breaks after so many commands that change something. True if the install ended before that."""
    with Device(board.port) as device:
        plain, count = device.run, 0

        def run(code):
            nonlocal count
            if not code.startswith("print(repr("):
                count += 1
                if count > steps:
                    raise Refusal("cut")
            return plain(code)

        device.run = run
        try:
            put.install(device, items, TOLD.append, False)
        except Refusal:
            return False
        return True


def test_a_file_that_reads_back_differently_is_refused(board, monkeypatch):
    put_on(board, small())
    plain = Device.write
    monkeypatch.setattr(
        Device, "write", lambda self, path, data: plain(self, path, data[:-1] + b"?")
    )
    newer = [plan.Item(i.path, i.data + b"# newer\n") for i in small()]
    with pytest.raises(Refusal, match="reads back differently"):
        put_on(board, newer)
    monkeypatch.undo()
    assert files_on(board) == {i.path: i.digest for i in small()}


def test_another_board_is_refused(board):
    with (
        Device(board.port) as device,
        pytest.raises(Refusal, match="RP2040; this board has micropython"),
    ):
        put.install(device, small(), TOLD.append)


def test_source_is_refused_on_a_chip(board, monkeypatch):
    monkeypatch.setattr(put, "CHIPS", ("linux", "darwin"))
    with pytest.raises(Refusal, match="From source the tick takes longer"):
        put_on(board, small())
    assert put_on(board, small(), True).written == 4


def test_an_old_interpreter_is_refused(board, monkeypatch):
    monkeypatch.setattr(put, "OLDEST", (99, 0))
    with pytest.raises(Refusal, match="hard timers need"):
        put_on(board, small())


def test_no_prompt_is_reported_in_one_line(monkeypatch):
    from rimward.cli.commands.install import command

    monkeypatch.setattr(plan, "items", lambda *_asked, **_more: small())  # none gets there
    monkeypatch.setattr("rimward.device.install.device.RAW_PROMPT_S", 0.2)
    monkeypatch.setattr("rimward.device.install.device.LINE_S", 0.2)
    master, slave = pty.openpty()
    tty.setraw(slave)
    with pytest.raises(Refusal, match="no MicroPython prompt"):
        CliRunner().invoke(
            command, ["--port", os.ttyname(slave), "--no-check"], catch_exceptions=False
        )
    with pytest.raises(Refusal, match="cannot be opened"):
        CliRunner().invoke(command, ["--port", "/dev/nothing-here"], catch_exceptions=False)
    os.close(master)
    os.close(slave)


def test_the_command_reports_as_json(board, monkeypatch):
    from rimward.cli.commands.install import command

    monkeypatch.setattr(plan, "items", lambda compiled: small())
    monkeypatch.setattr("rimward.device.install.plan.items", lambda compiled: small())
    done = CliRunner().invoke(
        command, ["--port", board.port, "--source", "--no-check", "--json"], catch_exceptions=False
    )
    told = json.loads(done.stdout)
    assert (
        told["written"] == 4
        and told["compiled"] is False
        and told["interpreter"].startswith("micropython")
    )


def test_the_list_for_mip_is_current_and_whole():
    assert (FIRMWARE / "package.json").read_text() == plan.package_json(), (
        "run: python -m rimward.device.install.plan"
    )
    listed = json.loads((FIRMWARE / "package.json").read_text())["urls"]
    assert [row[0] for row in listed] == [
        item.path.removeprefix("/lib/") for item in plan.items(False)
    ][:-1]
    assert all((FIRMWARE / row[1]).is_file() for row in listed)


def test_mip_understands_the_list(board, tmp_path):
    """mpremote's mip puts a few files of the real list on the board, protocol and firmware both."""
    (tmp_path / "firmware").mkdir()
    (tmp_path / "firmware" / "rimward_fw").symlink_to(FIRMWARE / "rimward_fw")
    (tmp_path / "protocol").symlink_to(FIRMWARE.parent / "protocol")
    listed = json.loads((FIRMWARE / "package.json").read_text())
    listed["urls"] = [
        row for row in listed["urls"] if row[0].endswith(("mac.py", "tick.py", "ui/__init__.py"))
    ]
    (tmp_path / "firmware" / "package.json").write_text(json.dumps(listed))
    command = [
        sys.executable,
        "-m",
        "mpremote",
        "connect",
        board.port,
        "mip",
        "install",
        "--target",
        "/lib",
        str(tmp_path / "firmware" / "package.json"),
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stdout[-500:] + done.stderr[-500:]
    items = {item.path: item.digest for item in plan.items(False)}
    held = files_on(board)
    assert len(held) == 3 and all(items[path] == digest for path, digest in held.items())


def test_the_files_to_freeze_are_those_of_the_manifest(tmp_path, monkeypatch):
    """`--to` writes what the manifest freezes: every module compiled, the kernels as machine code, and it names them as MicroPython's own manifests do."""
    from rimward.cli.commands.install import command

    make, wanted = plan.items, []
    monkeypatch.setattr(
        plan, "items", lambda *given, **named: wanted.extend(make(*given, **named)) or wanted
    )
    done = CliRunner().invoke(
        command, ["--to", str(tmp_path), "--frozen", "--json"], catch_exceptions=False
    )
    assert json.loads(done.stdout) == {"folder": str(tmp_path), "files": len(wanted)}
    asked = []
    names = ("include", "freeze_mpy", "module")
    space = {
        name: lambda *given, _name=name, **more: asked.append((_name, given, more))
        for name in names
    }
    os.environ["RIMWARD"] = str(tmp_path)
    exec((FIRMWARE / "manifest.py").read_text(), space)
    assert [name for name, _, _ in asked] == list(names)
    frozen = {
        path.relative_to(asked[1][1][0]).as_posix() for path in Path(asked[1][1][0]).rglob("*.mpy")
    }
    assert frozen == {item.path.removeprefix("/lib/") for item in wanted} - {"/main.py"}


def test_port_or_folder():
    from rimward.cli.commands.install import command

    assert CliRunner().invoke(command, []).exit_code == 2


TEXTS = """
import hashlib
from rimward.device.install import plan
print(hashlib.sha256(repr(sorted(plan.texts().items())).encode()).hexdigest())
"""


def test_every_install_of_the_same_sources_is_the_same() -> None:
    """Sets are in another order in every process: no name on the board may depend on it."""
    found = {
        subprocess.run(
            [sys.executable, "-c", TEXTS],
            env=os.environ | {"PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2", "3")
    }
    assert len(found) == 1
