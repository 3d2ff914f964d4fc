"""The command line in a shell: one line for every failure, the right exit code, any codec, any ending."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest
import rimward
from rimward.base import extras
from rimward.cli.main import COMMANDS
from rimward.device.link import Client
from rimward_protocol import codes, frame

from tests.unit.linkbench import RIMWARD, Shop
from tests.unit.shopdesk import FRONT
from tests.unit.test_link_client import FarEnd, hello_is

HOST = str(Path(rimward.__file__).parents[1])
WAIT_S = 600  # the first campaign after a change of the kernels compiles them


@pytest.fixture
def shop(tmp_path):
    return Shop(tmp_path, own_process=True)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("whel", "list"), "Did you mean 'rimward wheel'?"),
        (("wheel", "lst"), "ean 'list'?"),
        (("backup",), "Did you mean 'rimward wheel backup'?"),
        (
            ("export",),
            "Did you mean 'rimward key export' or 'rimward session export' or 'rimward wheel export'?",
        ),
        (("wheel", "list", "--jsn"), "--json"),
        (("profile", "make"), "Give one of --wheel"),
        (("wheel", "show", "larkspur", "front"), "(front). See 'rimward wheel show --help'."),
    ],
)
def test_wrong_usage_is_one_line_that_names_what_was_meant(desk, words, says):
    assert desk(*words) == 2
    (line,) = desk.err.splitlines()
    assert line.startswith("rimward: ") and says in line and desk.out == ""


def test_a_refusal_is_one_line_and_with_json_an_object_too(desk):
    assert desk("wheel", "show", "nowhere", "--json") == 1
    told = json.loads(desk.out)
    assert (
        told["exit_code"] == 1
        and "No wheel matches" in told["refused"]
        and "rimward wheel list" in told["fix"]
    )
    assert desk.err.splitlines() == [f"rimward: {told['refused']} {told['fix']}"]
    assert desk("wheel", "add", "x", "--json") == 2 and json.loads(desk.out)["exit_code"] == 2


def test_a_result_that_ends_in_a_refusal_stays_one_json_document(desk):
    assert desk("wheel", "find", "zebra", "--json") == 1
    assert json.loads(desk.out) == {"wheels": []}


def test_an_empty_register_says_how_to_enter_a_wheel(desk):
    assert (
        desk("wheel", "list") == 0
        and "rimward wheel add" in desk.out
        and "wheel import" in desk.out
    )
    assert desk.json("wheel", "list") == {"wheels": []}


def test_python_m_rimward_is_the_command(shop):
    assert shop.run("--version").stdout.startswith("rimward, version")


def test_a_defect_is_one_line_and_a_traceback_when_asked(shop):
    (shop.folder / "sitecustomize.py").write_text(
        "import rimward.base.units\ndel rimward.base.units.show_limit\n"
    )
    shop.env["PYTHONPATH"] = os.pathsep.join([str(shop.folder), os.environ.get("PYTHONPATH", "")])
    words = (
        "ceiling",
        "--rim",
        "622x23TC",
        "--tyre",
        "28-622",
        "--tyre-range",
        "4-6 bar",
        "--fill-temp",
        "20",
    )
    assert "A defect in Rimward, ImportError" in shop.refused(*words)
    assert "Traceback" in shop.run("-vv", *words).stderr


@pytest.mark.parametrize(
    ("module", "extra", "words"),
    [
        ("numba", "sim", ("campaign", "--sessions", "1")),
        ("uvicorn", "web", ("serve",)),
        ("scipy", "proof", ("proof", "analyse", "rows.csv")),
    ],
)
def test_a_missing_extra_is_named(shop, module, extra, words):
    (shop.folder / "sitecustomize.py").write_text(f"import sys\nsys.modules['{module}'] = None\n")
    shop.env["PYTHONPATH"] = os.pathsep.join([str(shop.folder), os.environ.get("PYTHONPATH", "")])
    (shop.folder / "rows.csv").write_text("specimen\n")
    line = shop.refused(*words)
    assert module in line and f"pip install 'rimward[{extra}]'" in line


def test_every_extra_of_the_table_is_one_of_the_package():
    import tomllib

    stated = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())["project"][
        "optional-dependencies"
    ]
    for extra, modules in extras.MODULES.items():
        named = {re.split(r"[^a-z0-9-]", row)[0].replace("-", "_") for row in stated[extra]}
        assert set(modules) <= named, extra
    assert not [module for extra in extras.MODULES for module in extras.missing(extra)]


@pytest.mark.parametrize("codec", ["ascii", "latin-1", "cp1252", "utf-8"])
def test_any_codec_of_the_output_will_do(shop, codec):
    shop.env["PYTHONIOENCODING"] = codec
    shop.env["PYTHONUTF8"] = "0"
    for words in (
        ("wheel", "add", "Zoë → ✗", *FRONT[1:]),
        ("wheel", "list"),
        ("wheel", "show", "Zo"),
        ("config",),
        ("--help",),
    ):
        done = subprocess.run(
            [*RIMWARD, *words], capture_output=True, env=shop.env, cwd=shop.folder, timeout=WAIT_S
        )
        assert done.returncode == 0, done.stderr
        assert b"Zo" in done.stdout or words[0] != "wheel"
    done = subprocess.run(
        [*RIMWARD, "wheel", "list", "--json"],
        capture_output=True,
        env=shop.env,
        cwd=shop.folder,
        timeout=WAIT_S,
    )
    assert json.loads(done.stdout.decode(codec))["wheels"][0]["label"] == "Zoë → ✗"


def test_a_full_disk_is_one_line(shop):
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [*RIMWARD, "config"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            env=shop.env,
            timeout=WAIT_S,
        )
    assert done.returncode == 1
    (line,) = done.stderr.splitlines()
    assert line.startswith("rimward: ") and "No space left" in line


def test_a_closed_pipe_is_one_line(shop):
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(
        [*RIMWARD, "config"],
        stdout=writer,
        stderr=subprocess.PIPE,
        text=True,
        env=shop.env,
        timeout=WAIT_S,
    )
    os.close(writer)
    assert (
        done.returncode == 1 and done.stderr == "rimward: Whoever read the output has closed it.\n"
    )


def of_session(session: int) -> list[int]:
    """Processes of a session that still run."""
    found = []
    for folder in Path("/proc").iterdir():
        if folder.name.isdigit():
            try:
                fields = (folder / "stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue
            if int(fields[3]) == session and fields[0] != "Z":
                found.append(int(folder.name))
    return found


def listens() -> None:
    """An interrupt counts, even where this test was itself started in the background, without one."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
@pytest.mark.parametrize(
    "words",
    [
        ("demo", "--out", "demo"),
        ("campaign", "--sessions", "100000", "--workers", "2", "--out", "many"),
    ],
)
def test_a_signal_ends_in_one_line_and_leaves_no_process(shop, words, number):
    running = subprocess.Popen([*RIMWARD, "-q", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=shop.env, cwd=shop.folder,
                               start_new_session=True, preexec_fn=listens)  # fmt: skip
    until = time.monotonic() + WAIT_S
    while len(of_session(running.pid)) < 2 and running.poll() is None:
        assert time.monotonic() < until
        time.sleep(0.05)
    running.send_signal(number)
    _out, errors = running.communicate(timeout=WAIT_S)
    assert running.returncode == 1
    assert "Traceback" not in errors and errors.splitlines()[-1].startswith("rimward: "), errors
    until = time.monotonic() + 10
    while of_session(running.pid):
        assert time.monotonic() < until, "a child process was left behind"
        time.sleep(0.05)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_the_page_ends_with_0_when_it_is_told_to(shop, number):
    running = subprocess.Popen([*RIMWARD, "serve", "--listen", "0", "--json"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=shop.env,
                               cwd=shop.folder, preexec_fn=listens)  # fmt: skip
    assert running.stdout is not None
    address = json.loads("".join(iter(running.stdout.readline, "}\n")) + "}")["address"]
    until = time.monotonic() + WAIT_S
    while True:  # its socket is there before anything answers on it
        try:
            urllib.request.urlopen(address, timeout=WAIT_S).close()
        except urllib.error.HTTPError:
            break  # it answers: without the cookie it refuses
        except OSError:
            assert time.monotonic() < until
    running.send_signal(number)
    out, errors = running.communicate(timeout=WAIT_S)
    assert (running.returncode, errors.strip()) == (0, "The workshop page has ended.")


def test_an_interrupt_while_it_starts_is_one_line(shop):
    """The signal comes while the first module is imported."""
    code = "import os, signal, sys, rimward.__main__ as m\n" + (
        "class Finder:\n    def find_spec(self, name, path=None, target=None):\n"
        "        if name == 'rimward.cli.main': os.kill(os.getpid(), signal.SIGINT)\n"
        "sys.meta_path.insert(0, Finder())\nm.main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        env=shop.env | {"PYTHONPATH": os.environ.get("PYTHONPATH", HOST)},
        timeout=WAIT_S,
    )
    assert (done.returncode, done.stdout, done.stderr) == (1, "", "rimward: interrupted.\n")


def test_the_shell_completes_commands_and_options(shop):
    shop.env |= {
        "_RIMWARD_COMPLETE": "bash_complete",
        "COMP_WORDS": "rimward whe",
        "COMP_CWORD": "1",
    }
    assert shop.run().stdout == "plain,wheel\n"
    shop.env |= {"COMP_WORDS": "rimward wheel exp", "COMP_CWORD": "2"}
    assert shop.run().stdout == "plain,export\n"
    shop.env["_RIMWARD_COMPLETE"] = "bash_source"
    assert "complete -o nosort -F" in shop.run().stdout


def test_the_log_has_every_frame_and_no_key(tmp_path):
    from rimward.base import logs

    logs.start(0, tmp_path / "link.log")
    try:
        answers = {
            codes.HELLO: (codes.HELLO_IS, hello_is()),
            codes.KEY_ENROL: (codes.KEY_IS, bytes(13)),
        }
        client = Client(
            FarEnd(
                lambda kind, number, payload: frame.encode(
                    answers.get(kind, (codes.DONE, bytes(2)))[0],
                    number,
                    answers.get(kind, (0, bytes(2)))[1],
                )
            )
        )
        client.request(codes.KEY_ENROL, key=bytes(range(32)))
        client.close()
    finally:
        logs.start(0, None)
    text = (tmp_path / "link.log").read_text()
    heads = re.findall(r"^\d{4}-\d\d-\d\dT[\d:.]{12}Z (->|<-) (\w+) \d+: \d+ bytes", text, re.M)
    assert [name for _way, name in heads] == [
        "HELLO",
        "HELLO_IS",
        "KEY_ENROL",
        "KEY_IS",
        "BYE",
        "DONE",
    ]
    assert bytes(range(32)).hex() not in text and hello_is().hex() in text


def test_quiet_and_verbose(shop):
    assert "only inflator" not in shop.run("-q", "config").stderr
    assert shop.run("-v", "config", "--json").returncode == 0
    assert "cannot be written" in shop.refused("--log", "nowhere/link.log", "config")


def test_every_command_is_listed_with_one_line(shop):
    shown = shop.run("--help").stdout
    assert all(f"  {name} " in shown for name in COMMANDS)


def test_a_campaign_says_that_it_compiles_the_first_time_only(tmp_path, monkeypatch, capsys):
    from rimward.cli.commands import campaign
    from rimward.simulation.engines import SOURCES
    from rimward.simulation.plant import kept

    monkeypatch.setattr(kept.platformdirs, "user_cache_dir", lambda _name: str(tmp_path))
    campaign._tell_compiling()
    assert "Compiling the kernels" in capsys.readouterr().err
    folder = kept.folder_for(SOURCES)
    folder.mkdir(parents=True, exist_ok=True)
    python = f"py{sys.version_info.major}{sys.version_info.minor}"
    (folder / "faulted.session-290.py29.nbi").touch()  # of another Python
    (folder / f"step.plant_tick-59.{python}.nbi").touch()  # another process is compiling still
    campaign._tell_compiling()
    assert "Compiling the kernels" in capsys.readouterr().err
    (folder / f"faulted.session-290.{python}.nbi").touch()
    campaign._tell_compiling()
    assert capsys.readouterr().err == ""


def test_what_the_same_sources_elsewhere_left_does_not_count_as_kept(tmp_path, monkeypatch):
    """Numba keeps machine code by the place of its source: a second installation compiles again."""
    from rimward.simulation.plant import kept

    monkeypatch.setattr(kept.platformdirs, "user_cache_dir", lambda _name: str(tmp_path))
    python = f"py{sys.version_info.major}{sys.version_info.minor}"
    folder = kept.folder_for(kept.MODULES)
    folder.mkdir(parents=True)
    (folder / f"step.plant_tick-59.{python}.nbi").touch()
    assert kept.is_kept()
    before, digest = kept.source_of, kept.digest(kept.MODULES)
    copy = tmp_path / "copy" / "plant"
    shutil.copytree(before(kept.MODULES[0]).parent, copy)
    monkeypatch.setattr(kept, "source_of", lambda name: copy / before(name).name)
    assert kept.digest(kept.MODULES) == digest and not kept.is_kept()


def test_a_fresh_computer_compiles_nothing_for_a_virtual_inflator(tmp_path, monkeypatch):
    """Compiling the plant takes longer than the whole demo; its plain Python gives the same words."""
    from rimward.simulation.cool import cooled
    from rimward.simulation.plant import compressor, kept
    from rimward.simulation.virtual import VirtualInflator

    monkeypatch.setattr(kept.platformdirs, "user_cache_dir", lambda _name: str(tmp_path))
    python = f"py{sys.version_info.major}{sys.version_info.minor}"
    begun = kept.folder_for(kept.MODULES) / f"step.fault_events-75.{python}.nbi"
    begun.parent.mkdir(parents=True)
    begun.touch()  # another process is compiling still
    with VirtualInflator(compressor(tyre_pa=300_000.0)) as inflator:
        inflator.tick()
        assert cooled(inflator.plant.S, inflator.plant.P) == pytest.approx(300_000, abs=1)
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == [begun]
