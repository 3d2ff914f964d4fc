"""`rimward virtual` and `rimward demo` with impossible options: one line with the correction, and nothing is started."""

import os
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner
from rimward.base.errors import Refusal
from rimward.cli.main import cli
from rimward.simulation.demo import run_demo
from rimward.simulation.plant import compressor
from rimward.simulation.virtual import Where, find_interpreter
from rimward.simulation.virtual import server as server_module
from rimward.simulation.virtual.server import Server
from rimward_fw.board import simulated_flash

from tests.unit.linkbench import Shop

FLASH_BYTES = simulated_flash.BLOCKS * simulated_flash.BLOCK_BYTES


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--wheel", "banana"), "not a size"),
        (("--wheel", "1-1"), "from 18 to 130"),
        (("--wheel", "28-0"), "from 200 to 650"),
        (("--wheel", "18-622", "--rim-inner", "90"), "no wider than the rim"),
        (("--rim-inner", "-5"), "--rim-inner must be from"),
        (("--altitude", "1e9"), "--altitude must be from"),
        (("--temp", "-400"), "--temp must be from"),
        (("--temp", "nan"), "--temp must be from"),
    ],
)
def test_an_impossible_world_is_wrong_usage(words: tuple[str, ...], told: str) -> None:
    done = CliRunner().invoke(cli, ["virtual", *words])
    assert done.exit_code == 2 and told in done.output


def test_a_file_that_is_no_flash_is_refused_and_left_alone(tmp_path: Path) -> None:
    small = tmp_path / "small"
    small.write_bytes(b"notes")
    for state, told in (
        (small, f"must have {FLASH_BYTES} bytes"),
        (tmp_path / "nowhere" / "flash", "cannot be written"),
    ):
        done = CliRunner().invoke(cli, ["virtual", "--state", str(state)])
        assert (
            isinstance(done.exception, Refusal)
            and told in done.exception.text
            and done.exception.fix
        )
    assert small.read_bytes() == b"notes"


def test_a_flash_that_does_not_mount_is_reported_once_and_not_formatted_over(
    tmp_path: Path,
) -> None:
    """The firmware stays at its screen for that (tests/faults/test_no_flash.py) and writes nothing."""
    state = tmp_path / "noise"
    state.write_bytes(noise := os.urandom(FLASH_BYTES))
    server = Server(compressor(tyre_ml=1000), find_interpreter(), Where(flash=state))
    said: list[str] = []
    server.warn = said.append
    ticks = server.inflator
    try:
        server.run(lambda: bool(said) or ticks.ticks > 5000)
        server.run(lambda: ticks.ticks > 1500)
    finally:
        server.close()
    assert len(said) == 1 and str(state) in said[0] and "give --state another file" in said[0]
    assert "OSError" in said[0]
    assert state.read_bytes() == noise


def test_its_port_is_named_only_once_the_firmware_answers() -> None:
    """On a loaded machine its start can take longer than a client waits."""
    server = Server(compressor(tyre_ml=1000), find_interpreter(), Where())
    try:
        server.start()
        assert server.inflator.started and server.inflator.now_s < 5.0
    finally:
        server.close()


def test_a_computer_slower_than_real_time_is_said_once(monkeypatch) -> None:
    """Its simulated time passes at a fifth of the wall's here: nothing fails, and the reason is given."""
    server = Server(compressor(tyre_ml=1000), find_interpreter(), Where())
    said: list[str] = []
    server.warn = said.append
    clock = SimpleNamespace(now=0.0)
    monkeypatch.setattr(
        server_module, "time", SimpleNamespace(monotonic=lambda: clock.now, sleep=lambda s: None)
    )

    def tick() -> None:
        server.inflator.ticks += 1
        clock.now += 0.010

    monkeypatch.setattr(server.inflator, "tick", tick)
    try:
        server.run(lambda: clock.now > 30.0)
    finally:
        server.close()
    assert len(said) == 1 and "at 0.20 of real time" in said[0] and "nothing is lost" in said[0]


def test_the_demo_says_where_it_cannot_write(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(Refusal, match="cannot be written"):
        run_demo(tmp_path / "file" / "folder", print)


def test_a_place_that_cannot_be_written_is_one_line(tmp_path: Path) -> None:
    shop = Shop(tmp_path)
    (tmp_path / "file").write_text("")
    assert "file/out: Not a directory. Check that path" in shop.refused(
        "-q", "campaign", "--sessions", "1", "--faults", "none", "--out", "file/out"
    )
    shop.env["RIMWARD_DATA"] = str(tmp_path / "file" / "data")
    for words in (("wheel", "list"), ("key", "new")):
        assert "Not a directory" in shop.refused(*words)
