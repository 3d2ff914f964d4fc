"""A flash that refuses writes or has no file system is shown, and a fill without a record needs a person's confirmation."""

from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest
from rimward_fw import app as firmware
from rimward_fw.control import builtin, cycle
from rimward_fw.storage import records
from rimward_fw.ui import buttons, display
from rimward_fw.ui.display import screen_of
from rimward_protocol import causes, codes, replies

from tests.faults.consentbench import Board, Inflator

WHEEL = b"wheel-07"


@pytest.fixture
def worn(monkeypatch: pytest.MonkeyPatch) -> Iterator[Inflator]:
    """An inflator with a wheel, whose flash refuses every write from now on."""
    inflator = Inflator()
    monkeypatch.setattr(records, "_put", lambda *what: replies.STORE_FULL)
    monkeypatch.setattr(inflator.app.store.sessions, "append", lambda *what: replies.STORE_FULL)
    assert inflator.app.store.setting_put(7, b"new name") == replies.STORE_FULL
    yield inflator


def choose(inflator: Inflator) -> None:
    """Select the wheel and confirm that it has been at rest."""
    inflator.app.cycle.choose(WHEEL, builtin.profile(500000, 300000), True)
    inflator.press(buttons.ENTER)


def test_it_is_shown_before_the_fill_and_a_yes_arms(worn: Inflator) -> None:
    choose(worn)
    assert screen_of(worn.app) == "no-record" and "no record" in worn.shown()
    assert not worn.app.cycle.armed() and not worn.app.recorder.active
    worn.press(buttons.ENTER)
    assert worn.app.cycle.armed() and (25, 0, 1) in worn.events, "the yes is an event"
    worn.app.cycle.leave(causes.RELEASED)
    worn.wait(8)
    choose(worn)
    assert screen_of(worn.app) == "no-record", "the yes was for one wheel, once"


def test_a_refusal_ends_it(worn: Inflator) -> None:
    choose(worn)
    worn.press(buttons.DOWN)
    assert worn.app.cycle.phase == cycle.IDLE and (25, 0, 0) in worn.events
    worn.wait(1)
    assert not worn.app.cycle.armed()


def test_a_flash_without_room_for_a_session_is_asked_about(monkeypatch: pytest.MonkeyPatch) -> None:
    """Small records still fit, no session does, and none can be dropped."""
    inflator = Inflator()
    store = inflator.app.store
    monkeypatch.setattr(store, "_fits", lambda count, spare: count == 0)
    monkeypatch.setattr(store.sessions, "expendable", lambda number: 0)
    choose(inflator)
    assert screen_of(inflator.app) == "no-record" and "full" in inflator.shown()
    assert not inflator.app.cycle.armed()
    inflator.press(buttons.ENTER)
    assert inflator.app.cycle.armed()


def test_the_status_shows_it_until_flash_accepts_writes_again(
    worn: Inflator, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert worn.ask(codes.STATUS)[1]["stop_cause"] == causes.MEMORY
    assert "takes no writes" in causes.row_of(causes.MEMORY)[2]
    monkeypatch.undo()
    choose(worn)
    assert worn.app.cycle.armed() and not worn.app.store.failing
    worn.app.cycle.leave(causes.RELEASED)
    worn.wait(2)
    worn.app.cycle.phase = cycle.IDLE
    assert worn.ask(codes.STATUS)[1]["stop_cause"] != causes.MEMORY


def test_a_start_that_cannot_be_counted_is_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(records, "_put", lambda *what: replies.READ_BACK_DIFFERS)
    assert firmware.App(Board()).store.failing == replies.READ_BACK_DIFFERS


def test_without_a_file_system_a_screen_shows_it_and_nothing_restarts(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Both superblocks lost: the air is off, the screen stays, the board is not reset."""
    did: list[Any] = []
    board = SimpleNamespace(
        off=lambda: did.append("off"),
        last_words=lambda error: did.append("words"),
        reset=lambda: did.append("reset"),
    )

    def idle() -> None:
        did.append("idle")
        if did.count("idle") > 20:
            raise SystemExit

    board.idle = idle

    def lost(_board: Any) -> None:
        raise OSError(19)

    monkeypatch.setattr(display, "notice", lambda _board, name: did.append(name))
    with pytest.raises(SystemExit):
        firmware.run(board, lost)
    assert (
        did[:3] == ["off", "no-store", "words"]
        and "reset" not in did
        and set(did[3:-1]) == {"idle"}
    )
