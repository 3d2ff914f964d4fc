"""A workshop's visit to the emulated board over its cable: key, tagged profile, fill, record, with the host's own code; memory and stack meanwhile."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from rimward.cli.main import cli
from rimward.device.link import Client, LockstepTransport, verbs
from rimward.wheels import keys, profiles

from tests.board.__main__ import HEAP
from tests.board.install import install
from tests.board.interpreter import build
from tests.board.line import Line, board
from tests.board.visitor import confirmed, filled, until
from tests.board.world import World
from tests.rig import heap
from tests.unit.linkbench import profile

WRITTEN_S = 10.0
STACK, STACK_LEFT = 8192, 2048
COUNTED_WITHIN = 3_000  # bytes: what `tests.rig.heap` adds up on another 32-bit interpreter


def free_idle(line: Line) -> int:
    """Free heap at idle: the largest of some counts, which followed a collection."""
    found = 0
    for _ in range(100):
        line.world.ask_heap = True
        line.advance(0.04)
        found = max(found, line.world.heap_now[1])
    return found


@dataclass
class Visit:
    """What was seen of one visit. `free`: bytes of heap at idle, before anything else."""

    world: World
    free: int
    ended: dict[str, Any]
    commands: list[Result]


@pytest.fixture(scope="module")
def visit(tmp_path_factory: pytest.TempPathFactory) -> Visit:
    folder = tmp_path_factory.mktemp("workshop")
    flash, record = folder / "flash", folder / "fill.rws"
    flash.mkdir()
    install(flash)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("RIMWARD_DATA", str(folder / "data"))
        patch.setenv("RIMWARD_KEYSTORE", "file")
        keys.new()
        with board(flash, HEAP) as line:
            until(line, "CHOOSE")
            free = free_idle(line)
            ended = visited(line, record)
        run = [["session", "verify", str(record)], ["replay", str(record)]]
        return Visit(line.world, free, ended, [CliRunner().invoke(cli, row) for row in run])


def visited(line: Line, record: Path) -> dict[str, Any]:
    """Enrol the key, send a profile, fill, take the hose off, fetch the record. Return its row."""
    client = Client(LockstepTransport(line))
    verbs.enrol_key(client, keys.load().current.key, lambda _text: confirmed(line))
    assert verbs.held_key(client) == keys.load().current.check
    verbs.send_profile(client, profiles.tagged(profile(), keys.load()))
    assert verbs.list_profiles(client)[0]["tag_fits"]
    line.advance(1.0)
    line.press("ENTER")
    filled(line)
    assert verbs.status(client)["state"] == "done"
    line.world.empty()
    line.advance(1.0)
    assert line.world.shown().startswith("DONE")
    line.press("ENTER")
    until(line, "CHOOSE")
    line.advance(WRITTEN_S)
    return verbs.pull_session(client, verbs.list_sessions(client)[0]["session"], record)


def test_the_record_of_the_fill_is_fetched_verified_and_replayed(visit: Visit) -> None:
    assert visit.ended["ended"]
    assert [(done.exit_code, done.output) for done in visit.commands if done.exit_code] == []


def test_nothing_restarts(visit: Visit) -> None:
    assert visit.world.resets == 0


def test_heap_is_what_was_counted(visit: Visit) -> None:
    counted = heap.HEAP - heap.measured()["idle"]
    assert abs(visit.free - counted) < COUNTED_WITHIN


def test_heap_is_within_the_budget() -> None:
    ok, lines, figures = heap.report()
    print(*lines, sep="\n")
    assert figures["idle"] > 80_000 and figures["machine_code"] > 15_000, "counted at all"
    assert figures["filling"] - figures["idle"] > 48 * 1024, "the record's memory is counted"
    assert ok, lines


def test_two_kilobytes_of_stack_are_left(visit: Visit) -> None:
    assert STACK - visit.world.stack_used() >= STACK_LEFT


def test_an_exception_ends_the_run_with_its_text(tmp_path: Path) -> None:
    (tmp_path / "main.py").write_text("import machine\nraise ValueError(machine.reset_cause())\n")
    world = World(build(), tmp_path, 100_000)
    assert world.run() == 1 and b"ValueError: 1" in world.out


def test_a_heap_too_small_is_noticed(tmp_path: Path) -> None:
    (tmp_path / "main.py").write_text("bytearray(60_000)\n")
    assert World(build(), tmp_path, 40_000).run() == 1
