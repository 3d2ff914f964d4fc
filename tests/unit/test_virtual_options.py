"""`rimward virtual` and `rimward demo` told what cannot be: one line that says what to give instead, nothing started."""

import os
from pathlib import Path

import pytest
from click.testing import CliRunner
from rimward.cli import cli
from rimward.errors import Refusal
from rimward.plant import compressor
from rimward.simulation.demo import run_demo
from rimward.virtual import Where, find_interpreter
from rimward.virtual.server import Server
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
def test_a_world_that_cannot_be_is_wrong_usage(words: tuple[str, ...], told: str) -> None:
    done = CliRunner().invoke(cli, ["virtual", *words])
    assert done.exit_code == 2 and told in done.output


def test_a_flash_that_is_none_is_refused_and_left_alone(tmp_path: Path) -> None:
    small = tmp_path / "small"
    small.write_bytes(b"notes")
    for state, told in ((small, f"must have {FLASH_BYTES} bytes"), (tmp_path / "nowhere" / "flash", "cannot be written")):
        done = CliRunner().invoke(cli, ["virtual", "--state", str(state)])
        assert isinstance(done.exception, Refusal) and told in done.exception.text and done.exception.fix
    assert small.read_bytes() == b"notes"


def test_a_flash_that_does_not_mount_is_told_and_not_formatted_over(tmp_path: Path) -> None:
    state = tmp_path / "noise"
    state.write_bytes(noise := os.urandom(FLASH_BYTES))
    server = Server(compressor(tyre_ml=1000), find_interpreter(), Where(flash=state))
    try:
        with pytest.raises(Refusal, match="does not start .*OSError"):
            server.run(lambda: False)
    finally:
        server.close()
    assert state.read_bytes() == noise


def test_the_demo_says_where_it_cannot_write(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(Refusal, match="cannot be written"):
        run_demo(tmp_path / "file" / "folder", print)


def test_a_place_that_cannot_be_written_is_one_line(tmp_path: Path) -> None:
    shop = Shop(tmp_path)
    (tmp_path / "file").write_text("")
    assert "file/out: Not a directory. Check that path" in shop.refused("-q", "campaign", "--sessions", "1", "--faults", "none", "--out", "file/out")
    shop.env["RIMWARD_DATA"] = str(tmp_path / "file" / "data")
    for words in (("wheel", "list"), ("key", "new")):
        assert "Not a directory" in shop.refused(*words)
